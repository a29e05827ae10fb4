"""Labels as people type them into the search box: whole, or only their letter and number."""

from __future__ import annotations

import re

from crib.stock.labels import KINDS, PREFIX, BadLabel, check_character, parse_label

_TYPED = re.compile(rf"\A(ET1)?([{''.join(KINDS)}])?([1-9][0-9]{{0,17}})([0-9A-Z]?)\Z")
_SIGNS = re.compile(r"[\s:\-/._]+")
MISREAD = (
    "is no sound label: its check character does not fit. Type it again, or only its letter and number without the "
    "last character."
)


def labels_in(text: str) -> tuple[list[tuple[str, int]], str]:
    """What a typed label may mean as (kind letter, number), the surest first; or the sentence that it was misread.

    Without its beginning or its check character a label is still understood; a bare number is that of a piece.

    >>> labels_in("et1:i123f"), labels_in("i 123"), labels_in("123")
    (([('I', 123)], ''), ([('I', 123)], ''), ([('I', 123)], ''))
    """
    plain = _SIGNS.sub("", text.upper())
    found = _TYPED.match(plain)
    if found is None:
        begins = plain.startswith(PREFIX.rstrip(":")) and ":" in text
        return [], f"“{text[:40]}” {MISREAD}" if begins else ""
    whole, letter, digits, check = found.groups()
    if letter is None:
        return ([], "") if whole or check else ([("I", int(digits))], "")
    # What looks like the last figure of the number may be its check character, and the other way round.
    body, last = (digits, check) if check else (digits[:-1], digits[-1])
    sound = bool(body) and check_character(f"{letter}{body}") == last
    if whole:
        try:
            label = parse_label(f"{PREFIX}{letter}{digits}{check}")
        except BadLabel:
            return [], f"“{text[:40]}” {MISREAD}"
        return [(label.kind, label.number)], ""
    meant = [(letter, int(body))] if sound else []
    if not check:
        meant.append((letter, int(digits)))
    return meant, ""
