"""Tags that tell a screen reader the reading order, the headings and the pictures of a PDF page.

Marked content and structure tree as ISO 32000-1:2008, 14.6 to 14.8, has them. matplotlib writes neither, so artists
that draw nothing put the marks into the page, and the tree is appended to the finished file as an incremental update
(7.5.6).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure

_STEP = 0.001
_FIRST_LEVEL = 10.0
"""Drawing order of the first piece of content; rules and frames lie below it."""


@dataclass(slots=True)
class Tags:
    """The pieces of content of one page, in the order in which they are read."""

    pieces: list[tuple[str, str]] = field(default_factory=list)
    """Structure type (``H1``, ``P``, ``Figure``) and, for a picture, what it shows."""
    marks: int = 0

    def enclose(self, figure: Figure, artist: Artist, tag: str, *, shows: str = "") -> None:
        """Draw an artist next, between the marks of a tag; without a tag it is decoration that is not read."""
        if tag:
            begin = f"/{tag} <</MCID {len(self.pieces)}>> BDC"
            self.pieces.append((tag, shows))
        else:
            begin = "/Artifact BMC"
        level = _FIRST_LEVEL + 3 * _STEP * self.marks
        self.marks += 1
        artist.set_zorder(level + _STEP)
        for operator, order in ((begin, level), ("EMC", level + 2 * _STEP)):
            figure.add_artist(_mark(operator, order))


def _mark(operator: str, order: float) -> Artist:
    """Return an artist that writes one operator into a PDF page, and nothing anywhere else."""
    from matplotlib.artist import Artist
    from matplotlib.backends.backend_pdf import RendererPdf

    class Mark(Artist):
        def draw(self, renderer: Any) -> None:
            inner = getattr(renderer, "_renderer", renderer)
            if isinstance(inner, RendererPdf):
                inner.file.write(operator.encode() + b"\n")

    made = Mark()
    made.set_zorder(order)
    return made


def with_structure(pdf: bytes, tags: Tags, *, language: str = "en") -> bytes:
    """Return a one-page PDF with its structure tree appended.

    Raises
    ------
    ValueError
        The file is not one that matplotlib wrote: no catalog, page or trailer where it writes them.
    """
    catalog = _only(rb"(\d+) 0 obj\n<< /Type /Catalog (.*?) >>\nendobj", pdf)
    page = _only(rb"(\d+) 0 obj\n<< /Type /Page (.*?) >>\nendobj", pdf)
    trailer = _only(rb"trailer\n<< /Size (\d+) (.*?) >>\nstartxref\n(\d+)\n", pdf)
    size, rest, previous = int(trailer[1]), trailer[2], trailer[3]
    root, document, first = size, size + 1, size + 2
    kids = b" ".join(b"%d 0 R" % (first + i) for i in range(len(tags.pieces)))
    objects = {
        int(catalog[1]): b"<< /Type /Catalog %s /MarkInfo << /Marked true >> /Lang (%s) /StructTreeRoot %d 0 R "
        b"/ViewerPreferences << /DisplayDocTitle true >> >>" % (catalog[2], language.encode(), root),
        int(page[1]): b"<< /Type /Page %s /StructParents 0 /Tabs /S >>" % page[2],
        root: b"<< /Type /StructTreeRoot /K %d 0 R /ParentTree << /Nums [0 [%s]] >> /ParentTreeNextKey 1 >>"
        % (document, kids),
        document: b"<< /Type /StructElem /S /Document /P %d 0 R /K [%s] >>" % (root, kids),
    }
    for i, (tag, shows) in enumerate(tags.pieces):
        alt = b" /Alt <FEFF%s>" % shows.encode("utf-16-be").hex().upper().encode() if shows else b""
        objects[first + i] = b"<< /Type /StructElem /S /%s /P %d 0 R /Pg %s 0 R /K %d%s >>" % (
            tag.encode(), document, page[1], i, alt,
        )  # fmt: skip
    out = bytearray(pdf if pdf.endswith(b"\n") else pdf + b"\n")
    entries = []
    for number, body in sorted(objects.items()):
        entries.append(b"%d 1\n%010d 00000 n \n" % (number, len(out)))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    start = len(out)
    out += b"xref\n%s" % b"".join(entries)
    out += b"trailer\n<< /Size %d %s /Prev %s >>\nstartxref\n%d\n%%%%EOF\n" % (
        first + len(tags.pieces),
        rest,
        previous,
        start,
    )
    return bytes(out)


def _only(pattern: bytes, pdf: bytes) -> re.Match[bytes]:
    found = re.search(pattern, pdf, re.DOTALL)
    if found is None:
        raise ValueError(f"no {pattern.decode()!r} in the PDF")
    return found
