"""The bibliography that the keys in docstrings and workings stand for, read from `references.md`."""

import functools
import re
from pathlib import Path

_LINE = re.compile(r"- \[(?P<key>[a-z0-9.-]+)(?P<memory> \(m\))?\] (?P<words>.+)")


@functools.cache
def bibliography() -> dict[str, str]:
    """Every source by its key.

    Returns
    -------
    key -> what it is; one cited from memory says so at its end

    >>> bibliography()["kienzle-1952"].startswith("O. Kienzle")
    True
    """
    lines = (Path(__file__).parent / "references.md").read_text(encoding="utf-8").splitlines()
    return {
        match["key"]: match["words"] + (" (Cited from memory.)" if match["memory"] else "")
        for match in map(_LINE.fullmatch, lines)
        if match is not None
    }


def describe(key: str) -> str:
    """What a source is, in words.

    Parameters
    ----------
    key : as docstrings and workings write it, with or without the mark of a source from memory

    Returns
    -------
    its entry in the bibliography; the key itself when there is none

    >>> describe("nowhere-1900")
    'nowhere-1900'
    """
    return bibliography().get(key.removesuffix(" (m)"), key)
