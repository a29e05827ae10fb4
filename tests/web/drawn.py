"""A drawing as the tests of drawings read it."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

from calc.workings import Answer, Value, get, run
from crib.web.drawings import drawing_of
from crib.web.drawings.paper import text_width


def asked(name: str, **changed: Any) -> dict[str, Any]:
    """The working's example with some inputs changed; None takes one away."""
    merged = {**get(name).example, **changed}
    return {key: value for key, value in merged.items() if value is not None}


def drawn(name: str, system: Any = "metric", /, **changed: Any) -> ET.Element:
    return parsed(run(name, asked(name, **changed), system))


def parsed(answer: Answer) -> ET.Element:
    """The drawing as a parser reads it, after what every drawing must have."""
    text = str(drawing_of(answer))
    assert text, f"nothing drawn for {answer.working.name}"
    assert not re.search(r"\bnan\b|\binf\b", text.lower())
    root = ET.fromstring(text)
    assert root.tag == "svg"
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == ["title", "desc"]
    for element in root.iter():
        assert element.get("style") is None
        assert not any(name.startswith("on") for name in element.attrib)
    width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
    for x, y in points_of(root):
        assert -0.5 <= x <= width + 0.5
        assert -0.5 <= y <= height + 0.5
    boxes = [box_of(element) for element in root.iter("text")]
    for words, (left, top, right, bottom) in boxes:
        assert left >= 0, words
        assert right <= width, words
        assert top >= 0, words
        assert bottom <= height, words
    for (words, one), (others, other) in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, f"{words!r} lies on {others!r}"
    return root


def box_of(element: ET.Element) -> tuple[str, tuple[float, float, float, float]]:
    """About where the words stand, at the size the style sheet gives them."""
    words = element.text or ""
    width, x, y = 0.97 * text_width(words), float(element.attrib["x"]), float(element.attrib["y"])
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[element.attrib["text-anchor"]]
    return words, (left, y - 11, left + width, y + 3)


def points_of(root: ET.Element) -> Iterator[tuple[float, float]]:
    for element in root.iter("path"):
        if "hatch-" not in element.get("class", ""):
            yield from coordinates(element)


def coordinates(element: ET.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", element.attrib["d"])]


def dimension(root: ET.Element, name: str) -> float:
    """How long a dimension is on the paper."""
    found = [element for element in root.iter("path") if element.get("data-dim") == name]
    assert len(found) == 1, f"{len(found)} dimensions called {name}"
    one, other = coordinates(found[0])
    return math.dist(one, other)


def named(root: ET.Element, name: str) -> ET.Element:
    return next(element for element in root.iter() if element.get("data-name") == name)


def size(element: ET.Element) -> tuple[float, float]:
    """Width and height of a shape on the paper."""
    xs, ys = zip(*coordinates(element), strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def says(root: ET.Element) -> str:
    return root.findtext("desc") or ""


def words_of(root: ET.Element) -> str:
    return " ".join(element.text or "" for element in root.iter("text"))


def has_class(root: ET.Element, name: str) -> bool:
    return any(name in element.get("class", "").split() for element in root.iter())


def with_more(answer: Answer, inputs: Mapping[str, Any], results: Mapping[str, float] | None = None) -> Answer:
    """An answer with inputs and results that the calculator may add."""
    more = {name: Value(value, "mm", f"{value} mm") for name, value in inputs.items()}
    found = {name: Value(value, "mm", f"{value} mm") for name, value in (results or {}).items()}
    return replace(answer, inputs={**answer.inputs, **more}, results={**answer.results, **found})
