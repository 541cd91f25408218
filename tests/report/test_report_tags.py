"""The printed page read aloud: language, headings, pictures with words, and the order of reading."""

from __future__ import annotations

import io
import re

import pytest
from pypdf import PdfReader
from support.report_shapes import shapes

from speedcal.report import Paper, ReportModel, build_model, render_pdf
from speedcal.report.tags import Tags, with_structure


@pytest.fixture(scope="module", params=["full", "200 readings", "before only", "arabic"])
def page(request: pytest.FixtureRequest) -> tuple[ReportModel, PdfReader]:
    """Return a model and its page."""
    model = build_model(shapes()[request.param])
    return model, PdfReader(io.BytesIO(render_pdf(model)), strict=True)


def _elements(reader: PdfReader) -> list[dict]:
    tree = reader.trailer["/Root"]["/StructTreeRoot"]
    document = tree["/K"].get_object()
    assert document["/S"] == "/Document"
    return [kid.get_object() for kid in document["/K"]]


def test_the_page_says_its_language_and_that_it_is_tagged(page: tuple[ReportModel, PdfReader]) -> None:
    """ISO 32000-1:2008, 14.7.1, 14.9.2 and 12.2: MarkInfo, Lang, and the title shown in place of the file name."""
    root = page[1].trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert page[1].pages[0]["/StructParents"] == 0


def test_one_title_then_headings_and_every_picture_has_words(page: tuple[ReportModel, PdfReader]) -> None:
    """A screen reader finds its way by headings, and hears what the plots show."""
    model, reader = page
    elements = _elements(reader)
    kinds = [element["/S"] for element in elements]
    assert kinds.count("/H1") == 1
    assert kinds.count("/H2") >= 4
    pictures = [element["/Alt"] for element in elements if element["/S"] == "/Figure"]
    assert pictures[0] == model.picture_text
    assert all(len(words) > 20 for words in pictures)


def test_every_mark_in_the_page_has_its_element_and_they_come_in_order(page: tuple[ReportModel, PdfReader]) -> None:
    """ISO 32000-1:2008, 14.7.4: marked content, structure elements and the parent tree name one another."""
    reader = page[1]
    elements = _elements(reader)
    content = reader.pages[0].get_contents().get_data()
    marks = [int(number) for number in re.findall(rb"<</MCID (\d+)>> BDC", content)]
    assert marks == list(range(len(elements)))
    assert [element["/K"] for element in elements] == marks
    assert len(re.findall(rb"\b(?:BDC|BMC)\b", content)) == len(re.findall(rb"\bEMC\b", content))
    parents = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    assert [kid.get_object() for kid in parents[1]] == elements


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_text_lies_outside_the_marks(page: tuple[ReportModel, PdfReader], paper: Paper) -> None:
    """What is written is either read in its place or marked as decoration."""
    reader = PdfReader(io.BytesIO(render_pdf(page[0], paper=paper)))
    content = reader.pages[0].get_contents().get_data()
    depth = 0
    for word in re.findall(rb"\b(BDC|BMC|EMC|BT)\b", content):
        depth += {b"BDC": 1, b"BMC": 1, b"EMC": -1}.get(word, 0)
        assert word != b"BT" or depth == 1


def test_a_file_of_another_kind_is_refused() -> None:
    """A caller's mistake is told, not written into a file."""
    with pytest.raises(ValueError, match="Catalog"):
        with_structure(b"%PDF-1.4\n", Tags())
