"""Several edges on one part, against a simulation that knows nothing of the formulas."""

from __future__ import annotations

import numpy as np
import pytest

from calc.errors import WorkingError
from calc.life.predictive import belief, lasting
from calc.life.series import Series, series, together

DRAWS = 60_000


def three(variance: float = 0.05) -> Series:
    """Three edges, the first and the last of one law; the middle one is changed as planned."""
    believed = belief(
        np.log([60, 45, 80]),
        np.log([3.0, 2.0, 3.0]),
        variance,
        0.02,
        0.01,
        breaks=[2, 1, 2],
        break_minutes=[800, 900, 800],
    )
    return series(
        believed, [7, 4, 7], used=[20, 5, 0], minutes_per_part=[2.0, 3.0, 1.5], parts=[30, 25, 30],
        change_in=[12, 4, np.inf], change_every=[18, 9, np.inf], counted=[20, 0, 0],
    )  # fmt: skip


def simulated(edges: Series, seed: int = 4) -> tuple[list[float], float, float, float]:
    """Play the batch part by part: draw what is not known once for each law, then every life."""
    rng = np.random.default_rng(seed)
    first, none, untouched, stops = np.zeros(edges.law.size), 0, 0, 0.0
    for _ in range(DRAWS // 20):
        laws = {}
        for law in set(edges.law.tolist()):
            row = int(np.flatnonzero(edges.law == law)[0])
            laws[law] = (
                rng.choice(edges.believed.weight.shape[1], p=weights(edges, law)),
                rng.gamma(edges.believed.breaks[row], 1 / edges.believed.break_minutes[row]),
            )
        ends = [life_ends(edges, row, laws, rng) for row in range(edges.law.size)]
        order = min((end, row) for row, (end, _) in enumerate(ends))
        if np.isinf(order[0]):
            none += 1
        else:
            first[order[1]] += 1
        untouched += all(own > edges.parts[row] for row, (_, own) in enumerate(ends))
        planned = min((c for c, p in zip(edges.change_in, edges.parts, strict=True) if c < p), default=np.inf)
        # Parts made on every edge before the first stop; the part in which an edge ends does not count.
        stops += min(planned, order[0] - 1, edges.parts.max())
    count = DRAWS // 20
    return (first / count).tolist(), none / count, untouched / count, stops / count


def weights(edges: Series, law: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Of the nodes of a law, as Bayes says it: the chance to have outlived what the fit had not counted."""
    weight = edges.believed.weight[0].copy()
    for row in np.flatnonzero(edges.law == law):
        scale, shape = edges.believed.scale[row], edges.believed.shape[row]
        weight *= np.exp((edges.counted[row] / scale) ** shape - (edges.used[row] / scale) ** shape)
    return np.asarray(weight / weight.sum())


def life_ends(
    edges: Series, row: int, laws: dict[int, tuple[int, float]], rng: np.random.Generator
) -> tuple[float, float]:
    """The part in which the first edge of this place ends before its change, and in which the edge in use would end."""
    node, rate = laws[int(edges.law[row])]
    scale, shape = edges.believed.scale[row, node], edges.believed.shape[row, node]
    each, made, age, own = edges.minutes_per_part[row], 0.0, edges.used[row], None
    until = edges.change_in[row]
    while made < edges.parts[row]:
        worn = scale * ((age / scale) ** shape + rng.exponential()) ** (1 / shape) - age
        lasts = min(worn, rng.exponential(1 / rate)) / each
        own = np.floor(lasts) + 1 if own is None else own
        if np.floor(lasts) < min(until, edges.parts[row] - made):
            return made + np.floor(lasts) + 1, own
        made, age, until = made + until, 0.0, edges.change_every[row]
    return np.inf, np.inf if own is None else own


def test_a_simulated_shop_finds_the_same_chances() -> None:
    edges = three()
    found, (first, none, untouched, stop) = together(edges), simulated(edges)
    slack = 4 * 0.5 / np.sqrt(DRAWS // 20)  # four standard errors of a share, at their widest
    assert found.first == pytest.approx(first, abs=slack)
    assert found.planned_only == pytest.approx(none, abs=slack)
    assert found.untouched == pytest.approx(untouched, abs=slack)
    assert found.until_stop == pytest.approx(stop, abs=0.1)


def test_somebody_is_first_or_nobody_is() -> None:
    found = together(three())
    assert found.first.sum() + found.planned_only == pytest.approx(1, abs=1e-12)
    assert 0 < found.untouched < found.planned_only
    assert 0 < found.until_stop < 4  # the middle edge is changed after four parts


def test_one_edge_alone_is_its_own_forecast() -> None:
    believed = belief(np.log(60), np.log(3), 0.09, 0.03, -0.01, 1, 700)
    found = together(series(believed, [0], 21, 2, 17, counted=9))
    assert found.untouched == pytest.approx(float(lasting(34, 21, believed, 9)[0]), rel=1e-12)
    assert found.untouched == pytest.approx(found.planned_only, rel=1e-12)


def test_edges_of_different_laws_are_independent_and_of_one_law_are_not() -> None:
    believed = belief(np.log([60, 60]), np.log(3), 0.2)
    alone = float(lasting(30, 0, believed)[0])
    apart = together(series(believed, [0, 1], 0, 2, 15)).untouched
    shared = together(series(believed, [0, 0], 0, 2, 15)).untouched
    assert apart == pytest.approx(alone**2, rel=1e-12)
    # What is good for one is good for the other: by Jensen's inequality the shared chance is the larger.
    assert alone**2 < shared < alone


def test_a_breakage_rate_is_shared_by_what_each_edge_cut_of_what_was_watched() -> None:
    # No wear to speak of; the second edge enters the metal twice as often in each minute.
    found = together(
        series(belief(np.log([1e9, 1e9]), np.log(3), breaks=2, break_minutes=[800, 400]), [0, 0], 0, 2, 15)
    )
    assert found.untouched == pytest.approx((1 + 30 / 800 + 30 / 400) ** -2, rel=1e-9)


def test_a_law_that_is_known_leaves_nothing_to_share() -> None:
    believed = belief(np.log([60, 60]), np.log(3))
    both = [together(series(believed, laws, [10, 0], 2, 15)).first for laws in ([0, 0], [0, 1])]
    assert both[0] == pytest.approx(both[1], rel=1e-12)


def test_in_one_part_the_earlier_operation_is_first() -> None:
    # Both are sure to end in their first part.
    found = together(series(belief(np.log([1e-3, 1e-3]), np.log(3)), [0, 1], 0, 2, 15))
    assert found.first.tolist() == pytest.approx([1, 0])
    assert found.until_stop == pytest.approx(0, abs=1e-12)


def test_changing_as_planned_never_makes_the_batch_less_sure_where_edges_wear() -> None:
    edges = three()
    left = edges._replace(change_in=np.full(3, np.inf), change_every=np.full(3, np.inf))
    assert together(edges).planned_only > together(left).planned_only == pytest.approx(together(edges).untouched)


def test_an_edge_that_is_due_is_changed_at_once() -> None:
    believed = belief(np.log(60), np.log(3))
    due = together(series(believed, [0], 55, 2, 10, change_in=0, change_every=12))
    assert due.until_stop == 0
    assert due.planned_only == pytest.approx(float(lasting(20, 0, believed)[0]), rel=1e-12)


@pytest.mark.parametrize("every", [4, 15])
def test_a_large_batch_is_followed_as_far_as_any_comes(every: int) -> None:
    edges = three()._replace(parts=np.full(3, 20_000.0), change_every=np.full(3, float(every)))
    found = together(edges)
    assert found.first.sum() + found.planned_only == pytest.approx(1, abs=1e-9)
    assert found.untouched == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("known", [0.0, 1.0])
def test_laws_too_steep_for_any_number_still_answer(known: float) -> None:
    vague = belief(np.log([30, 30]), np.log(30), 0.64, 1.0, breaks=2, break_minutes=900)
    used = np.array([90.0, 9.0])
    found = together(series(vague, [0, 0], used, 2.0, 4000, [np.inf, 3], [np.inf, 7], known * used))
    assert np.all(np.isfinite(found.first))
    assert found.first.sum() + found.planned_only == pytest.approx(1)
    one = belief(np.log(30), np.log(30), 0.64, 1.0, breaks=2, break_minutes=900)
    alone = together(series(one, [0], 90.0, 2.0, 1, counted=90.0)).untouched
    assert alone == pytest.approx(float(lasting(2.0, 90.0, one, 90.0)[0]), rel=1e-6)


def test_a_batch_that_is_done_needs_no_luck() -> None:
    found = together(series(belief(np.log([60, 40]), np.log(3)), [0, 1], 30, 2, 0))
    assert (found.planned_only, found.untouched, found.until_stop) == (1, 1, 0)
    assert found.first.tolist() == [0, 0]


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("parts", {"parts": 20_001}), ("parts", {"parts": -1}), ("minutes_per_part", {"minutes_per_part": 0}),
        ("used", {"used": -1}), ("counted", {"counted": -1}), ("change_in", {"change_in": -1}),
        ("change_every", {"change_every": 0}),
    ],
)  # fmt: skip
def test_figures_that_make_no_sense_are_named(name: str, wrong: dict[str, float]) -> None:
    sound = {"used": 0, "minutes_per_part": 2, "parts": 10}
    with pytest.raises(WorkingError) as refused:
        series(belief(np.log(60), np.log(3)), [0], **(sound | wrong))
    assert refused.value.argument == name
