"""XML documents as element trees, with everything refused that a recording never holds."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree

from speedcal.logs import limits
from speedcal.logs.source import Source
from speedcal.logs.writing.patterns import late_pattern

_ROOT = late_pattern(r"<(?![?!])(?:[\w.-]+:)?([\w.-]+)")


_PIECE = 65_536
"""Characters given to the parser first; then as many as it has had so far, for it looks anew at all of a comment or
tag that has not ended yet."""


class _RefusedError(Exception):
    """The document holds something that no recording holds."""

    def __init__(self, code: str, most: int) -> None:
        super().__init__(code)
        self.code, self.most = code, most


class _Builder(ElementTree.TreeBuilder):
    """A tree builder that counts elements and their depth and refuses document type declarations."""

    def __init__(self) -> None:
        super().__init__()
        self.depth = self.elements = 0

    def start(self, tag: Any, attrs: dict[Any, Any], /) -> ElementTree.Element:
        self.depth += 1
        self.elements += 1
        if self.depth > limits.MAX_XML_DEPTH:
            raise _RefusedError("xml_too_deep", limits.MAX_XML_DEPTH)
        if self.elements > limits.MAX_TREE_ELEMENTS:
            raise _RefusedError("xml_too_large", limits.MAX_TREE_ELEMENTS)
        return super().start(tag, attrs)

    def end(self, tag: Any, /) -> ElementTree.Element:
        self.depth -= 1
        return super().end(tag)

    def doctype(self, name: str, pubid: str | None, system: str | None) -> None:
        raise _RefusedError("doctype", 0)


def root_name(source: Source) -> str:
    """Return the local name of the outermost element of an XML document, empty if the file is none."""
    head = source.data[:_PIECE]
    encoding = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}.get(head[:2], "utf-8")
    text = head.decode(encoding, errors="replace").lstrip("\ufeff \t\r\n")
    if not text.startswith("<"):
        return ""
    found = _ROOT.search(without_comments(text))
    return found.group(1) if found else ""


def without_comments(text: str) -> str:
    """Return a document without its comments, their line ends kept."""
    first, *others = text.split("<!--")
    parts = [first]
    for other in others:
        comment, _, after = other.partition("-->")
        parts += ["\n" * comment.count("\n"), after]
    return "".join(parts)


def refuse_doctype(source: Source, data: bytes) -> None:
    """Refuse a document type declaration; before the outermost element there are else comments and instructions."""
    at = 0
    while data[at : at + 2] in {b"<!", b"<?"}:
        if data[at : at + 9] == b"<!DOCTYPE":
            source.fail("doctype")
        mark = b"?>" if data[at + 1 : at + 2] == b"?" else b"-->"
        end = data.find(mark, at + 2)
        if end < 0:
            return  # the parser says what is wrong
        at = end + len(mark)
        while data[at : at + 1].isspace():
            at += 1


def parse(source: Source) -> ElementTree.Element:
    """Return the root of the document.

    Entities, external or internal, need a document type declaration, and that is refused.
    """
    parser = ElementTree.XMLParser(target=_Builder())  # noqa: S314 - the builder refuses declarations
    try:
        body = re.sub(r"^\s*<\?xml[^>]*\?>", "", source.text(), count=1)
        start = 0
        while start < len(body):  # a refusal stops the parser at the end of a piece only
            end = max(2 * start, _PIECE)
            parser.feed(body[start:end])
            start = end
        return parser.close()
    except _RefusedError as refused:
        source.fail(refused.code, most=refused.most)
    except (ElementTree.ParseError, ValueError) as error:
        line = getattr(error, "position", (None, 0))[0]
        source.fail("damaged_xml", line=line, reason=str(error).split(":")[0])


@lru_cache(maxsize=256)
def local(tag: Any) -> str:
    """Return the name of an element without its namespace."""
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def number_in(text: str | bytes | None) -> float:
    """Return the number in the text of an element, NaN when it is none or not finite."""
    try:
        value = float(text or "nan")
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan
