"""The printed page, the customer's picture and the card: one sheet, tagged, found by search, the same every time."""

import io
from collections import namedtuple
from dataclasses import replace
from functools import lru_cache

import pytest
from pypdf import PdfReader
from support.pdf_pages import PAPER_PT, elements_of, pictures_of, root_of, texts_of, words_of
from support.report_cases import make_calibration, make_facts
from support.report_shapes import ARABIC, CHINESE, HEBREW, drawn, shapes

from speedcal.report import (
    DriveFacts,
    Paper,
    build_model,
    draw_pictures,
    fonts,
    render_card,
    render_pdf,
    render_picture,
)
from speedcal.report.building import _card
from speedcal.report.model import ToFit
from speedcal.report.pdf import _work
from speedcal.text.pages import report_for_customer as text
from speedcal.vehicle.advised.advice import Advice

SHAPES = sorted(shapes())
HARD = ("200 readings", "disagreeing", "unbroken", "chinese", "note", "before only")
SHEETS: list[tuple[str, Paper]] = [(name, "a4") for name in SHAPES] + [(name, "letter") for name in HARD]
EDGE_PT = 18.0
"""A quarter of an inch, which no printer reaches."""


@lru_cache(maxsize=32)
def pdf(name: str, paper: Paper = "a4") -> bytes:
    """Return the PDF of a shape."""
    return render_pdf(*drawn(name), paper=paper)


@lru_cache(maxsize=32)
def said_on(name: str, paper: Paper = "a4") -> str:
    """Return the words of the page of a shape, without brackets: pypdf mirrors them after words from right to left."""
    return words_of(pdf(name, paper)).translate(str.maketrans("", "", "()"))


def plain(line: str) -> str:
    """Return a line as :func:`said_on` would."""
    return " ".join(line.split()).translate(str.maketrans("", "", "()"))


@pytest.mark.published("ISO 216; ANSI/ASME Y14.1")
@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_every_shape_is_one_page_with_nothing_over_its_edge(name: str, paper: Paper) -> None:
    """Paper of the standard, every line of text inside its margins, no letters that need a lens."""
    (page,) = PdfReader(io.BytesIO(pdf(name, paper))).pages
    width, height = PAPER_PT[paper]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((width, height), abs=0.01)
    for words, x, y, size in texts_of(pdf(name, paper)):
        assert EDGE_PT < x < width - EDGE_PT, words
        assert EDGE_PT < y < height - EDGE_PT, words
        assert size > 5.5, words


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_cautions_and_law_are_never_cut(name: str, paper: Paper) -> None:
    """Whatever else has to give way, what keeps people safe and within the law stands on the page."""
    for line in (*text.CAUTIONS, text.ODOMETER_LAW, text.ODOMETER_LAW_IN_FULL):
        assert plain(line) in said_on(name, paper)


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_what_the_customer_came_for_is_never_cut(name: str, paper: Paper) -> None:
    """The sentence, the verdict and what happens next."""
    model, _ = drawn(name)
    for line in (model.sentence, *model.next_steps, *([model.verdict.sentence] if model.verdict else [])):
        assert plain(line) in said_on(name, paper)


def test_a_range_of_three_figures_stands_on_one_line_of_the_table() -> None:
    """The usual table of a dial in km/h ends at 110; the unit was broken in two there, on either paper."""
    before, after = (make_calibration(f, unit="km/h", low=25.0, high=125.0, gap=False) for f in (1.12, 1.04))
    drives = (DriveFacts("before", before), DriveFacts("after", after))
    model = build_model(make_facts(unit="km/h", before=before, after=after, drives=drives))
    _, pictures = drawn("kilometres")
    ranges = [cell[0] for row in model.rows for cell in (row.before, row.after) if cell is not None]
    assert max(map(len, ranges)) == len("123.4 to 123.4 km/h")
    papers: tuple[Paper, ...] = ("a4", "letter")
    for paper in papers:
        said = words_of(render_pdf(model, pictures, paper=paper))
        assert [shown for shown in ranges if shown not in said] == [], paper


def test_what_matters_can_be_searched_for() -> None:
    """Sentence, verdict, shop, number, cautions and law are text, not pictures."""
    said = words_of(pdf("full"))
    for part in (
        "At a true 60 mph the dial showed",
        "Harbor Lane Garage (invented)",
        "Job J-0417",
        "UN Regulation No. 39",
        "What was done",
        "What is left",
        "passenger",
        "rated stands",
        "49 USC 32703",
        "Error factor",
        "not used",
        "speedcal 0.1.0",
    ):
        assert part in said, part


def test_letters_beyond_latin_come_out_of_the_pdf_as_they_went_in() -> None:
    """Hebrew and Arabic are shaped and searchable; their words are all there, whichever order a reader gives them."""
    for name, typed in (("hebrew", HEBREW), ("arabic", ARABIC)):
        found = words_of(pdf(name))
        assert all(word in found for word in typed.split() if word.isalpha()), name


def test_chinese_is_set_where_the_machine_can_and_said_to_be_missing_where_it_cannot() -> None:
    """No empty boxes: letters, or a note that says how many letters no font has."""
    found = words_of(pdf("chinese"))
    if fonts.printable(CHINESE) == CHINESE:
        assert "速度表" in found
    else:
        assert "letters no font here has" in found


def test_letters_that_no_font_has_are_counted_not_drawn_as_boxes(monkeypatch: pytest.MonkeyPatch) -> None:
    """With only the fonts that come with the program there are no Chinese letters."""
    monkeypatch.setattr(fonts, "_others", lambda: ())
    assert fonts.printable("AB 速度表 7") == "AB [3 letters no font here has] 7"
    assert fonts.printable("速 x") == "[1 letter no font here has] x"
    assert fonts.printable("Überprüfung χ² Łódź ✓ " + HEBREW + ARABIC) == "Überprüfung χ² Łódź ✓ " + HEBREW + ARABIC


def test_a_latin_page_has_the_same_bytes_whatever_fonts_the_machine_has(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other fonts are looked at only for letters that the program's own do not have."""
    known = pdf("full")
    monkeypatch.setattr(fonts, "_others", lambda: pytest.fail("looked at the fonts of the machine"))
    assert render_pdf(*drawn("full")) == known


def test_every_font_is_embedded() -> None:
    """A page without its fonts looks different on every printer; without a map to Unicode letters are lost."""
    named = PdfReader(io.BytesIO(pdf("full"))).pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    assert named
    for name in named:
        font = named[name].get_object()
        assert font["/Subtype"] == "/Type0"
        descendant = font["/DescendantFonts"][0].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(descendant["/FontDescriptor"].get_object())
        assert "/ToUnicode" in font


def test_the_plots_are_vectors() -> None:
    """There is no picture of pixels on the page."""
    assert not PdfReader(io.BytesIO(pdf("full"))).pages[0].images


def test_the_same_job_gives_the_same_bytes_and_no_date() -> None:
    """So that a copy can be proven to be the original."""
    model = build_model(shapes()["full"])
    assert render_pdf(model, draw_pictures(model)) == pdf("full")
    assert b"CreationDate" not in pdf("full")


def test_the_pdf_is_named_and_says_what_it_is_about() -> None:
    """A title is what a reader's window and a screen reader say first."""
    metadata = PdfReader(io.BytesIO(pdf("full"))).metadata
    assert metadata is not None
    assert metadata.title == "Speedometer before and after J-0417"
    assert b"<dc:description>" in pdf("full")


@pytest.mark.published("ISO 14289-1 (PDF/UA-1): identification, title shown, language, structure tree")
@pytest.mark.parametrize("name", ["full", "200 readings", "before only", "arabic", "chinese"])
def test_the_page_can_be_read_aloud(name: str) -> None:
    """It says that it is PDF/UA-1, its language, one main heading, headings in order, words for every picture."""
    data = pdf(name)
    root = root_of(data)
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in data
    kinds = [element["/S"] for element in elements_of(data)]
    assert kinds.count("/H1") == 1
    assert kinds.count("/H2") >= 4
    assert "/L" in kinds
    assert "/TH" in kinds
    model, pictures = drawn(name)
    told = pictures_of(data)
    assert told[0] == model.picture_text
    assert len(told) == 1 + sum(svg is not None for svg in pictures.clocks)


def test_what_does_not_fit_is_cut_and_says_so() -> None:
    """Thirty findings and forty readings left out cannot stand on one page; the page tells where they are."""
    assert text.MORE in words_of(pdf("200 readings"))
    assert text.MORE not in words_of(pdf("full"))


def test_several_drives_show_the_first_and_count_the_others() -> None:
    """Two before and two after: two are drawn, two are counted."""
    assert "2 more drives in report.html" in words_of(pdf("several drives"))


def test_a_weak_drive_is_named_above_the_sentence() -> None:
    """The word comes first in reading order too, and what happens next before what was found."""
    found = words_of(pdf("200 readings"))
    assert found.index("WEAK") < found.index("what happens next") < found.index("At a true")


def test_the_customers_picture_carries_the_sentence_and_the_verdict() -> None:
    """As wide as a phone at 360 dots, no letters under 9 points there, three dots a point."""
    model, pictures = drawn("full")
    data = render_picture(model, pictures, kind="pdf")
    assert data == render_picture(model, pictures, kind="pdf")
    (page,) = PdfReader(io.BytesIO(data)).pages
    assert float(page.mediabox.width) == pytest.approx(360)
    said = words_of(data)
    assert model.verdict
    for part in (model.sentence, model.verdict.word, model.verdict.sentence, model.shop):
        assert part in said
    assert min(size for _, _, _, size in texts_of(data)) >= 9
    assert pictures_of(data) == [model.picture_text]
    png = render_picture(model, pictures, kind="png")
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") == 3 * 360
    assert b"<svg" in render_picture(model, pictures, kind="svg")


@pytest.mark.published("legibility at arm's length: 20 arc minutes at 700 mm are 4.1 mm (ISO 15008, from memory)")
def test_the_correction_card_is_legible_at_arms_length() -> None:
    """Digits of DejaVu Sans are 0.729 em high: at least 4.1 mm, true beside shown, on a card for the dash."""
    advised = namedtuple("advised", "advice best")((Advice("use_correction_card", part="card"),), None)
    before = make_calibration(1.12, offset=0.0, low=28, high=72)
    facts = make_facts(before=before, after=None, drives=(DriveFacts("before", before),))
    assert build_model(facts).card == ()
    model = replace(build_model(facts), card=_card(replace(facts, corrections=advised)))  # type: ignore[arg-type]
    assert [true for true, _ in model.card] == [30, 35, 40, 45, 50, 55, 60, 65, 70]
    data = render_card(model)
    (page,) = PdfReader(io.BytesIO(data)).pages
    assert float(page.mediabox.width) == pytest.approx(85 / 25.4 * 72, abs=0.01)
    figures = [(words.strip(), size) for words, _, _, size in texts_of(data) if words.strip().isdigit()]
    by_hand = [(v, f"{1.12 * v:.0f}") for v in range(30, 75, 5)]
    assert [words for words, _ in figures] == [text for true, shown in by_hand for text in (str(true), shown)]
    assert min(0.729 * size / 72 * 25.4 for _, size in figures) >= 4.1
    assert "dial shows mph" in words_of(data)
    assert render_card(model, kind="png").startswith(b"\x89PNG")


def test_a_choice_without_a_remark_ends_with_its_figure() -> None:
    """'drive gear 7: worst error left 6.0 %;' promised something that did not follow."""
    to_fit = ToFit("What to fit", "", (("driven gear 22", "0.9 %", "advised"), ("drive gear 7", "6.0 %", "")), ())
    lines = [block["text"] for block in _work(replace(build_model(make_facts()), to_fit=to_fit))]
    assert "driven gear 22: worst error left 0.9 %; advised" in lines
    assert "drive gear 7: worst error left 6.0 %" in lines
