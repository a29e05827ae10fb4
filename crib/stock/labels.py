"""Labels: `ET1:`, a letter for the kind of thing, its number, and a check character that catches misreads."""

from __future__ import annotations

from dataclasses import dataclass

PREFIX = "ET1:"
ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
KINDS = {
    "P": "person", "J": "job", "I": "item", "B": "bin", "D": "design", "M": "machine", "A": "assembly", "K": "kit",
}  # fmt: skip


class BadLabel(ValueError):
    """A text that cannot be one of our labels, with the sentence that says why."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Label:
    """What a label says."""

    kind: str
    number: int

    @property
    def text(self) -> str:
        return make_label(self.kind, self.number)


def check_character(text: str) -> str:
    """The ISO/IEC 7064 MOD 37,36 check character of digits and capital letters.

    >>> check_character("A12425GABC1234002")
    'M'
    """
    total = 36
    for letter in text:
        if letter not in ALPHABET:
            raise BadLabel("A label holds digits and the letters A to Z only.")
        total = ((total + ALPHABET.index(letter)) % 36 or 36) * 2 % 37
    return ALPHABET[(37 - total) % 36]


def make_label(kind_letter: str, number: int) -> str:
    """The label text of a thing.

    >>> make_label("I", 123)
    'ET1:I123F'
    """
    if kind_letter not in KINDS:
        raise BadLabel(f"There is no kind of label {kind_letter}.")
    if number < 1:
        raise BadLabel("A label's number starts at 1.")
    body = f"{kind_letter}{number}"
    return f"{PREFIX}{body}{check_character(body)}"


def looks_like_label(text: str) -> bool:
    """Whether a scan claims to be one of our labels, right or wrong."""
    return text.strip().upper().startswith(PREFIX)


def parse_label(text: str) -> Label:
    """Read a label as scanned or typed; `BadLabel` says what is wrong with it.

    >>> parse_label(" et1:i123f ")
    Label(kind='I', number=123)
    """
    scanned = text.strip().upper()
    if not scanned.startswith(PREFIX):
        raise BadLabel("This is not one of our labels.")
    body, check = scanned[len(PREFIX) : -1], scanned[-1]
    kind, digits = body[:1], body[1:]
    if kind not in KINDS or not (digits.isascii() and digits.isdigit()) or len(digits) > 18 or digits.startswith("0"):
        raise BadLabel("This label is not complete. Scan it again.")
    if check_character(body) != check:
        raise BadLabel("This label was misread: its check character does not fit. Scan it again, or type it in full.")
    return Label(kind, int(digits))
