"""The page for the browser: one file, nothing fetched, accessible, and no wider than a phone."""

import base64
import re
from collections.abc import Iterator
from functools import lru_cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from support.blank_pictures import leave_blank
from support.browser import open_browsing
from support.report_shapes import HOSTILE, drawn, shapes

from speedcal.report import build_model, draw_pictures, render_html

VOID = {"meta", "img", "source", "br", "link", "input"}


class Outline(HTMLParser):
    """What a screen reader meets, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Check that tags are closed in order."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text that is shown."""
        if data.strip() and self.open[-1:] != ["style"]:
            self.text.append(data.strip())


WIDE = (
    "full",
    "unbroken",
    "arabic",
    "chinese",
    "devanagari",
    "long vehicle",
    "many files",
    "200 readings",
    "several drives",
)
"""Shapes that are looked at in a browser."""
SEEN = (*WIDE, "disagreeing")


@lru_cache(maxsize=32)
def page(name: str) -> str:
    """Return the page of a shape, with blank pictures where nobody looks at it."""
    if name in SEEN:
        return render_html(*drawn(name))
    model = build_model(shapes()[name])
    return render_html(model, leave_blank(model))


def outline(name: str) -> Outline:
    """Return the parsed page; every tag is closed."""
    parser = Outline()
    parser.feed(page(name))
    parser.close()
    assert parser.open == []
    return parser


NAMES = sorted(shapes())


@pytest.mark.parametrize("name", NAMES)
def test_the_page_is_one_file_and_fetches_nothing(name: str) -> None:
    """Every address is data in the file itself; there is no script."""
    for tag, attributes in outline(name).tags:
        assert tag not in ("script", "link", "iframe", "object", "form", "a")
        for key in ("src", "srcset", "href", "data"):
            assert (attributes.get(key) or "data:").startswith("data:")
        assert not any(key.startswith("on") for key in attributes)
    style = re.search(r"<style>(.*?)</style>", page(name), re.S)
    assert style
    assert "url(" not in style[1]
    assert "@import" not in style[1]


@pytest.mark.parametrize("name", NAMES)
def test_a_screen_reader_finds_its_way(name: str) -> None:
    """Language, one main heading, no level left out, a text for each picture, headers for each table."""
    tags = outline(name).tags
    assert dict(tags)["html"] == {"lang": "en"}
    levels = [int(tag[1]) for tag, _ in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    for tag, attributes in tags:
        if tag == "img":
            assert len(attributes["alt"] or "") > 40
        if tag == "th":
            assert attributes["scope"] in ("col", "row", "rowgroup")
    assert sum(tag == "table" for tag, _ in tags) == sum(tag == "caption" for tag, _ in tags)
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {attributes["aria-labelledby"] for _, attributes in tags if "aria-labelledby" in attributes} <= set(ids)


def test_the_reading_order_is_that_of_the_three_readers() -> None:
    """Customer first, then verdict, picture, work, odometer, cautions, and the tech last."""
    text = " ".join(outline("full").text)
    order = [
        "Harbor Lane Garage",
        "what happens next",
        "At a true 60",
        "this drive does not prove it",
        "How far the dial is off",
        "What was done",
        "What is left",
        "Odometer",
        "Cautions",
        "For the tech",
        "Uncertainty budget",
        "Method, version and files",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_the_parts_the_tech_needs_are_all_there() -> None:
    """Readings, rejected ones with reasons, budget, clock shift, digests, decision rule."""
    text = " ".join(" ".join(outline("full").text).split())
    for words in (
        "not used: disagrees with the other",
        "resolution of the readings",
        "Clock shift",
        "ab" * 32,
        "Decision rule",
    ):
        assert words in text


def test_the_vehicle_side_is_there_in_depth() -> None:
    """Gear train, every kind of choice with interval, odometer, family and orientation, what explains it, drives."""
    text = " ".join(" ".join(outline("full").text).split())
    for words in (
        "instrument 1000 turns/mile",
        "turns per mile",
        "Exact tooth count of the driven gear",
        "Both gears: error left at a true speed",
        "turn the housing so that range 21-25 faces down",
        "keep what is fitted",
        "What explains the error",
        "Everything as the job states",
    ):
        assert words in text
    assert "Drives before the work in order of time" not in text
    assert "Drives before the work in order of time" in " ".join(outline("several drives").text)


def test_a_report_without_a_part_has_no_empty_heading_for_it() -> None:
    """A missing part is left out, and said to be missing once."""
    text = " ".join(outline("before only").text)
    assert "What was done" not in text
    assert "What is left" not in text
    assert "There is no drive after the work yet" in text
    assert "What to fit or set" in text
    assert "Shown before" not in text
    assert "Corrections in depth" not in " ".join(outline("after only").text)
    assert "no drive before the work" in " ".join(outline("after only").text)


def test_hostile_names_are_shown_as_text() -> None:
    """Tags, template braces and mathematics in a name stay what was typed; overrides of direction are dropped."""
    parsed = outline("hostile")
    shown = HOSTILE.replace("\u202e", "")
    assert parsed.text.count(shown) >= 3
    assert "<script>" not in page("hostile")
    assert "\u202e" not in page("hostile")
    assert "49</dd>" not in page("hostile")


def test_foreign_names_take_their_own_direction() -> None:
    """A Hebrew name reads from the right inside an English page."""
    places = [a for tag, a in outline("hebrew").tags if a.get("dir") == "auto"]
    assert len(places) >= 4


def test_no_position_is_in_the_page() -> None:
    """A track ends at somebody's home: no map, no latitude, no longitude."""
    text = " ".join(outline("full").text).lower()
    assert "latitude" not in text
    assert "longitude" not in text
    assert "coordinates" not in text


def test_the_same_job_gives_the_same_page() -> None:
    """No dates, no random names in the pictures."""
    model = build_model(shapes()["full"])
    assert render_html(model, draw_pictures(model)) == page("full")


def test_the_pictures_are_drawn_for_the_screen_they_are_seen_on() -> None:
    """A phone gets a narrow comparison and narrow clock matches, with letters of their own size; all are vectors."""
    sources = [a for tag, a in outline("full").tags if tag == "source"]
    pictures = [a for tag, a in outline("full").tags if tag == "img"]
    assert len(sources) == len(pictures)
    assert len(pictures) == 3
    for attributes in [*sources, *pictures]:
        data = attributes.get("srcset") or attributes.get("src") or ""
        assert base64.b64decode(data.partition(",")[2]).startswith(b"<?xml")


def test_held_speeds_have_no_clock_picture() -> None:
    """Readings without times have no clocks to match, and the page says how they were assigned."""
    assert sum(tag == "img" for tag, _ in outline("held").tags) == 2
    assert "carry no times" in " ".join(outline("held").text)


@pytest.fixture(scope="module")
def tab() -> Iterator[Any]:
    """Return a page of a browser, or skip where there is none; in CI its absence is a failure."""
    with open_browsing() as opened:
        yield opened.page({"width": 1280, "height": 740})


MEASURE = """() => {
  const wide = [...document.querySelectorAll('body *')].filter(e => !e.closest('.scroll') &&
    e.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5);
  const clipped = [...document.querySelectorAll('.scroll')].filter(e => e.getBoundingClientRect().width < 100);
  return {page: document.documentElement.scrollWidth, view: window.innerWidth,
    wide: wide.map(e => e.outerHTML.slice(0, 90)),
    scrolled: [...document.querySelectorAll('.shown')].filter(e => e.scrollWidth > e.parentElement.clientWidth).length,
    clipped: clipped.length, pictures: [...document.images].every(i => i.complete && i.naturalWidth > 0),
    small: [...document.querySelectorAll('p, li, td, th, dd, dt, figcaption, caption, code')]
      .filter(e => parseFloat(getComputedStyle(e).fontSize) < 12).length};
}"""


WIDTHS = [(name, 360) for name in WIDE] + [(name, w) for name in ("full", "unbroken") for w in (320, 768, 1280)]


@pytest.mark.parametrize(("name", "width"), WIDTHS)
def test_nothing_is_wider_than_the_screen(tab: Any, tmp_path: Path, name: str, width: int) -> None:
    """Phone to desktop: no sideways scrolling of the page, every picture drawn, no letters under 12 px."""
    file = tmp_path / "report.html"
    file.write_text(page(name), encoding="utf-8")
    tab.set_viewport_size({"width": width, "height": 740})
    fetched: list[str] = []

    def note(request: Any) -> None:
        fetched.append(request.url)

    tab.on("request", note)
    tab.goto(file.as_uri())
    tab.evaluate("() => document.querySelectorAll('details').forEach(part => { part.open = true })")
    seen = tab.evaluate(MEASURE)
    tab.remove_listener("request", note)
    assert file.as_uri() in fetched
    assert seen["page"] <= seen["view"]
    assert seen["wide"] == []
    assert seen["scrolled"] == 0  # what the customer came for
    assert seen["clipped"] == 0
    assert seen["small"] == 0
    assert seen["pictures"]
    assert [url for url in fetched if not url.startswith(("data:", "file:"))] == []


def test_the_narrow_picture_is_the_one_a_phone_shows(tab: Any, tmp_path: Path) -> None:
    """The narrow drawing is nearly square, the wide one is not."""
    file = tmp_path / "report.html"
    file.write_text(page("full"), encoding="utf-8")
    shape = {}
    for width in (360, 1280):
        tab.set_viewport_size({"width": width, "height": 740})
        tab.goto(file.as_uri())
        shape[width] = tab.evaluate("() => document.images[0].naturalWidth / document.images[0].naturalHeight")
    assert shape[360] < 1.1 < 1.5 < shape[1280]


def test_the_page_prints_without_losing_its_right_side(tab: Any, tmp_path: Path) -> None:
    """Printed from the browser, the last column of every table is on the paper."""
    import io

    from pypdf import PdfReader

    file = tmp_path / "report.html"
    file.write_text(page("full"), encoding="utf-8")
    tab.goto(file.as_uri())
    tab.evaluate("() => document.querySelectorAll('details').forEach(part => { part.open = true })")
    printed = PdfReader(io.BytesIO(tab.pdf(format="Letter")))
    text = " ".join(sheet.extract_text() for sheet in printed.pages)
    assert "disagrees with the other readings" in " ".join(text.split())
    assert "Share" in text


def test_the_customers_part_prints_on_two_pages_and_the_rest_on_request(tab: Any, tmp_path: Path) -> None:
    """What is folded stays off the paper."""
    import io

    from pypdf import PdfReader

    for name in ("full", "several drives", "disagreeing"):
        file = tmp_path / "report.html"
        file.write_text(page(name), encoding="utf-8")
        tab.goto(file.as_uri())
        for paper in ("Letter", "A4") if name == "full" else ("Letter",):  # the shorter sheet
            printed = PdfReader(io.BytesIO(tab.pdf(format=paper)))
            assert len(printed.pages) <= 2
            text = " ".join(sheet.extract_text() for sheet in printed.pages)
            assert "For the tech" not in text
            assert "rated stands" in text


def customers_words(name: str) -> int:
    """Return how many words stand on the page while everything that can be folded is."""
    shown = re.sub(r"<details>.*?</details>", "", page(name), flags=re.S)
    shown = re.sub(r"<style>.*?</style>|<title>.*?</title>", "", shown, flags=re.S)
    return len(re.sub(r"<[^>]+>", " ", shown).split())


@pytest.mark.parametrize("name", ["full", "before only", "after only", "disagreeing", "several drives", "held"])
def test_the_customer_reads_less_than_five_hundred_words(name: str) -> None:
    """The rest is folded."""
    assert 200 < customers_words(name) < 500


@pytest.mark.parametrize("name", ["full", "before only", "after only", "kilometres"])
def test_the_customer_is_not_told_what_anybody_remembers(name: str) -> None:
    """It is said to be not verified, and each figure stands once, in the unit of the vehicle."""
    shown = re.sub(r"<details>.*?</details>", "", page(name), flags=re.S)
    assert "memory" not in page(name).lower()
    words = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>|Rule: .*?</p>", "", shown, flags=re.S))
    assert ("mph" if name == "kilometres" else "km/h") not in words
