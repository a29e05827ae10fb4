"""The tokens: dark stands twice and alike, and every pair of colours that meets can be read (WCAG 2.2 AA)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

STATIC = Path(settings.BASE_DIR) / "crib" / "web" / "static" / "crib"
TOKENS = (STATIC / "tokens.css").read_text(encoding="utf-8")
SHEETS = [sheet for sheet in STATIC.glob("*.css") if sheet.name != "tokens.css"]


def declared(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*([^;]+);", block))


def block_after(start: str) -> str:
    return TOKENS[TOKENS.index(start) :].split("}", 1)[0]


LIGHT = declared(block_after(":root {"))
DARK_BY_DEVICE = declared(block_after(':root:not([data-scheme="light"]) {'))
DARK_BY_CHOICE = declared(block_after(':root[data-scheme="dark"] {'))


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_computed_as_the_standard_does() -> None:
    # WCAG 2.2: black on white is 21:1; #767676 on white is the well-known last grey above 4.5:1 (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_both_dark_sets_are_the_same() -> None:
    assert DARK_BY_DEVICE == DARK_BY_CHOICE


def test_every_colour_has_its_dark_twin() -> None:
    colours = {name for name, value in LIGHT.items() if value.startswith(("#", "0 ", "rgb"))} - {"paper", "paper-ink"}
    assert colours == set(DARK_BY_DEVICE)


GROUNDS = ("ground", "surface", "surface-sunk")
TEXT = [
    *(
        (ink, ground)
        for ink in ("ink", "ink-soft", "accent", "bad")
        for ground in ("ground", "surface", "surface-sunk")
    ),
    *((tone, f"{tone}-wash") for tone in ("good", "caution", "bad", "info", "plain")),
    *((tone, "surface") for tone in ("good", "caution", "bad", "info", "plain")),
    *(("ink", f"{tone}-wash") for tone in ("good", "caution", "bad", "info", "plain", "accent")),
    ("ink", "surface-raised"),
    ("accent-ink", "accent"),
    ("accent-ink", "accent-hover"),
    ("accent-hover", "accent-wash"),
    ("rail-ink", "rail"),
    ("rail-ink-strong", "rail-hover"),
    ("rail-current-ink", "rail-current"),
]
SHAPES = [
    *(
        (line, ground)
        for line in ("line-firm", "focus", "chart-1", "chart-2", "chart-3")
        for ground in ("surface", "ground")
    ),
    ("line-firm", "surface-raised"),
    ("copper", "rail"),
    *((fill, "chart-track") for fill in ("good", "caution-fill", "bad")),
    *((fill, "surface") for fill in ("good", "caution-fill", "bad")),
]


@pytest.mark.parametrize("scheme", [LIGHT, DARK_BY_DEVICE], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(scheme: dict[str, str], ink: str, ground: str) -> None:
    assert contrast(scheme[ink], scheme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK_BY_DEVICE], ids=["light", "dark"])
@pytest.mark.parametrize(("shape", "ground"), SHAPES)
def test_shapes_that_mean_something_can_be_seen(scheme: dict[str, str], shape: str, ground: str) -> None:
    assert contrast(scheme[shape], scheme[ground]) >= 3


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_sheets_take_their_colours_from_the_tokens_and_nothing_from_elsewhere(sheet: Path) -> None:
    # Paper is white and ink is black whatever the scheme, so the rules for print are left out, and so is the logo.
    rules = re.sub(r"@media print \{.*\Z", "", sheet.read_text(encoding="utf-8"), flags=re.S)
    rules = re.sub(r"\.brand-mark \.mark-tally \{[^}]*\}", "", rules)
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s,)])", rules)
    assert not re.findall(r"@import|url\(|https?:", rules)
    used = set(re.findall(r"var\(--([\w-]+)", rules))
    assert used - {"tone", "tone-wash", "tone-shape"} <= set(LIGHT), "a token that is not there"


TEMPLATES = sorted((Path(settings.BASE_DIR) / "crib" / "web" / "templates").rglob("*.html"))


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda template: template.name)
def test_a_table_scrolls_within_itself(template: Path) -> None:
    text = template.read_text(encoding="utf-8")
    scrolling = re.findall(r'class="table-scroll[^>]*role="region" tabindex="0" aria-label="[^"]+">\s*<table', text)
    assert len(scrolling) == text.count("<table")
