"""Bands of the flute: wear adds up over height, and the proposed band is the best of all places, to the hair."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.cutting.bands import (
    LeastWorn,
    WornBand,
    circle_range,
    edge_range,
    free_bands,
    least_worn_band,
    wear_profile,
)
from calc.cutting.chamfer import conical_mill, edge_chamfer
from calc.cutting.hole_chamfer import interpolate
from calc.errors import WorkingError
from calc.units import Quantity, ureg

Q = ureg.Quantity
GRID = 0.05  # mm; every length below is a multiple of it, so the fine grid meets every place that matters
MILL = conical_mill(Q(90, "deg"), Q(1, "mm"), Q(5, "mm"))


def mm(value: Any) -> Quantity:
    return Q(value, "mm")


def band(low: float, high: float, amount: float) -> WornBand:
    return WornBand(mm(low), mm(high), amount)


def lows(spans: Sequence[tuple[Quantity, Quantity]]) -> list[float]:
    return [round(low.magnitude, 6) for low, _ in spans]


def cells(most: int) -> st.SearchStrategy[int]:
    return st.integers(min_value=0, max_value=most)


@st.composite
def worn_flutes(draw: st.DrawFn) -> tuple[int, list[tuple[int, int, float]]]:
    """A flute's height in grid cells, and bands worn on it; amounts are few, so that places are often equal."""
    flute = draw(st.integers(min_value=5, max_value=60))
    count = draw(cells(5))
    worn = []
    for _ in range(count):
        low = draw(cells(flute - 1))
        high = draw(st.integers(min_value=low + 1, max_value=flute))
        worn.append((low, high, draw(st.sampled_from([0.0, 0.1, 0.2, 0.3, 1.0]))))
    return flute, worn


def wear_of_cells(flute: int, worn: Sequence[tuple[int, int, float]]) -> list[float]:
    return [round(sum(amount for low, high, amount in worn if low <= cell < high), 9) for cell in range(flute)]


def most_whole_bands(free: Sequence[bool], height: int, margin: int, first: int, last: int) -> int:
    """The most bands that fit on free cells, margins kept, by trying out every way (dynamic programming)."""
    best = [0] * (len(free) + height + margin + 1)
    for low in range(len(free) - 1, -1, -1):
        best[low] = best[low + 1]
        around = free[max(0, low - margin) : low + height + margin]
        if first <= low <= last and all(around):
            best[low] = max(best[low], 1 + best[min(low + height + margin, len(free))])
    return best[0]


@settings(deadline=None, max_examples=200)
@given(worn_flutes(), st.integers(min_value=1, max_value=20), cells(3), st.none() | st.tuples(cells(20), cells(60)))
def test_the_proposed_band_is_the_best_of_a_fine_grid(
    drawn: tuple[int, list[tuple[int, int, float]]], height: int, margin: int, limits: tuple[int, int] | None
) -> None:
    flute, worn = drawn
    mill = conical_mill(Q(90, "deg"), mm(1), mm(1 + 2 * flute * GRID))
    bands = [band(low * GRID, high * GRID, amount) for low, high, amount in worn]
    fits = None if limits is None else (mm(limits[0] * GRID), mm(limits[1] * GRID))
    found = least_worn_band(mill, mm(height * GRID), bands, mm(margin * GRID), fits)

    wear = wear_of_cells(flute, worn)
    first = max(margin, limits[0]) if limits else margin
    last = min(flute - margin - height, limits[1]) if limits else flute - margin - height
    places = [
        (max(wear[low : low + height]), max(wear[max(0, low - margin) : low + height + margin]), low)
        for low in range(first, last + 1)
    ]
    assert found.found == bool(places)
    if not places:
        assert found.why_not
        assert np.isnan(found.contact_low.magnitude)
        return
    worst, _, low = min(places)
    assert found.worst_wear == pytest.approx(worst)
    assert found.contact_low.magnitude == pytest.approx(low * GRID)
    assert found.contact_high.magnitude == pytest.approx((low + height) * GRID)

    free = [cell == 0 for cell in wear]
    before = most_whole_bands(free, height, margin, first, last)
    assert len(free_bands(mill, mm(height * GRID), bands, mm(margin * GRID), 99, fits=fits)) == before
    kept_off = min(places)[1] == 0
    after = [this and not low <= cell < low + height for cell, this in enumerate(free)]
    left = most_whole_bands(after, height, margin, first, last)
    assert len(found.free_after) == min(left, 24)
    if kept_off:
        assert left == before - 1  # a fresh place never costs more than one whole band


@settings(deadline=None, max_examples=100)
@given(
    worn_flutes(),
    st.floats(min_value=0.02, max_value=1.5),
    st.floats(min_value=0, max_value=0.3),
    st.floats(min_value=0, max_value=1),
)
def test_no_place_off_the_grid_is_better_either(
    drawn: tuple[int, list[tuple[int, int, float]]], height: float, margin: float, share: float
) -> None:
    flute, worn = drawn
    top = flute * GRID
    mill = conical_mill(Q(90, "deg"), mm(1), mm(1 + 2 * top))
    bands = [band(low * GRID, high * GRID, amount) for low, high, amount in worn]
    found = least_worn_band(mill, mm(height), bands, mm(margin))
    if not found.found:
        assert 2 * margin + height > top
        return
    room = max(0.0, top - 2 * margin - height)
    profile = wear_profile(bands)
    anywhere = margin + room * np.append(np.linspace(0, 1, 997), share)
    assert np.all(profile.worst(anywhere, anywhere + height) >= found.worst_wear)
    assert margin - 1e-9 <= found.contact_low.magnitude <= margin + room + 1e-9


def test_fresh_places_are_used_up_from_the_tip_upward() -> None:
    worn: list[WornBand] = []
    places = []
    for _ in range(4):
        best = least_worn_band(MILL, mm(0.5), worn)
        places.append(round(best.contact_low.magnitude, 6))
        assert len(best.free_after) == max(0, 2 - len(worn))
        worn.append(WornBand(best.contact_low, best.contact_high, 0.25 + 0.1 * len(worn)))
    assert places == [0.1, 0.7, 1.3, 0.1]  # when none is fresh, back to the one that is worn least


@pytest.mark.parametrize("angle", [60, 82, 90, 118])
def test_bands_recorded_to_a_millionth_are_packed_all_the_same(angle: float) -> None:
    mill, width = conical_mill(Q(angle, "deg"), mm(0.2), mm(9.7)), mm(0.37)
    worn: list[WornBand] = []
    fresh = len(free_bands(mill, width, margin=mm(0)))
    while (best := least_worn_band(mill, width, worn, mm(0))).worst_wear == 0:
        low, high = round(best.contact_low.magnitude, 6), round(best.contact_high.magnitude, 6)
        worn.append(band(low, high, 1.0))
    assert len(worn) == fresh
    assert best.worst_wear == 1.0  # never the sum of two that meet
    assert set(wear_profile(worn).levels.tolist()) == {1.0}
    # A gap between recorded bands takes the band that was taken out of it.
    for gone in worn[:-1]:
        left = free_bands(mill, width, [each for each in worn if each is not gone], mm(0))
        assert left[0][0].magnitude == pytest.approx(gone.low.magnitude, abs=2e-6)


def test_among_equals_the_band_keeps_off_what_is_worn_more() -> None:
    # Over 0.6 to 1.1 the place at 0.5 would be no worse, yet it would touch the band worn to 0.9.
    worn = [band(0.1, 0.5, 0.9), band(0.6, 1.9, 0.2)]
    assert least_worn_band(MILL, mm(0.5), worn).contact_low.magnitude == pytest.approx(0.6)
    # No fresh place keeps the margin to both sides: the fresh one without it still goes before a worn one.
    tight = [band(0.1, 0.7, 0.9), band(1.2, 1.9, 0.9)]
    best = least_worn_band(MILL, mm(0.5), tight)
    assert (best.contact_low.magnitude, best.worst_wear) == (pytest.approx(0.7), 0.0)


def test_wear_of_bands_that_overlap_adds_up() -> None:
    profile = wear_profile([band(0, 1, 12.5), band(0.5, 2, 30), band(3, 4, 1)])
    assert profile.breaks.tolist() == [0, 0.5, 1, 2, 3, 4]
    assert profile.levels.tolist() == [12.5, 42.5, 30, 0, 1]
    assert profile.worst(0.6, 0.7) == 42.5
    assert profile.worst(2, 3) == 0  # touching is not cutting
    assert profile.worst(np.array([0.0, 1.0]), np.array([0.5, 3.5])).tolist() == [12.5, 30]
    assert wear_profile([]).worst(0, 1) == 0


def test_rounding_makes_no_sliver_where_two_bands_meet() -> None:
    profile = wear_profile([band(0, 0.1 + 0.2, 1), band(0.3, 1, 1)])
    assert profile.levels.tolist() == [1, 1]


@pytest.mark.parametrize(
    ("worn", "says"),
    [
        (band(1, 1, 0.5), "must end above where it begins"),
        (band(2, 1, 0.5), "must end above where it begins"),
        (band(-1, 1, 0.5), "must end above where it begins"),
        (band(float("nan"), 1, 0.5), "must end above where it begins"),
        (band(0, 1, -0.5), "cannot be negative"),
        (band(0, 1, float("inf")), "cannot be negative"),
        (WornBand(mm(0), Q(1, "min"), 0.5), "must be a length"),
    ],
)
def test_bands_that_are_none_are_refused(worn: WornBand, says: str) -> None:
    with pytest.raises(WorkingError, match=says) as caught:
        wear_profile([worn])
    assert caught.value.argument == "worn"


def test_free_bands_leave_the_worn_ones_out() -> None:
    worn = [band(0.7, 1.2, 0.4)]
    free = free_bands(MILL, mm(0.5), worn)
    assert lows(free) == [0.1, 1.3]
    for low, high in free:
        assert edge_chamfer(MILL, chamfer_width=mm(0.5), contact_low=low).fits
        assert (high - low).magnitude == pytest.approx(0.5)
    assert free_bands(MILL, mm(3)) == []
    assert len(free_bands(MILL, mm(0.5), margin=mm(0))) == 4
    assert lows(free_bands(MILL, mm(0.5), fits=(mm(0), mm(0.9)))) == [0.1, 0.7]
    assert len(free_bands(conical_mill(Q(90, "deg"), mm(1), mm(900)), mm(0.001))) == 24
    with pytest.raises(WorkingError, match="where the flute ends"):
        free_bands(conical_mill(Q(90, "deg"), mm(1)), mm(0.5))
    with pytest.raises(WorkingError, match="Margin cannot be negative"):
        free_bands(MILL, mm(0.5), margin=mm(-0.1))


def test_no_place_says_what_stands_in_the_way() -> None:
    short = least_worn_band(MILL, mm(1.9))
    assert "flute is 2 mm high and has no place for a band of 1.9 mm with 0.1 mm kept at both ends" in short.why_not
    inch = least_worn_band(MILL, mm(1.9), system="inch")
    assert "0.0787 in high" in inch.why_not
    wall = least_worn_band(MILL, mm(0.5), fits=edge_range(MILL, mm(0.5), neighbour_distance=mm(3)))
    assert "stays clear of everything around" in wall.why_not
    assert not wall.found
    assert wall.free_after == ()


def same(answer: LeastWorn, alone: LeastWorn, at: int) -> bool:
    return (
        answer.found[at] == alone.found  # type: ignore[index]
        and np.array_equal(answer.contact_low.magnitude[at], alone.contact_low.magnitude, equal_nan=True)
        and np.array_equal(answer.contact_high.magnitude[at], alone.contact_high.magnitude, equal_nan=True)
        and np.array_equal(answer.worst_wear[at], alone.worst_wear, equal_nan=True)
    )


def test_arrays_answer_as_each_value_alone() -> None:
    worn = [band(0.1, 0.6, 0.5), band(0.7, 1.2, 0.25)]
    widths, margins = np.array([0.3, 0.5, 0.9, 2.5]), np.array([0.0, 0.1, 0.2, 0.1])
    both = least_worn_band(MILL, mm(widths), worn, mm(margins))
    for at, (width, margin) in enumerate(zip(widths, margins, strict=True)):
        assert same(both, least_worn_band(MILL, mm(float(width)), worn, mm(float(margin))), at)
    assert isinstance(both.found, np.ndarray)
    assert both.found.tolist() == [True, True, True, False]
    fits = edge_range(MILL, mm(0.5), neighbour_distance=mm(np.array([3.0, 3.4, 9.0])))
    walls = least_worn_band(MILL, mm(0.5), worn, fits=fits)
    for at, distance in enumerate((3.0, 3.4, 9.0)):
        alone = least_worn_band(MILL, mm(0.5), worn, fits=edge_range(MILL, mm(0.5), neighbour_distance=mm(distance)))
        assert same(walls, alone, at)


lengths = st.floats(min_value=0.05, max_value=20)


@settings(deadline=None, max_examples=200)
@given(
    st.floats(min_value=40, max_value=140),
    st.floats(min_value=0, max_value=3),
    st.none() | st.floats(min_value=0.5, max_value=8),
    st.none() | st.floats(min_value=0.5, max_value=30),
    st.floats(min_value=0.05, max_value=3),
    st.none() | lengths,
    st.none() | st.floats(min_value=0, max_value=8),
    st.none() | lengths,
)
def test_the_range_of_contacts_is_where_an_edge_fits(
    angle: float,
    tip: float,
    wider: float | None,
    shank: float | None,
    width: float,
    wall: float | None,
    wall_height: float | None,
    floor: float | None,
) -> None:
    top = None if wider is None else mm(tip + wider)
    mill = conical_mill(Q(angle, "deg"), mm(tip), top, None if shank is None else mm(shank))
    around: dict[str, Any] = {
        "neighbour_distance": None if wall is None else mm(wall),
        "neighbour_height": None if wall_height is None else mm(wall_height),
        "floor_depth": None if floor is None else mm(floor),
    }
    lowest, highest = (end.magnitude for end in edge_range(mill, mm(width), **around))
    assert lowest == 0
    contact = np.append(np.linspace(0, 12, 601), np.clip([highest - 1e-6, highest + 1e-6], 0, 1e6))
    cut = edge_chamfer(mill, chamfer_width=mm(width), contact_low=mm(contact), **around)
    sure = np.abs(contact - highest) > 1e-7
    assert np.array_equal(np.broadcast_to(cut.fits, contact.shape)[sure], (contact <= highest)[sure])


@settings(deadline=None, max_examples=100)
@given(
    st.floats(min_value=40, max_value=140),
    st.floats(min_value=0, max_value=3),
    st.none() | st.floats(min_value=0.5, max_value=20),
    st.floats(min_value=1, max_value=30),
    st.floats(min_value=0.1, max_value=5),
    st.none() | lengths,
)
def test_the_range_of_contacts_is_where_circling_fits(
    angle: float, tip: float, wider: float | None, hole: float, wide: float, depth: float | None
) -> None:
    mill = conical_mill(Q(angle, "deg"), mm(tip), None if wider is None else mm(tip + wider))
    bottom = None if depth is None else mm(depth)
    _, highest = (end.magnitude for end in circle_range(mill, mm(hole), mm(hole + wide), hole_depth=bottom))
    contact = np.append(np.linspace(0, 12, 601), np.clip([highest - 1e-6, highest + 1e-6], 0, 1e6))
    cut = interpolate(mill, mm(hole), mm(hole + wide), mm(contact), hole_depth=bottom)
    sure = np.abs(contact - highest) > 1e-7
    assert np.array_equal(np.broadcast_to(cut.fits, contact.shape)[sure], (contact <= highest)[sure])


def test_a_range_wants_a_chamfer_larger_than_the_hole() -> None:
    with pytest.raises(WorkingError, match="larger than the hole"):
        circle_range(MILL, mm(5), mm(5))
    with pytest.raises(WorkingError, match="Floor depth must be above zero"):
        edge_range(MILL, mm(0.5), floor_depth=mm(0))
