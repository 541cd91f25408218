"""A sheet of paper measured in points from its upper left corner, and columns of text that fit on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from speedcal.report import style
from speedcal.report.flow import cut, fit_line, wrap
from speedcal.report.style import printable
from speedcal.report.tags import Tags
from speedcal.report.words import glued

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Paper = Literal["a4", "letter"]
PAPER_PT: dict[Paper, tuple[float, float]] = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
"""Width and height. A4: ISO 216, 210 mm x 297 mm. Letter: ANSI/ASME Y14.1, 8.5 in x 11 in. [pt]."""
MARGIN_PT = 36.0
MORE = "… more in report.html"
_LEADING, _ASCENT = 1.3, 0.95


@dataclass(frozen=True, slots=True)
class Block:
    """A heading, a paragraph, a list item or small print in a column."""

    text: str
    kind: Literal["heading", "plain", "item", "small", "strong"] = "plain"


@dataclass(frozen=True, slots=True)
class _Row:
    text: str
    size: float
    bold: bool
    color: str
    indent: float
    bullet: bool
    gap: float
    """Empty space above."""
    heading: bool = False


class Sheet:
    """One page to write on; coordinates are points from the upper left corner."""

    def __init__(self, paper: Paper) -> None:
        from matplotlib.figure import Figure

        self.width, self.height = PAPER_PT[paper]
        self.figure = Figure(figsize=(self.width / 72, self.height / 72))
        self.left, self.right = MARGIN_PT, self.width - MARGIN_PT
        self.top, self.bottom = MARGIN_PT, self.height - MARGIN_PT
        self.tags = Tags()

    def axes(self, x: float, y: float, width: float, height: float, *, shows: str) -> Axes:
        """Return axes whose frame is the rectangle with the upper left corner (x, y); ``shows`` is read aloud."""
        made = self.figure.add_axes(
            (x / self.width, 1 - (y + height) / self.height, width / self.width, height / self.height)
        )
        self.tags.enclose(self.figure, made, "Figure", shows=shows)
        return made

    def write(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float,
        bold: bool = False,
        color: str = style.INK,
        align: Literal["left", "right", "center"] = "left",
        tag: str = "P",
    ) -> None:
        """Write one line whose upper edge is at ``y``; the text is printable and fits already."""
        made = self.figure.text(
            x / self.width, 1 - (y + _ASCENT * size) / self.height, text, fontsize=size, color=color, ha=align,
            fontweight="bold" if bold else "normal", va="baseline",
        )  # fmt: skip
        self.tags.enclose(self.figure, made, tag)

    def line(
        self,
        x: float,
        y: float,
        text: str,
        *,
        width: float,
        size: float,
        bold: bool = False,
        least: float = 6.5,
        align: Literal["left", "right"] = "left",
        tag: str = "P",
    ) -> float:
        """Write a text on one line, smaller or cut when it must be, and return the lower edge."""
        shown, fitted = fit_line(printable(text), width_pt=width, size=size, least=least, bold=bold)
        self.write(x if align == "left" else x + width, y, shown, size=fitted, bold=bold, align=align, tag=tag)
        return y + _LEADING * size

    def paragraph(
        self,
        x: float,
        y: float,
        text: str,
        *,
        width: float,
        size: float,
        bold: bool = False,
        color: str = style.INK,
        most: int = 99,
    ) -> float:
        """Write a text on as many lines as it needs, at most ``most``, and return the lower edge."""
        lines = wrap(glued(printable(text)), width_pt=width, size=size, bold=bold)
        for line in cut(lines, most, width_pt=width, size=size, bold=bold):
            self.write(x, y, line, size=size, bold=bold, color=color)
            y += _LEADING * size
        return y

    def rule(self, y: float, *, x: float | None = None, width: float | None = None, weight: float = 0.8) -> None:
        """Draw a horizontal line, from margin to margin when nothing else is said."""
        from matplotlib.lines import Line2D

        start = self.left if x is None else x
        end = self.right if width is None else start + width
        height = 1 - y / self.height
        self.figure.add_artist(
            Line2D([start / self.width, end / self.width], [height, height], color=style.INK, linewidth=weight)
        )

    def box(self, x: float, y: float, width: float, height: float, *, weight: float = 1.4, fill: str = "none") -> None:
        """Draw a rectangle with the upper left corner (x, y)."""
        from matplotlib.patches import Rectangle

        self.figure.add_artist(
            Rectangle(
                (x / self.width, 1 - (y + height) / self.height), width / self.width, height / self.height,
                facecolor=fill, edgecolor=style.INK, linewidth=weight, transform=self.figure.transFigure,
            )
        )  # fmt: skip

    def column(
        self,
        blocks: Sequence[Block],
        x: float,
        y: float,
        *,
        width: float,
        height: float,
        size: float,
    ) -> float:
        """Fill a column and return its lower edge; where the rest had to be left out, it says so."""
        rows = _rows(blocks, width, size)
        if _height(rows) > height:
            more = _Row(MORE, size, False, style.QUIET, 0.0, False, 0.0)
            while rows and _height([*rows, more]) > height:
                rows.pop()
            rows.append(more)
        for row in rows:
            y += row.gap
            if row.bullet:
                self.write(x, y, "–", size=row.size, color=row.color, tag="")
            tag = "H2" if row.heading else "P"
            self.write(x + row.indent, y, row.text, size=row.size, bold=row.bold, color=row.color, tag=tag)
            y += _LEADING * row.size
        return y


def column_height(blocks: Sequence[Block], *, width: float, size: float) -> float:
    """Return how high a column of blocks is in letters of a size. [pt]."""
    return _height(_rows(blocks, width, size))


def fitting_size(
    columns: Sequence[Sequence[Block]], *, width: float, height: float, size: float, least: float
) -> float:
    """Return the largest letters, from ``size`` down to ``least``, at which every column fits. [pt]."""
    while size > least and any(_height(_rows(blocks, width, size)) > height for blocks in columns):
        size = max(least, size - 0.2)
    return size


def _height(rows: Sequence[_Row]) -> float:
    return sum(row.gap + _LEADING * row.size for row in rows)


def _rows(blocks: Sequence[Block], width: float, size: float) -> list[_Row]:
    rows: list[_Row] = []
    for block in blocks:
        bold = block.kind in ("heading", "strong")
        letters = {"heading": size * 1.12, "small": size * 0.86}.get(block.kind, size)
        indent = letters * 0.95 if block.kind == "item" else 0.0
        gap = {"heading": 0.55, "item": 0.12, "small": 0.2}.get(block.kind, 0.15) * letters if rows else 0.0
        color = style.QUIET if block.kind == "small" else style.INK
        lines = wrap(glued(printable(block.text)), width_pt=width - indent, size=letters, bold=bold)
        for i, line in enumerate(lines):
            first = i == 0
            head, bullet = block.kind == "heading", first and indent > 0
            rows.append(_Row(line, letters, bold, color, indent, bullet, gap if first else 0.0, head))
    return rows
