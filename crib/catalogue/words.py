"""How words are made alike before they are compared: case, accents, blanks and dashes count for nothing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

# What is looked through stays well below what a page of the database holds, whatever somebody pasted into a field.
LONGEST_TEXT = 1000
_WORD = re.compile(r"[^\W_]+")
_PIECE = re.compile(r"\d+|[^\W\d_]+")


def words_of(text: str) -> list[str]:
    """The words of a text in small letters without accents.

    >>> words_of("CT-12/4 Schälfräser")
    ['ct', '12', '4', 'schalfraser']
    """
    plain = "".join(one for one in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(one))
    return _WORD.findall(plain.casefold())


def squeezed(text: str) -> str:
    """A code as one word, so that “ct 12”, “CT-12” and “ct12” are the same.

    >>> squeezed("CT 12")
    'ct12'
    """
    return "".join(words_of(text))


def pieces_of(word: str) -> list[str]:
    """A word cut where letters meet figures, so that “12mm” is found by “12 mm”.

    >>> pieces_of("12mm")
    ['12', 'mm']
    """
    return _PIECE.findall(word)


def search_text(*, code: str, numbers: Iterable[str] = (), said: Iterable[str] = ()) -> str:
    """What the search box looks through: the code as one word first, then other numbers, then every word.

    Each word stands between blanks, so that a blank before what is typed asks for words that begin so.

    >>> search_text(code="CT-12", numbers=["9 77"], said=["Tip 12mm"])
    ' ct12 977 ct 12 9 77 tip 12mm mm '
    """
    known = list(numbers)
    texts = [code, *known, *said]
    spelt = [word for text in texts for word in words_of(text)]
    found = [squeezed(code), *(squeezed(one) for one in known), *spelt]
    found += [piece for word in spelt for piece in pieces_of(word)]
    kept = " ".join(dict.fromkeys(word for word in found if word))
    return f" {kept[:LONGEST_TEXT].rstrip()} " if kept else ""
