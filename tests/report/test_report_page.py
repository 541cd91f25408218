"""The printed page: one sheet, nothing over the edge or over each other, fonts in the file, text that can be found."""

import io
from functools import lru_cache

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from pypdf import PdfReader
from support.report_shapes import ARABIC, CHINESE, HEBREW, shapes

from speedcal.report import Paper, ReportModel, build_model, render_pdf, style, words
from speedcal.report.page import _foreign_texts, draw_page
from speedcal.report.sheet import PAPER_PT

SHAPES = sorted(shapes())


@lru_cache(maxsize=1)
def models() -> dict[str, ReportModel]:
    """Return the models of all shapes."""
    return {name: build_model(facts) for name, facts in shapes().items()}


@lru_cache(maxsize=8)
def pdf(name: str, paper: Paper = "a4") -> bytes:
    """Return the PDF of a shape."""
    return render_pdf(models()[name], paper=paper)


def found_text(data: bytes) -> str:
    """Return the text of the only page, with single spaces."""
    return " ".join(PdfReader(io.BytesIO(data)).pages[0].extract_text().split())


def boxes_of(figure: Figure) -> tuple[list[Bbox], list[Bbox], float, float]:
    """Return the boxes of texts and of plots, measured four times finer than points, and the size of the page."""
    figure.set_dpi(288)
    canvas = FigureCanvasAgg(figure)
    renderer = canvas.get_renderer()
    texts = [text.get_window_extent(renderer) for text in figure.texts if text.get_text().strip()]
    plots = [box for ax in figure.axes if (box := ax.get_tightbbox(renderer)) is not None]
    return texts, plots, *canvas.get_width_height()


def overlap(a: Bbox, b: Bbox) -> float:
    """Return how far two boxes reach into each other. [points]."""
    width = min(a.x1, b.x1) - max(a.x0, b.x0)
    height = min(a.y1, b.y1) - max(a.y0, b.y0)
    return max(0.0, min(width, height)) / 4


HARD = ("200 readings", "disagreeing", "unbroken", "chinese", "note", "before only")
SHEETS: list[tuple[str, Paper]] = [(name, "a4") for name in SHAPES] + [(name, "letter") for name in HARD]


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_nothing_leaves_the_paper_or_covers_anything(name: str, paper: Paper) -> None:
    """Every text and plot lies on the sheet, a quarter of an inch from its edge, and no two of them touch."""
    model = models()[name]
    with style.drawing(*_foreign_texts(model)):
        texts, plots, width, height = boxes_of(draw_page(model, paper=paper).figure)
    edge = 72.0
    for box in texts + plots:
        assert box.x0 >= edge, box
        assert box.y0 >= edge, box
        assert box.x1 <= width - edge, box
        assert box.y1 <= height - edge, box
    things = texts + plots
    worst = max((overlap(a, b), i, j) for i, a in enumerate(things) for j, b in enumerate(things) if i < j)
    assert worst[0] < 0.6, worst


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_cautions_and_law_are_never_cut(name: str, paper: Paper) -> None:
    """Whatever else has to give way, what keeps people safe and honest stands on the page."""
    model = models()[name]
    with style.drawing(*_foreign_texts(model)):
        written = " ".join(text.get_text() for text in draw_page(model, paper=paper).figure.texts)
    for line in (*words.CAUTIONS, *words.ODOMETER_LAW):
        assert line in written.replace(" – ", " ")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_report_is_one_page_of_the_paper_asked_for(paper: Paper) -> None:
    """Width and height are those of the standard, in points."""
    pages = PdfReader(io.BytesIO(pdf("full", paper))).pages
    assert len(pages) == 1
    box = pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(PAPER_PT[paper], abs=0.01)


@pytest.mark.published("ISO 216; ANSI/ASME Y14.1")
def test_paper_sizes_are_those_of_the_standards() -> None:
    """A4 is 210 x 297 mm, Letter 8.5 x 11 in; a point is 1/72 in."""
    assert PAPER_PT["a4"] == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.01)
    assert PAPER_PT["letter"] == (8.5 * 72, 11 * 72)


def test_what_matters_can_be_searched_for() -> None:
    """Sentence, verdict, shop, number, cautions and law are text, not pictures."""
    text = found_text(pdf("full"))
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
        assert part in text, part


def test_letters_beyond_latin_come_out_of_the_pdf_as_they_went_in() -> None:
    """Hebrew and Arabic are shaped and searchable; their words are all there, whichever order a reader gives them."""
    for name, text in (("hebrew", HEBREW), ("arabic", ARABIC)):
        found = found_text(pdf(name))
        assert all(word in found for word in text.split() if word.isalpha()), name


def test_chinese_is_drawn_where_the_machine_can_and_said_to_be_missing_where_it_cannot() -> None:
    """No empty boxes: letters, or a note that says how many letters no font has."""
    found = found_text(pdf("chinese"))
    if style.printable(CHINESE) == CHINESE:
        assert "速度表" in found
    else:
        assert "letters no font here has" in found


def test_letters_that_no_font_has_are_counted_not_drawn_as_boxes(monkeypatch: pytest.MonkeyPatch) -> None:
    """With only the font that ships with matplotlib there are no Chinese letters."""
    monkeypatch.setattr(style, "_other_fonts", lambda: ())
    assert style.printable("AB 速度表 7") == "AB [3 letters no font here has] 7"
    assert style.printable("速 x") == "[1 letter no font here has] x"
    assert style.printable("Überprüfung χ² Łódź ✓ " + HEBREW + ARABIC) == "Überprüfung χ² Łódź ✓ " + HEBREW + ARABIC


def test_every_font_is_embedded() -> None:
    """A page without its fonts looks different on every printer; Type 3 fonts would lose letters when copied."""
    resources = PdfReader(io.BytesIO(pdf("full"))).pages[0]["/Resources"]
    fonts = resources["/Font"]  # type: ignore[index]
    assert fonts
    for name in fonts:
        font = fonts[name].get_object()
        assert font["/Subtype"] == "/Type0"
        descendant = font["/DescendantFonts"][0].get_object()
        assert "/FontFile2" in descendant["/FontDescriptor"].get_object()
        assert "/ToUnicode" in font


def test_the_plots_are_vectors() -> None:
    """There is no picture of pixels on the page."""
    reader = PdfReader(io.BytesIO(pdf("full")))
    assert not reader.pages[0].images


def test_the_same_job_gives_the_same_bytes_and_no_date() -> None:
    """So that a copy can be proven to be the original."""
    again = render_pdf(build_model(shapes()["full"]))
    assert again == pdf("full")
    assert b"CreationDate" not in again


def test_the_pdf_is_named_and_says_what_it_is_about() -> None:
    """A title is what a reader's window and a screen reader say first."""
    metadata = PdfReader(io.BytesIO(pdf("full"))).metadata
    assert metadata is not None
    assert metadata.title == "Speedometer before and after J-0417"
    assert (metadata.subject or "").startswith("At a true 60 mph")


def test_what_does_not_fit_is_cut_and_says_so() -> None:
    """Thirty findings and forty rejected readings cannot stand on one page; the page tells where they are."""
    assert "more in report.html" in found_text(pdf("200 readings"))
    assert "more in report.html" not in found_text(pdf("full"))


def test_several_drives_show_the_first_and_count_the_others() -> None:
    """Three before and three after: two are drawn, four are named."""
    assert "4 more drives in report.html" in found_text(pdf("several drives"))


def test_a_weak_drive_is_named_above_the_sentence() -> None:
    """The word comes first in reading order too."""
    found = found_text(pdf("200 readings"))
    assert found.index("WEAK") < found.index("At a true")
