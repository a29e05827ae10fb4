"""Counts: blind, twice where they differ, by label where there is one, and sound whatever moves meanwhile."""

from typing import Any

import pytest

from crib.catalogue.models import Design
from crib.core.errors import BadInput, Refused
from crib.floor import services as floor
from crib.stock import selectors, services
from crib.stock.errors import CountAgain, CountClosed, ItemNeeded, MovedMeanwhile, UnknownLabel
from crib.stock.models import Condition, Count, CountLine, Item, Move, Place
from crib.stock.selectors import on_hand
from crib.stock.services import CountPosition
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def begin(shop: Shop, **of: Any) -> Count:
    return services.start_count(who=shop.attendant, **(of or {"place": shop.bin}))


def write(shop: Shop, count: Count, counted: int, design: Design | None = None, **more: Any) -> CountLine:
    return services.record_count(
        count=count, design=design or shop.chamfer_tip, counted=counted, who=shop.attendant, **more
    )


def finish_and_post(shop: Shop, count: Count) -> list[Move]:
    services.finish_count(count=count, who=shop.attendant)
    return services.post_count(count=count, who=shop.lead)


def cabinet(shop: Shop) -> Place:
    """A cabinet in which both bins stand."""
    found = services.create_place(code="CAB", name="Cabinet", kind="cabinet", who=shop.lead)
    for one in (shop.bin, shop.other_bin):
        services.change_place(place=one, who=shop.lead, parent=found)
    return found


def test_a_difference_is_counted_twice_and_posted_after_review(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    count = begin(shop)
    assert count.blind
    line = write(shop, count, 7)
    assert (line.expected, line.counted, line.first_counted) == (5, 7, None)
    with pytest.raises(CountAgain, match="CT-45-12 in A-01"):
        services.finish_count(count=count, who=shop.attendant)
    line = write(shop, count, 4)
    assert (line.expected, line.counted, line.first_counted) == (5, 4, 7)
    with pytest.raises(CountClosed, match="still being counted"):
        services.post_count(count=count, who=shop.lead)
    # Taken after the shelf was looked at: the difference of one stays a difference of one.
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    services.finish_count(count=count, who=shop.attendant)
    with pytest.raises(CountClosed, match="to be reviewed"):
        write(shop, count, 3)
    (move,) = services.post_count(count=count, who=shop.lead)
    assert (move.quantity, move.to_place.kind, on_hand(design=shop.chamfer_tip)) == (1, "difference", 2)
    for late in (services.post_count, services.drop_count, services.reopen_count, services.finish_count):
        with pytest.raises(CountClosed, match="posted already"):
            late(count=count, who=shop.lead)
    assert_ledger_balances()


def test_what_agrees_is_counted_once_and_the_same_key_says_nothing_new(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    count = begin(shop)
    first = write(shop, count, 4, key="k1")
    assert write(shop, count, 4, key="k1").first_counted is None
    with pytest.raises(CountAgain):
        services.finish_count(count=count, who=shop.attendant)
    again = write(shop, count, 5, key="k2")
    assert (again.pk, again.first_counted) == (first.pk, 4)
    assert finish_and_post(shop, count) == []
    straight = begin(shop)
    write(shop, straight, 5)
    assert finish_and_post(shop, straight) == []


def test_what_moves_while_somebody_looks_is_counted_again(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    count = begin(shop)
    marker = selectors.spot_marker(design=shop.chamfer_tip, place=shop.bin)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    with pytest.raises(MovedMeanwhile, match="while you counted"):
        write(shop, count, 5, marker=marker)
    assert not count.lines.exists()
    marker = selectors.spot_marker(design=shop.chamfer_tip, place=shop.bin)
    assert write(shop, count, 3, marker=marker).expected == 3
    # What was taken is not there to be missing a second time.
    low = begin(shop, place=shop.other_bin)
    shop.stock(shop.chamfer_tip, 3, place=shop.other_bin)
    for _ in range(2):
        write(shop, low, 1)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter, from_place=shop.other_bin)
    services.finish_count(count=low, who=shop.attendant)
    with pytest.raises(CountAgain, match="Fewer CT-45-12 are booked in B-02"):
        services.post_count(count=low, who=shop.lead)
    assert Count.objects.get(pk=low.pk).state == "review"
    assert_ledger_balances()


def test_a_place_is_counted_with_all_that_stands_in_it(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.chamfer_tip, 2, place=shop.other_bin)
    outer = cabinet(shop)
    count = begin(shop, place=outer)
    assert [(one.place.code, one.design.code) for one in selectors.count_sheet(count=count)] == [
        ("A-01", "CT-45-12"),
        ("B-02", "CT-45-12"),
    ]
    for place in (shop.bin, outer):
        with pytest.raises(Refused, match="Atto Lind is counting CAB already"):
            services.start_count(place=place, who=shop.lead)
    write(shop, count, 5, place=shop.bin)
    write(shop, count, 2, place=shop.other_bin)
    assert finish_and_post(shop, count) == []
    inner = begin(shop, place=shop.bin)
    with pytest.raises(Refused, match="is counting A-01 already"):
        services.start_count(place=outer, who=shop.lead)
    with pytest.raises(BadInput, match="B-02 does not stand in A-01"):
        write(shop, inner, 2, place=shop.other_bin)


def test_a_design_is_counted_wherever_it_lies(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.chamfer_tip, 2, place=shop.other_bin)
    count = begin(shop, design=shop.chamfer_tip)
    with pytest.raises(BadInput, match="Scan the bin first"):
        write(shop, count, 5)
    with pytest.raises(BadInput, match="is of CT-45-12 alone"):
        write(shop, count, 1, design=shop.design("T-60"), place=shop.bin)
    with pytest.raises(BadInput, match="no place of the crib"):
        write(shop, count, 1, place=services.place_of(person=shop.setter))
    with pytest.raises(Refused, match="is counting CT-45-12 already"):
        services.start_count(design=shop.chamfer_tip, who=shop.lead)
    write(shop, count, 5, place=shop.bin)
    for _ in range(2):
        write(shop, count, 3, place=shop.other_bin)
    (move,) = finish_and_post(shop, count)
    assert (move.to_place, move.quantity) == (shop.other_bin, 1)
    assert_ledger_balances()


def test_two_counts_never_put_the_same_thing_right_twice(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    of_bin, of_design = begin(shop), begin(shop, design=shop.chamfer_tip)
    for _ in range(2):
        write(shop, of_bin, 4)
    with pytest.raises(Refused, match=f"Count {of_bin.pk} has CT-45-12 in A-01 already"):
        write(shop, of_design, 4, place=shop.bin)
    # Had both been written at the same moment, the second to be posted is refused.
    twin = of_bin.lines.get()
    twin.pk, twin.count = None, of_design
    twin.save(force_insert=True)
    finish_and_post(shop, of_bin)
    services.finish_count(count=of_design, who=shop.attendant)
    with pytest.raises(CountAgain, match="put CT-45-12 in A-01 right"):
        services.post_count(count=of_design, who=shop.lead)
    services.reopen_count(count=of_design, who=shop.lead)
    write(shop, of_design, 4, place=shop.bin)
    assert finish_and_post(shop, of_design) == []
    assert on_hand(design=shop.chamfer_tip) == 4
    assert_ledger_balances()


# --- pieces with labels -------------------------------------------------------------------------------


def test_a_piece_that_nobody_scans_is_missing(shop: Shop) -> None:
    here, gone = shop.item(shop.body), shop.item(shop.body)
    count = begin(shop)
    with pytest.raises(ItemNeeded, match="scan the label of each"):
        write(shop, count, 2, design=shop.body)
    services.scan_piece(count=count, item=here, who=shop.attendant)
    write(shop, count, 0, design=shop.body)
    with pytest.raises(CountAgain, match="BD-12-100 in A-01"):
        services.finish_count(count=count, who=shop.attendant)
    write(shop, count, 0, design=shop.body)
    (move,) = finish_and_post(shop, count)
    assert (move.item, move.to_place.kind, move.why) == (gone, "difference", "count")
    assert Item.objects.get(pk=here.pk).place == shop.bin
    # Later it turns up: scanned in a count, it comes back from the difference.
    again = begin(shop)
    services.scan_piece(count=again, item=gone, who=shop.attendant)
    (back,) = finish_and_post(shop, again)
    assert (back.from_place.kind, back.to_place) == ("difference", shop.bin)
    assert_ledger_balances()


def test_a_piece_found_elsewhere_than_booked_is_carried_there(shop: Shop) -> None:
    stray, other = shop.item(shop.body), shop.item(shop.body)
    count = begin(shop, place=shop.other_bin)
    for _ in range(2):  # scanned twice, counted once
        piece = services.scan_piece(count=count, item=stray, who=shop.attendant)
    assert (piece.booked, piece.place, piece.differs) == (shop.bin, shop.other_bin, True)
    (shown,) = [one for one in selectors.count_sheet(count=count) if one.pieces]
    assert (shown.difference, shown.again, [one.item for one in shown.strays]) == (1, False, [stray])
    (move,) = finish_and_post(shop, count)
    assert (move.from_place, move.to_place) == (shop.bin, shop.other_bin)
    assert Item.objects.get(pk=other.pk).place == shop.bin
    assert_ledger_balances()


def test_a_piece_that_moved_since_stays_where_that_move_took_it(shop: Shop) -> None:
    missing, stray = shop.item(shop.body), shop.item(shop.body)
    count = begin(shop, place=cabinet(shop))
    services.scan_piece(count=count, item=stray, who=shop.attendant, place=shop.other_bin)
    for _ in range(2):
        write(shop, count, 0, design=shop.body, place=shop.bin)
    for item in (missing, stray):
        shop.check_out(shop.body, by=shop.setter, item=item)
    assert finish_and_post(shop, count) == []
    assert set(Item.objects.values_list("place__kind", flat=True)) == {"person"}
    assert_ledger_balances()


def test_scanning_what_was_missing_settles_the_line(shop: Shop) -> None:
    piece = shop.item(shop.body)
    count = begin(shop)
    write(shop, count, 0, design=shop.body)
    assert [one.again for one in selectors.count_sheet(count=count)] == [True]
    services.scan_piece(count=count, item=piece, who=shop.attendant)
    assert [one.again for one in selectors.count_sheet(count=count)] == [False]
    assert finish_and_post(shop, count) == []


def test_a_body_without_its_label_becomes_an_item_when_it_is_posted(shop: Shop) -> None:
    count = begin(shop)
    for _ in range(2):
        write(shop, count, 1, design=shop.body, without_labels=True)
    finish_and_post(shop, count)
    assert Item.objects.get(design=shop.body).place == shop.bin
    assert_ledger_balances()


def test_labelled_tips_are_counted_beside_loose_ones(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3)
    item = shop.item(shop.chamfer_tip)
    count = begin(shop)
    services.scan_piece(count=count, item=item, who=shop.attendant)
    assert write(shop, count, 3).expected == 3
    (shown,) = selectors.count_sheet(count=count)
    assert (shown.expected, shown.found, shown.difference) == (4, 4, 0)
    assert finish_and_post(shop, count) == []


def test_a_piece_of_a_built_tool_is_not_carried_off_by_a_count(shop: Shop) -> None:
    assembly = shop.assembly
    body = assembly.body
    assert body is not None
    count = begin(shop, place=shop.other_bin)
    services.scan_piece(count=count, item=body, who=shop.attendant)
    services.finish_count(count=count, who=shop.attendant)
    with pytest.raises(CountAgain, match="part of a built tool"):
        floor.post_count(count=count, who=shop.lead)
    assert Count.objects.get(pk=count.pk).state == "review"
    free = begin(shop)
    write(shop, free, 0, condition=Condition.SPENT)
    services.finish_count(count=free, who=shop.attendant)
    assert floor.post_count(count=free, who=shop.lead) == []


# --- the field ------------------------------------------------------------------------------------------


def test_one_field_takes_bins_labels_and_figures(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.design("T-60"), 2, place=shop.other_bin)
    piece = shop.item(shop.body)
    count = begin(shop, place=cabinet(shop))

    def scan(text: str, at: CountPosition) -> CountPosition:
        return services.take_count_scan(count=count, text=text, who=shop.attendant, at=at)

    at = scan("A-01", CountPosition(place=count.place))
    assert (at.place, at.design) == (shop.bin, shop.body)
    at = scan(piece.label, at)
    assert at.tone == "good"
    at = scan("0", at)
    assert at.design == shop.chamfer_tip
    at = scan("4", at)
    assert (at.tone, at.words, at.design) == ("caution", "Count CT-45-12 in A-01 again.", shop.chamfer_tip)
    # Digits that are also a maker's number are asked about, whatever a scanner meant by them.
    with pytest.raises(BadInput, match="may be a figure or the design CT-45-12"):
        scan("90412", at)
    at = scan("5", at)
    assert (at.place, at.design and at.design.code) == (shop.other_bin, "T-60")
    at = scan("+2", at)
    assert at.words == "2 × T-60 in B-02 written down. Every line is counted."
    with pytest.raises(BadInput, match="Scan a bin"):
        scan(shop.setter.username, at)
    with pytest.raises(UnknownLabel):
        scan("nothing", at)
    assert finish_and_post(shop, count) == []


@pytest.mark.parametrize("counted", [-1, 1.5, "3", True, 10**9])
def test_a_count_is_a_sensible_number(shop: Shop, counted: int) -> None:
    count = begin(shop)
    with pytest.raises(BadInput):
        write(shop, count, counted)


def test_one_count_at_a_time_and_only_in_the_crib(shop: Shop) -> None:
    count = begin(shop)
    with pytest.raises(Refused, match="Atto Lind is counting A-01 already"):
        services.start_count(place=shop.bin, who=shop.lead)
    with pytest.raises(Refused, match="Nothing is counted yet"):
        services.finish_count(count=count, who=shop.attendant)
    services.drop_count(count=count, who=shop.lead)
    with pytest.raises(CountClosed):
        services.drop_count(count=count, who=shop.lead)
    services.start_count(place=shop.bin, who=shop.lead)
    with pytest.raises(BadInput):
        services.start_count(place=services.place_of(person=shop.setter), who=shop.lead)
    neither_nor_both: list[dict[str, Any]] = [{}, {"place": shop.bin, "design": shop.chamfer_tip}]
    for both in neither_nor_both:
        with pytest.raises(BadInput, match="either a place or a design"):
            services.start_count(who=shop.lead, **both)


@pytest.mark.django_db(transaction=True)
def test_moves_beside_a_count_keep_the_books(shop: Shop) -> None:
    """Whatever the order in which figures, hand-outs and posts meet: a shelf two short ends two short, once."""
    shop.stock(shop.chamfer_tip, 20)
    count, tip = begin(shop), shop.chamfer_tip
    for _ in range(2):
        write(shop, count, 18)
    services.finish_count(count=count, who=shop.attendant)
    take = [lambda: shop.check_out(tip, 1, by=shop.setter) for _ in range(4)]
    post = [lambda: services.post_count(count=count, who=shop.lead) for _ in range(2)]
    outcomes = at_once(*take, *post)
    assert sorted(map(type_name, outcomes)) == ["CountClosed", *["Move"] * 4, "list"], outcomes
    assert on_hand(design=tip) == 20 - 2 - 4
    assert Move.objects.filter(why="count").count() == 1
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_two_who_begin_at_once_do_not_count_the_same(shop: Shop) -> None:
    outer, inner, who = cabinet(shop), shop.bin, shop.attendant
    acts = [lambda p=place: services.start_count(place=p, who=who) for place in (outer, inner, outer, inner)]
    outcomes = at_once(*acts)
    assert sorted(map(type_name, outcomes)) == ["Count", *["Refused"] * 3], outcomes
