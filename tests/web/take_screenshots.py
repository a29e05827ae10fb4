"""Takes the README's pictures from a running demo.

`python tests/web/take_screenshots.py http://127.0.0.1:8000 --password …` writes docs/screenshots/<page>.png at 1280 by
800 in light; the pages named in `ALSO` in dark and on an upright tablet too.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Literal

from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
PLACES = {
    "today": "/",
    "counter": "/counter/",
    "edges": "/edges/",
    "machines": "/machines/",
    "jobs": "/jobs/",
    "stock": "/stock/",
    "month-ahead": "/month/",
    "life-curves": "/life-curves/",
    "workings": "/workings/",
    "working": "/workings/chamfer-edge/?tool=CH90-16&chamfer_width=1&worn=0.2;1.2;0.9%0A1.4;2.4;0.5"
    "&surface_speed=60&feed_per_tooth=0.05",
}
# A page of the place's own, reached by the first link inside it that leads further down.
ONE_OF = {
    "edge": "/edges/",
    "machine": "/machines/",
    "job": "/jobs/",
    "life-curve": "/life-curves/",
}
ALSO = ("today", "edges", "counter")
WIDE, UPRIGHT = (1280, 800), (800, 1280)
Scheme = Literal["light", "dark"]


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    asked.add_argument("address", help="of the running demo, such as http://127.0.0.1:8000")
    asked.add_argument("--person", default="lead")
    asked.add_argument("--password", default=os.environ.get("EDGETALLY_PASSWORD", ""))
    asked.add_argument("--into", type=Path, default=Path(__file__).resolve().parents[2] / "docs" / "screenshots")
    given = asked.parse_args()
    if not given.password:
        asked.error("say --password, or set EDGETALLY_PASSWORD; the demo prints it")
    given.into.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            missed = take_all(browser, given.address.rstrip("/"), given.person, given.password, given.into)
        finally:
            browser.close()
    for place in missed:
        print(f"not taken: {place}", file=sys.stderr)  # noqa: T201  # what the command says
    return 1 if missed else 0


def take_all(browser: Browser, address: str, person: str, password: str, into: Path) -> list[str]:
    """Takes every picture; answers what could not be taken."""
    missed = []
    page = signed_in(browser, address, person, password, WIDE, "light")
    for name, path in PLACES.items():
        if not take(page, address + path, into / f"{name}.png"):
            missed.append(name)
    for name, path in ONE_OF.items():
        further = first_below(page, address, path)
        if further is None or not take(page, address + further, into / f"{name}.png"):
            missed.append(name)
    for size, scheme, ending in ((WIDE, "dark", "dark"), (UPRIGHT, "light", "tablet")):
        page = signed_in(browser, address, person, password, size, "dark" if scheme == "dark" else "light")
        for name in ALSO:
            if not take(page, address + PLACES[name], into / f"{name}-{ending}.png"):
                missed.append(f"{name} {ending}")
    return missed


def signed_in(
    browser: Browser, address: str, person: str, password: str, size: tuple[int, int], scheme: Scheme
) -> Page:
    page = browser.new_page(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce"
    )
    page.goto(f"{address}/sign-in/")
    page.fill("#id_username", person)
    page.fill("#id_password", password)
    page.press("#id_password", "Enter")
    page.wait_for_load_state("networkidle")
    if "/sign-in" in page.url:
        raise SystemExit(f"{person} was not let in: {page.inner_text('main')}")
    return page


def take(page: Page, url: str, into: Path) -> bool:
    answer = page.goto(url)
    if answer is None or answer.status != 200:
        return False
    page.wait_for_load_state("load")
    page.screenshot(path=str(into))
    return True


def first_below(page: Page, address: str, path: str) -> str | None:
    """The first link in the page proper that leads to a single thing of this place."""
    page.goto(address + path)
    hrefs: list[str] = page.eval_on_selector_all(
        "main :is(table, .doors, .panel-head) a[href]", "links => links.map(link => link.getAttribute('href'))"
    )
    depth = path.count("/") + 1
    return next((href for href in hrefs if href.startswith(path) and href.split("?")[0].count("/") == depth), None)


if __name__ == "__main__":
    raise SystemExit(main())
