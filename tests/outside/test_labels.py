"""Check characters against `checks/supply.json` (S-C01, S-C03) and python-stdnum, a general-purpose library (LGPL)."""

import json
from itertools import permutations
from pathlib import Path

import pytest
from stdnum.iso7064 import mod_37_36

from crib.stock.labels import ALPHABET, BadLabel, check_character, make_label, parse_label

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
