"""What a PDF says of itself and what stands on its only page, read by an independent library."""

from __future__ import annotations

import io
import re
from functools import lru_cache
from typing import Any

from pypdf import PdfReader

PAPER_PT = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}
"""Width and height by the standards; a point is 1/72 in."""

_LINES = re.compile(rb"(?:-?[\d.]+\s+){2,6}[mlcvy](?=\s)")
"""Lines and curves of the plots, three quarters of a page: they hold no text, and take longest to read."""
_DRAWN = re.compile(rb"^q [^()\n]*\n[hfBS\s]*^Q\n", re.MULTILINE)
"""What is left of a drawing without its lines: colors and strokes, and no text between."""


def root_of(data: bytes) -> dict[str, Any]:
    """Return the catalog."""
    return PdfReader(io.BytesIO(data), strict=True).trailer["/Root"]  # type: ignore[return-value]


def words_of(data: bytes) -> str:
    """Return the text of the only page with single spaces, as a reader finds it."""
    return " ".join(_read(data)[0].replace("\u200b", "").split())


def texts_of(data: bytes) -> list[tuple[str, float, float, float]]:
    """Return the pieces of text of the only page: words, left edge, base line from below, size. [pt]."""
    return _read(data)[1]


@lru_cache(maxsize=64)
def _read(data: bytes) -> tuple[str, list[tuple[str, float, float, float]]]:
    (page,) = PdfReader(io.BytesIO(data)).pages
    content = page["/Contents"].get_object()
    content.set_data(_DRAWN.sub(b"", _LINES.sub(b"", content.get_data())))  # type: ignore[union-attr]
    found: list[tuple[str, float, float, float]] = []

    def note(text: str, user: Any, matrix: Any, _font: Any, size: float) -> None:
        if text.strip():
            x = user[0] * matrix[4] + user[2] * matrix[5] + user[4]
            y = user[1] * matrix[4] + user[3] * matrix[5] + user[5]
            found.append((text, x, y, abs(size * matrix[3] * user[3])))

    return page.extract_text(visitor_text=note), found


def elements_of(data: bytes) -> list[dict[str, Any]]:
    """Return the elements of the structure tree in the order in which they are read aloud."""
    found: list[dict[str, Any]] = []

    def walk(node: Any) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for kid in node:
                walk(kid)
        elif isinstance(node, dict):
            if "/S" in node:
                found.append(node)
            if "/K" in node:
                walk(node["/K"])

    walk(root_of(data)["/StructTreeRoot"])
    return found


def pictures_of(data: bytes) -> list[str]:
    """Return what the pictures are said to show."""
    return [" ".join(str(element["/Alt"]).split()) for element in elements_of(data) if element["/S"] == "/Figure"]
