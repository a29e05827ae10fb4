"""How people and files name an operation and an edge."""

from __future__ import annotations

from crib.stock.labels import BadLabel, parse_label


def split_operation(text: str) -> tuple[str, int] | int:
    """Read a job's code and a number ("J-100/20"), or an operation's own number ("412").

    What cannot be read names no operation there is.
    """
    text = text.strip()
    if text.isascii() and text.isdigit() and len(text) <= 15:
        return int(text)
    job, _, number = text.rpartition("/")
    return (job.strip(), int(number)) if number.isascii() and number.isdigit() and len(number) <= 5 else (text, -1)


def edge_number_in(text: str) -> int | tuple[int, int] | None:
    """An edge's own number ("412"), or its item and number on it ("ET1:I00012X/2"); None when it is neither."""
    text = text.strip()
    if text.isascii() and text.isdigit() and len(text) <= 15:
        return int(text)
    label, _, number = text.rpartition("/")
    if not (number.isascii() and number.isdigit() and len(number) <= 4):
        return None
    try:
        item = parse_label(label if ":" in label else f"ET1:{label}")
    except BadLabel:
        return None
    return (item.number, int(number)) if item.kind == "I" else None
