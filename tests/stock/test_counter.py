"""The counter's conversation: any sensible order, each scan answered once, and refusals that say what to do."""

import pytest

from crib.people.models import Person
from crib.stock import services
from crib.stock.counter import CounterState, Scanned, split_quantity
from crib.stock.labels import make_label
from crib.stock.models import Item, Move
from crib.stock.selectors import holdings
from tests.shop import Shop, assert_ledger_balances


class Tablet:
    """A counter that remembers as the page does."""

    def __init__(self, shop: Shop, signed_in: Person | None = None) -> None:
        self.shop, self.acting, self.shared = shop, signed_in, signed_in is None
        self.state = CounterState()

    def scan(self, text: str, key: str | None = None) -> Scanned:
        scanned = services.take_scan(
            state=self.state, text=text, key=key or self.shop.key()[-40:], acting=self.acting, shared=self.shared
        )
        # Through the session and back, as between two requests.
        self.state = CounterState.from_session(scanned.state.to_session())
        assert self.state == scanned.state
        self.acting = None if scanned.finished and self.shared else scanned.acting or self.acting
        return scanned

    def says(self, text: str) -> str:
        return self.scan(text).answer.words


def badge(person: Person) -> str:
    return make_label("P", person.pk)


def held(person: Person) -> dict[str, int]:
    return {row.design.code: row.quantity for row in holdings(person=person)}


def test_person_then_things(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop)
    assert tablet.says(badge(shop.setter)) == "Sela Marsh"
    answer = tablet.scan("ct-45-12").answer
    assert (answer.tone, answer.words) == ("good", "1 × CT-45-12 → Sela Marsh")
    assert "9 left in the crib" in answer.more
    assert tablet.says("3*90412") == "3 × CT-45-12 → Sela Marsh"
    assert held(shop.setter) == {"CT-45-12": 4}
    assert_ledger_balances()


def test_things_then_person(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop)
    assert tablet.says("2*CT-45-12") == "2 × CT-45-12"
    tablet.scan(make_label("D", shop.chamfer_tip.pk))
    assert not Move.objects.filter(why="check_out").exists()
    answer = tablet.scan(badge(shop.setter)).answer
    assert (answer.tone, answer.words) == ("good", "2 things → Sela Marsh")
    assert held(shop.setter) == {"CT-45-12": 3}
    assert tablet.state.pending == ()


def test_things_that_cannot_be_had_are_named_and_the_rest_is_given(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    empty = shop.design("CT-60-10")
    tablet = Tablet(shop)
    tablet.scan("CT-45-12")
    tablet.scan(empty.code)
    answer = tablet.scan(badge(shop.setter)).answer
    assert (answer.tone, answer.words) == ("bad", "1 of 2 → Sela Marsh")
    assert "There is no CT-60-10 left in the crib" in answer.more
    assert held(shop.setter) == {"CT-45-12": 1}


def test_a_quantity_scanned_alone_counts_for_the_next_thing_only(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    tablet = Tablet(shop)
    tablet.scan(badge(shop.setter))
    tablet.scan("3*")
    assert tablet.says("CT-45-12") == "3 × CT-45-12 → Sela Marsh"
    assert tablet.says("CT-45-12") == "1 × CT-45-12 → Sela Marsh"
    assert tablet.scan("0*CT-45-12").answer.tone == "bad"
    assert tablet.scan("999999*CT-45-12").answer.tone == "bad"
    assert held(shop.setter) == {"CT-45-12": 4}


def test_a_job_and_a_bin_count_for_what_follows(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.stock(shop.chamfer_tip, 5, place=shop.other_bin)
    tablet = Tablet(shop)
    for text in (badge(shop.setter), shop.job.code, make_label("B", shop.other_bin.pk), "CT-45-12"):
        assert tablet.scan(text).answer.tone != "bad"
    move = Move.objects.get(why="check_out")
    assert (move.job, move.from_place) == (shop.job, shop.other_bin)


def test_an_item_out_with_a_person_comes_back_by_itself(shop: Shop) -> None:
    piece = shop.item(shop.body)
    tablet = Tablet(shop, signed_in=shop.setter)
    assert tablet.says(piece.label) == f"BD-12-100 {piece.label} → Sela Marsh"
    answer = tablet.scan(piece.label).answer
    assert answer.words == f"BD-12-100 {piece.label} → A-01"
    assert Item.objects.get(pk=piece.pk).place == shop.bin
    assert_ledger_balances()


def test_the_number_pad_turns_to_bringing_back(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop, signed_in=shop.setter)
    tablet.scan("3*CT-45-12")
    assert tablet.says("-") == "Back as it left"
    assert tablet.says("CT-45-12") == "1 × CT-45-12 → A-01"
    assert tablet.says("-") == "Back part-used"
    assert tablet.says("CT-45-12") == "1 × CT-45-12 (part-used) → A-01"
    assert tablet.says("-") == "Back spent"
    assert tablet.says("CT-45-12") == "1 × CT-45-12 (spent) → SPENT"
    assert tablet.scan("CT-45-12").answer.words == "Sela Marsh holds no CT-45-12, so 1 cannot come back."
    assert tablet.says("/") == "By what is scanned"
    assert tablet.says("+") == "Give out"
    assert held(shop.setter) == {}
    assert_ledger_balances()


def test_each_scan_is_answered_once_however_often_it_is_sent(shop: Shop) -> None:
    piece = shop.item(shop.body)
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop, signed_in=shop.setter)
    first = tablet.scan("2*CT-45-12", key="k1").answer
    assert tablet.scan("2*CT-45-12", key="k1").answer == first
    out = tablet.scan(piece.label, key="k2").answer
    assert tablet.scan(piece.label, key="k2").answer == out
    # The answer was lost and the page's memory with it: the ledger still knows the scan.
    tablet.state = CounterState()
    assert tablet.scan("2*CT-45-12", key="k1").answer.words == first.words
    assert tablet.scan(piece.label, key="k2").answer.words == out.words
    assert Move.objects.filter(why="check_out").count() == 2
    assert held(shop.setter) == {"CT-45-12": 2, "BD-12-100": 1}


def test_a_thing_noted_before_its_person_is_noted_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop)
    tablet.scan("CT-45-12", key="k1")
    tablet.scan("CT-45-12", key="k1")
    tablet.scan(badge(shop.setter))
    assert held(shop.setter) == {"CT-45-12": 1}


def test_an_attendant_hands_out_to_whoever_is_scanned(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop)
    assert "Scan who takes it" in tablet.scan(badge(shop.attendant)).answer.more
    tablet.scan("CT-45-12")
    assert not held(shop.attendant)
    tablet.scan(badge(shop.setter))
    assert held(shop.setter) == {"CT-45-12": 1}
    move = Move.objects.get(why="check_out")
    assert (move.who, move.to_place.person) == (shop.attendant, shop.setter)


def test_a_machinist_at_their_own_screen_draws_for_nobody_else(shop: Shop) -> None:
    tablet = Tablet(shop, signed_in=shop.setter)
    answer = tablet.scan(badge(shop.other_setter)).answer
    assert (answer.tone, answer.words) == (
        "bad",
        "Your role lets you draw for yourself alone, not for Odd Brennan.",
    )


def test_the_next_badge_at_the_tablet_is_the_next_person(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop)
    for text in (badge(shop.setter), "CT-45-12", badge(shop.other_setter), "CT-45-12"):
        tablet.scan(text)
    assert held(shop.setter) == held(shop.other_setter) == {"CT-45-12": 1}


def test_who_draws_no_tools_is_told_so(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop)
    assert "does not draw tools" in tablet.says(badge(shop.planner))
    own = Tablet(shop, signed_in=shop.planner)
    assert "does not draw tools" in own.says("CT-45-12")
    assert Move.objects.filter(why="check_out").count() == 0


def test_a_thing_alone_at_the_tablet_moves_nothing(shop: Shop) -> None:
    piece = shop.item(shop.body)
    tablet = Tablet(shop)
    assert "Scan the badge" in tablet.scan(piece.label).answer.more
    tablet.scan("done")
    assert tablet.state.pending == ()
    assert not Move.objects.filter(item=piece).exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("NO-SUCH-THING", "“NO-SUCH-THING” is not known here"),
        ("ET1:I123A", "its check character does not fit"),
        ("ET1:", "not complete"),
        ("ET1:I99999W", "has no item with that number"),
        ("", "Nothing was read"),
        ("x" * 201, "is no label of this shop"),
        ("tab\tinside\x07", "is no label of this shop"),
        ("mode:sideways", "no such way"),
    ],
)
def test_what_cannot_be_read_is_said_with_what_was_read(shop: Shop, text: str, said: str) -> None:
    if text.startswith("ET1:I99999"):
        text = make_label("I", 99999)
    answer = Tablet(shop, signed_in=shop.setter).scan(text).answer
    assert answer.tone == "bad"
    assert said in answer.words


def test_a_word_that_fits_two_things_asks_for_the_label(shop: Shop) -> None:
    shop.design("A-01")
    assert shop.bin.code == "A-01"
    assert "fits more than one thing" in Tablet(shop, signed_in=shop.setter).says("A-01")


def test_none_left_says_who_has_them(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    shop.check_out(shop.chamfer_tip, by=shop.other_setter)
    tablet = Tablet(shop, signed_in=shop.setter)
    assert tablet.says("CT-45-12") == "There is no CT-45-12 left in the crib. Odd Brennan holds 1."


def test_undo_takes_the_last_move_back_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop, signed_in=shop.setter)
    assert "nothing to undo" in tablet.says("undo")
    tablet.scan("2*CT-45-12")
    assert tablet.says("undo") == "Undone: 2 × CT-45-12 A-01 → P-SELA"
    assert "nothing to undo" in tablet.says("undo")
    assert held(shop.setter) == {}
    assert [line.undone for line in tablet.state.lines if line.move] == [True]
    assert_ledger_balances()


def test_one_undoes_only_ones_own(shop: Shop) -> None:
    from crib.core.errors import NotAllowed

    shop.stock(shop.chamfer_tip, 5)
    tablet = Tablet(shop, signed_in=shop.setter)
    tablet.scan("CT-45-12")
    move = Move.objects.get(why="check_out")
    with pytest.raises(NotAllowed):
        services.undo_move(state=tablet.state, move=move, acting=shop.other_setter)
    with pytest.raises(NotAllowed):
        services.undo_move(state=CounterState(), move=move, acting=shop.setter)
    with pytest.raises(NotAllowed, match="badge"):
        services.undo_move(state=tablet.state, move=move, acting=None)
    services.undo_move(state=CounterState(), move=move, acting=shop.attendant)
    assert_ledger_balances()


def test_bins_machines_and_closed_jobs(shop: Shop) -> None:
    from crib.catalogue.services import retire_job

    tablet = Tablet(shop, signed_in=shop.setter)
    assert "is a machine" in tablet.says(shop.machine.code)
    retire_job(job=shop.job, who=shop.lead)
    assert "is closed" in tablet.says(shop.job.code)
    assert "no bin to take from" in tablet.says(services.place_of(supplier=shop.supplier).code)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("3*CT-1", (3, "CT-1")),
        (" 3 * CT-1 ", (3, "CT-1")),
        ("12*", (12, "")),
        ("CT-1", (None, "CT-1")),
        ("A*B", (None, "A*B")),
        ("3x", (None, "3x")),
    ],
)
def test_the_number_before_a_star(text: str, parts: tuple[int | None, str]) -> None:
    assert split_quantity(text) == parts
