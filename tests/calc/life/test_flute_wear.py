"""Wear along a flute: the breakpoint sweep against a fine grid, and what no flute can have."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life.flute_wear import over_the_worst, profile, worst_within

# Heights on tenths, so that a grid between them sees every piece.
tenths = st.integers(0, 60)


@st.composite
def bands(draw: st.DrawFn) -> tuple[float, float]:
    low, high = sorted(draw(st.lists(tenths, min_size=2, max_size=2, unique=True)))
    return low / 10, high / 10


work = st.lists(st.tuples(bands(), st.floats(0, 1e5)), max_size=12)
GRID = (np.arange(60) + 0.5) / 10


def on_the_grid(done: list[tuple[tuple[float, float], float]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """What each height of the grid has done, band after band."""
    levels = np.zeros(GRID.size)
    for (low, high), amount in done:
        levels[(low < GRID) & (high > GRID)] += amount
    return levels


def swept(done: list[tuple[tuple[float, float], float]]) -> Any:
    return profile([low for (low, _), _ in done], [high for (_, high), _ in done], [amount for _, amount in done])


@given(work, bands())
def test_the_sweep_says_what_a_fine_grid_says(
    done: list[tuple[tuple[float, float], float]], stretch: tuple[float, float]
) -> None:
    worn, levels = swept(done), on_the_grid(done)
    inside = (stretch[0] < GRID) & (stretch[1] > GRID)
    assert float(worst_within(worn, *stretch)) == pytest.approx(levels[inside].max(), rel=1e-9, abs=1e-6)
    each = worst_within(worn, GRID - 0.04, GRID + 0.04)
    assert each == pytest.approx(levels, rel=1e-9, abs=1e-6)


@given(work, bands())
def test_levels_are_never_below_zero_and_pieces_follow_each_other(
    done: list[tuple[tuple[float, float], float]], stretch: tuple[float, float]
) -> None:
    worn = swept(done)
    assert (worn.levels >= 0).all()
    assert (np.diff(worn.breaks) > 0).all()
    assert worn.levels.size == max(worn.breaks.size - 1, 0)
    total = sum(amount for _, amount in done)
    assert float(worst_within(worn, *stretch)) <= total * (1 + 1e-9)


@given(work)
def test_work_done_is_height_times_level(done: list[tuple[tuple[float, float], float]]) -> None:
    worn = swept(done)
    area = float(np.sum(np.diff(worn.breaks) * worn.levels))
    assert area == pytest.approx(sum((high - low) * amount for (low, high), amount in done), rel=1e-9, abs=1e-6)


@given(work, bands(), bands())
def test_a_longer_stretch_is_never_less_worn(
    done: list[tuple[tuple[float, float], float]], one: tuple[float, float], other: tuple[float, float]
) -> None:
    worn = swept(done)
    both = (min(one[0], other[0]), max(one[1], other[1]))
    assert float(worst_within(worn, *both)) >= float(worst_within(worn, *one))


@given(work, bands())
def test_the_bands_over_the_worst_height_add_up_to_it(
    done: list[tuple[tuple[float, float], float]], stretch: tuple[float, float]
) -> None:
    lows, highs, amounts = ([low for (low, _), _ in done], [high for (_, high), _ in done], [a for _, a in done])
    over = over_the_worst(lows, highs, amounts, *stretch)
    worst = float(worst_within(swept(done), *stretch))
    assert float(np.sum(np.array(amounts)[over])) == pytest.approx(worst, rel=1e-9, abs=1e-6)
    # They share a stretch of flute with each other and with the one asked about.
    shared = [max([low for low, on in zip(lows, over, strict=True) if on], default=0.0)]
    assert all(high > shared[0] for high, on in zip(highs, over, strict=True) if on)
    assert all(low < stretch[1] and high > stretch[0] for low, high, on in zip(lows, highs, over, strict=True) if on)


def test_nothing_done_is_no_wear() -> None:
    worn = profile([], [], [])
    assert worn.breaks.size == worn.levels.size == 0
    assert float(worst_within(worn, 0.0, 4.0)) == 0.0


def test_bands_that_touch_by_rounding_do_not_overlap() -> None:
    third = 0.1 + 0.2  # a hair above 0.3
    worn = profile([0.0, 0.3], [third, 0.6], [5.0, 7.0])
    assert worn.breaks.tolist() == [0.0, 0.3, 0.6]
    assert float(worst_within(worn, 0.0, third)) == 5.0
    assert over_the_worst([0.0, 0.3], [third, 0.6], [5.0, 7.0], 0.0, third).tolist() == [True, False]


def test_bands_recorded_to_a_millionth_touch_as_they_were_meant_to() -> None:
    lows, highs, amounts = [0.0, 0.333333], [0.333335, 0.666667], [5.0, 7.0]
    worn = profile(lows, highs, amounts)
    assert worn.levels.tolist() == [5.0, 0.0, 7.0]
    assert float(worst_within(worn, 0.0, 0.333335)) == 5.0
    assert over_the_worst(lows, highs, amounts, 0.0, 0.333335).tolist() == [True, False]
    more = profile([0.0, 0.333333], [0.333336, 0.666667], amounts)
    assert float(worst_within(more, 0.0, 1.0)) == 12.0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: profile([-0.1], [1.0], [1.0]), "lows"),
        (lambda: profile([0.0], [np.nan], [1.0]), "highs"),
        (lambda: profile([1.0], [1.0], [1.0]), "highs"),
        (lambda: profile([0.0], [1.0], [-1.0]), "amounts"),
        (lambda: worst_within(profile([], [], []), 1.0, 0.5), "high"),
        (lambda: worst_within(profile([], [], []), -1.0, 0.5), "low"),
        (lambda: over_the_worst([0.0], [1.0], [1.0], 2.0, np.inf), "high"),
    ],
)
def test_what_no_flute_has_is_refused(call: Any, argument: str) -> None:
    with pytest.raises(WorkingError) as refused:
        call()
    assert refused.value.argument == argument
