"""Check characters against `checks/supply.json` (S-C01, S-C03) and python-stdnum, a general-purpose library (LGPL)."""

import json
from itertools import combinations, permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from crib.stock.labels import ALPHABET, KINDS, BadLabel, check_character, make_label, parse_label

ENTRIES = {e["id"]: e for e in json.loads((Path(__file__).parent / "checks" / "supply.json").read_text())}


@pytest.mark.parametrize("body", ENTRIES["S-C01"]["inputs"]["mod37_36"])
def test_published_check_characters(body: str) -> None:
    assert check_character(body) == ENTRIES["S-C01"]["expected"][f"mod37_36_{body}"]["value"]


@pytest.mark.parametrize("full", ["TC000427180", "TC000427810", "TD000427180"])
def test_whole_strings_are_judged_as_published(full: str) -> None:
    # The two strings of digits alone in S-C01 belong to MOD 11,10, which our labels do not use.
    assert (check_character(full[:-1]) == full[-1]) is ENTRIES["S-C01"]["expected"][f"valid_{full}"]["value"]


def test_labels_agree_with_the_library() -> None:
    for number in (1, 7, 36, 123, 99999, 1234567890):
        for kind in "PJIBDMA":
            body = make_label(kind, number).removeprefix("ET1:")
            assert mod_37_36.is_valid(body)
            assert parse_label(f"ET1:{body}").number == number


def test_every_single_misread_character_is_caught() -> None:
    full = ENTRIES["S-C03"]["inputs"]["base"]
    missed = sum(
        check_character((full[:i] + other + full[i + 1 :])[:-1]) == (full[:i] + other + full[i + 1 :])[-1]
        for i in range(len(full))
        for other in ALPHABET
        if other != full[i]
    )
    assert missed == ENTRIES["S-C03"]["expected"]["undetected_single_substitutions"]["value"]


def test_swapped_neighbours_that_slip_through_are_as_few_as_published() -> None:
    body = ENTRIES["S-C03"]["inputs"]["base"][:-1]
    assert mod_37_36.calc_check_digit(body) == check_character(body)
    name = "undetected_adjacent_swaps_Xab_over_ordered_pairs_a_ne_b"
    slipped = sum(check_character(f"X{a}{b}") == check_character(f"X{b}{a}") for a, b in permutations(ALPHABET, 2))
    assert slipped == ENTRIES["S-C03"]["expected"][name]["value"]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "not one of our labels"), ("P123", "not one of our labels"), ("ET1:", "not complete"),
        ("ET1:I", "not complete"), ("ET1:Q12F", "not complete"), ("ET1:I0123F", "not complete"),
        ("ET1:I12X3F", "not complete"), ("ET1:I123G", "misread"), ("ET1:I132F", "misread"),
        ("ET1:I" + "9" * 40, "not complete"), ("ET1:I１２３F", "not complete"),
    ],
)  # fmt: skip
def test_a_bad_label_says_what_is_wrong(text: str, word: str) -> None:
    with pytest.raises(BadLabel, match=word):
        parse_label(text)


def test_labels_are_made_of_known_kinds_and_numbers_only() -> None:
    for kind, number in (("Z", 1), ("I", 0)):
        with pytest.raises(BadLabel):
            make_label(kind, number)
    with pytest.raises(BadLabel, match="digits and the letters"):
        check_character("ä")


# Below python-stdnum 2.x (LGPL), which implements ISO/IEC 7064 on its own, says which misreadings a label survives.


@pytest.mark.parametrize("label", ["I1", "P56", "B4096", "D50000", "I200000", "J1234567890"])
def test_every_other_character_anywhere_in_a_label_is_refused(label: str) -> None:
    """All 35 wrong characters at every place, the kind letter and the check character among them."""
    full = make_label(label[0], int(label[1:]))
    for place in range(len("ET1:"), len(full)):
        for other in set(ALPHABET) - {full[place]}:
            wrong = full[:place] + other + full[place + 1 :]
            assert not mod_37_36.is_valid(wrong.removeprefix("ET1:"))
            with pytest.raises(BadLabel):
                parse_label(wrong)


@given(st.sampled_from(sorted(KINDS)), st.integers(1, 10**18 - 1), st.data())
def test_no_single_wrong_character_slips_through(kind: str, number: int, data: st.DataObject) -> None:
    full = make_label(kind, number)
    place = data.draw(st.integers(len("ET1:"), len(full) - 1))
    other = data.draw(st.sampled_from(sorted(set(ALPHABET) - {full[place]})))
    with pytest.raises(BadLabel):
        parse_label(full[:place] + other + full[place + 1 :])


# One prefix for each of the 36 states that the check can be in before the two characters that were swapped.
PREFIXES = {mod_37_36.calc_check_digit(letter): letter for letter in ALPHABET}


def test_of_all_swaps_of_neighbours_one_pair_in_630_slips_through_at_each_state() -> None:
    """By the reference: whatever came before, exactly one of the 630 pairs of different characters may be swapped
    unseen, and each pair of neighbours in the alphabet, Z and 0 among them, is that pair at one state. Ours is alike.
    """
    assert len(PREFIXES) == 36
    missed: dict[str, list[str]] = {
        prefix: [
            a + b
            for a, b in combinations(ALPHABET, 2)
            if mod_37_36.calc_check_digit(prefix + a + b) == mod_37_36.calc_check_digit(prefix + b + a)
        ]
        for prefix in PREFIXES.values()
    }
    ours = {
        prefix: [
            a + b
            for a, b in combinations(ALPHABET, 2)
            if check_character(prefix + a + b) == check_character(prefix + b + a)
        ]
        for prefix in PREFIXES.values()
    }
    assert ours == missed
    assert all(len(pairs) == 1 for pairs in missed.values())
    neighbours = {"".join(sorted((one, ALPHABET[(place + 1) % 36]))) for place, one in enumerate(ALPHABET)}
    assert {pairs[0] for pairs in missed.values()} == neighbours


def test_the_last_character_and_the_check_character_swapped_slip_through_in_two_cases_only() -> None:
    """By the reference, over all states and last characters: the check character itself is a neighbour too."""
    missed = {
        (prefix, last)
        for prefix in PREFIXES.values()
        for last in ALPHABET
        for check in mod_37_36.calc_check_digit(prefix + last)
        if check != last and mod_37_36.is_valid(prefix + check + last)
    }
    assert missed == {("9", "0"), ("9", "1")}
    # Our labels begin with a kind letter, after which a digit alone may follow.
    for kind in KINDS:
        for digit in "123456789":
            swapped = kind + check_character(kind + digit) + digit
            if swapped != kind + digit + check_character(kind + digit):
                with pytest.raises(BadLabel):
                    parse_label(f"ET1:{swapped}")


def test_which_swapped_digits_of_our_own_labels_slip_through() -> None:
    """Right after the kind letter it is 5 and 6 of a person's label alone: 56 and 65, 561 and 651, and so on."""
    missed = {
        kind + a + b
        for kind in KINDS
        for a, b in combinations("123456789", 2)
        if check_character(kind + a + b) == check_character(kind + b + a)
    }
    assert missed == {"P56"}
    full = make_label("P", 56)
    assert parse_label(full.replace("56", "65")).number == 65
