"""Notes kept in a word processor, a mail or a page without a table, as text: .docx, .odt, .rtf, .eml, HTML."""

from __future__ import annotations

import email.policy
import html
import io
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from email.parser import BytesParser
from xml.etree import ElementTree

from speedcal.errors import SpeedcalError
from speedcal.logs.drive.readings import Readings
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.text_logs import read_text
from speedcal.logs.formats.xmltree import local, parse, without_comments
from speedcal.logs.source import OFFICE_TEXT, Source, check_archive, holds_office_text, read_member
from speedcal.logs.writing.patterns import late_pattern

_OPEN_TEXT = b"mimetypeapplication/vnd.oasis.opendocument.text"
_ROWS, _CELLS = frozenset({"tr", "table-row"}), frozenset({"tc", "table-cell"})
_PARAGRAPHS = frozenset({"p", "h"})
_UNSHOWN = frozenset({"del", "instrText", "delText", "annotation", "tracked-changes", "note-citation"})
_BREAKS = {"tab": "\t", "br": "\n", "cr": "\n", "line-break": "\n", "s": " ", "noBreakHyphen": "-"}
_RTF = (
    r"\\'(?P<byte>[0-9a-fA-F]{2})|\\u(?P<code>-?\d{1,6}) ?%s|\\(?P<word>[a-z]{1,32})(?:-?\d{1,10})? ?"
    r"|\\(?P<sign>[^a-z])|(?P<brace>[{}])|[\r\n]|(?P<text>[^\\{}\r\n]+)"
)
_RTF_STANDS_IN = r"(?:\\'[0-9a-fA-F]{2}|[^\\{}\r\n])?"
"""What older programs show in place of a character given by its number."""
_RTF_SHOWN = {
    **{"par": "\n", "line": "\n", "row": "\n", "tab": "\t", "cell": "\t", "~": " ", "_": "-", "\n": "\n", "\r": "\n"},
    **{"emdash": "–", "endash": "–", "bullet": "•", "{": "{", "}": "}", "\\": "\\"},
}
_RTF_UNSHOWN = frozenset({"fonttbl", "colortbl", "stylesheet", "info", "pict", "header", "footer", "listtable", "*"})
_HTML_TAG = late_pattern(r"<[!?]?(/?)([a-zA-Z][a-zA-Z0-9]{0,15})[^<>]{0,2000}>")
_HTML_UNSHOWN = frozenset({"script", "style", "head"})
_HTML_BREAK = frozenset({"br", "p", "div", "li", "h1", "h2", "h3", "h4", "h5", "h6", "blockquote"})
_HTML_CELLS = ("td", "th")
_HTML_BETWEEN = {**dict.fromkeys((*_HTML_BREAK, "tr"), "\n"), **dict.fromkeys(_HTML_CELLS, "\t")}
"""In a mail; the tables of a page are read as such."""
_MAIL = re.compile(rb"(?:[A-Za-z][A-Za-z-]{1,40}:[^\n]{0,2000}\n(?:[ \t][^\n]{0,2000}\n){0,50}){2,100}\r?\n")
_MAIL_CODED = re.compile(rb"^(?:content-type|mime-version):", re.IGNORECASE | re.MULTILINE)
_MOST_PARTS = 200
"""Headings of parts in a mail; parts within parts without end cost the square of their number."""
_NUMBERED = late_pattern(r"^.*\d.*$", re.MULTILINE)
_TIME = r"\d{1,2}[:hH.]\d\d(?!\d)"
_TIMED = late_pattern(rf"^.{{0,40}}{_TIME}.{{0,80}}\d.{{0,80}}$|^.{{0,80}}\d.{{0,80}}{_TIME}", re.MULTILINE)
_FEWEST_LINES, _HEAD = 4, 65_536
"""Lines with figures below which a document is no notes; a page that asks to sign in has figures too, but no times."""


def _of_office(source: Source) -> str:
    return _of_xml(source, OFFICE_TEXT)


def _of_open_document(source: Source) -> str:
    return _of_xml(source, "content.xml")


def _of_xml(source: Source, member: str) -> str:
    check_archive(source)
    with source.foreign("zip"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        data = read_member(source, archive, member)
    return "\n".join(_lines(parse(replace(source, data=data))))


def _lines(element: ElementTree.Element) -> Iterator[str]:
    """Yield the paragraphs in an element; a row of a table is a line, with tabs between its cells."""
    for part in element:
        name = local(part.tag)
        if name in _ROWS:
            yield "\t".join(" ".join(_lines(cell)) for cell in part if local(cell.tag) in _CELLS)
        elif name in _PARAGRAPHS:
            yield from _run(part).split("\n")
        elif name not in _UNSHOWN:
            yield from _lines(part)


def _run(element: ElementTree.Element) -> str:
    pieces = [element.text or ""]
    for part in element:
        name = local(part.tag)
        pieces += ["" if name in _UNSHOWN else _BREAKS.get(name) or _run(part), part.tail or ""]
    return "".join(pieces)


def _of_rtf(source: Source) -> str:
    """Return the text of a rich text file without its tables of fonts, colors and styles."""
    text = source.data.decode("latin-1")
    pieces: list[str] = []
    unshown = [False]
    for found in re.finditer(_RTF % ("" if r"\uc0" in text else _RTF_STANDS_IN), text):
        sign = found["word"] or found["sign"] or ""
        if found["brace"] == "{":
            unshown.append(unshown[-1])
        elif found["brace"]:
            unshown = unshown[:-1] or [False]
        elif sign in _RTF_UNSHOWN:
            unshown[-1] = True
        elif not unshown[-1]:
            byte = bytes.fromhex(found["byte"] or "").decode("cp1252", "replace")
            letter = chr(int(found["code"]) % 65_536) if found["code"] else ""
            pieces += [byte, letter, _RTF_SHOWN.get(sign, ""), found["text"] or ""]
    return "\n".join(line.rstrip("\t") for line in "".join(pieces).split("\n"))


def _of_mail(source: Source) -> str:
    """Return the subject and the text of a mail."""
    mail = BytesParser(policy=email.policy.default).parsebytes(source.data)
    body = mail.get_body(("plain", "html"))
    text = str(body.get_content()) if body is not None else ""
    if body is not None and body.get_content_subtype() == "html":
        text = _shown(text, _HTML_BETWEEN)
    return f"{mail['subject'] or ''}\n{text}"


def _attached(source: Source) -> list[str]:
    mail = BytesParser(policy=email.policy.default).parsebytes(source.data)
    return [part.get_filename() or "" for part in mail.iter_attachments()]


def _of_page(source: Source) -> str:
    return _shown(source.text(), dict.fromkeys(_HTML_BREAK, "\n"))


def _shown(page: str, between: Mapping[str, str]) -> str:
    """Return what a page shows; its own line ends are blanks, but for text that is laid out already.

    Parameters
    ----------
    between
        What stands where an element begins that parts one thing from another, by its tag.
    """
    text = without_comments(page)
    pieces: list[str] = []
    unshown, at, laid_out = "", 0, False
    for found in _HTML_TAG.finditer(text):
        tag = found[2].lower()
        if not unshown:
            shown = text[at : found.start()]
            pieces += [
                shown if laid_out else " ".join(shown.split()),
                " " if found[1] and tag in _HTML_CELLS else between.get(tag, " "),
            ]
        laid_out = not found[1] if tag == "pre" else laid_out
        if tag in _HTML_UNSHOWN:
            unshown = "" if found[1] else unshown or tag
        at = found.end()
    lines = "".join(pieces).split("\n")
    return html.unescape("\n".join(line.strip(" ").removeprefix("\t") for line in lines))


def _opened(source: Source) -> Callable[[Source], str] | None:
    """Return what opens a document of this kind."""
    head = source.data[:_HEAD]
    if head.startswith(b"{\\rtf"):
        return _of_rtf
    if head[:100].find(_OPEN_TEXT) >= 0:
        return _of_open_document
    if holds_office_text(source):
        return _of_office
    if head.lstrip()[:14].lower().startswith((b"<html", b"<!doctype html")):
        return _of_page
    mail = _MAIL.match(head)
    if mail is None or not _MAIL_CODED.search(mail[0]):
        return None
    return _of_mail if sum(1 for _ in _MAIL_CODED.finditer(source.data)) <= _MOST_PARTS else None


def as_text(source: Source) -> Source | None:
    """Return the notes of a document as a text file; None where there are none, or where the file is none."""
    opened = _opened(source)
    if opened is None:
        return None
    with source.foreign("document"):
        text = opened(source)
    noted = _TIMED if opened is _of_page else _NUMBERED
    if sum(1 for _ in noted.finditer(text)) < _FEWEST_LINES:
        if opened is _of_mail and (names := _attached(source)):
            source.fail("log_attached", names=names)
        return None
    return replace(source, data=text.encode("utf-8", "replace"))


def _is_document(source: Source) -> bool:
    try:
        return as_text(source) is not None
    except SpeedcalError as error:
        return error.code == "log_attached"


def _read_readings(source: Source, request: Request) -> Readings:
    return read_text(as_text(source) or source, request)


FORMAT = LogFormat("document", _is_document, readings=_read_readings)
