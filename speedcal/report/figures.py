"""Whole pictures as bytes: the comparison for customer, phone and page, and the clock match."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from speedcal.report import style
from speedcal.report.allowed import Allowed
from speedcal.report.clockmatch import draw_clock_match
from speedcal.report.comparison import Curve, draw_comparison
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from speedcal.calibration.result import Calibration

ImageKind = Literal["png", "svg", "pdf"]


@dataclass(frozen=True, slots=True)
class Shape:
    """Size of a comparison picture, where its frame lies in it, and the size of its letters."""

    inches: tuple[float, float]
    frame: tuple[float, float, float, float]
    """Left, bottom, width, height as parts of the picture."""
    size: float
    """Letters. [pt]"""


CUSTOMER = Shape((6.4, 5.2), (0.135, 0.115, 0.79, 0.67), 11.0)
WIDE = Shape((7.2, 4.0), (0.12, 0.125, 0.82, 0.78), 9.5)
NARROW = Shape((3.5, 3.7), (0.225, 0.13, 0.65, 0.775), 9.0)

_NO_DATES: dict[str, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


def figure_bytes(figure: Figure, kind: ImageKind, **more: Any) -> bytes:
    """Return a figure as a file without dates, so that the same figure gives the same bytes."""
    out = io.BytesIO()
    metadata = {**_NO_DATES[kind], **more.pop("metadata", {})}
    figure.savefig(out, format=kind, metadata=metadata, **more)
    return out.getvalue()


def comparison_picture(
    curves: list[Curve], allowed: Allowed | None, *, unit: DisplayUnit, title: str, subtitle: str
) -> dict[ImageKind, bytes]:
    """Return the comparison at the size a customer keeps: PNG for a phone, SVG and PDF for print."""
    from matplotlib.figure import Figure

    with style.drawing(title, subtitle, allowed.label if allowed else ""):
        figure = Figure(figsize=CUSTOMER.inches)
        _headings(figure, title, subtitle)
        draw_comparison(figure.add_axes(CUSTOMER.frame), curves, allowed, unit=unit, size=CUSTOMER.size)
        described: dict[ImageKind, dict[str, str]] = {
            "png": {"Title": title}, "svg": {"Title": title}, "pdf": {"Title": title}
        }  # fmt: skip
        return {kind: figure_bytes(figure, kind, metadata=words, dpi=200) for kind, words in described.items()}


def comparison_svg(curves: list[Curve], allowed: Allowed | None, *, unit: DisplayUnit, narrow: bool) -> bytes:
    """Return the comparison for a page in the browser, wide or for a phone."""
    from matplotlib.figure import Figure

    with style.drawing(allowed.label if allowed else ""):
        shape = NARROW if narrow else WIDE
        figure = Figure(figsize=shape.inches)
        draw_comparison(figure.add_axes(shape.frame), curves, allowed, unit=unit, size=shape.size)
        return figure_bytes(figure, "svg")


def clock_match_svg(calibration: Calibration, *, unit: DisplayUnit, drawn_as: style.DriveStyle, narrow: bool) -> bytes:
    """Return the clock match for a page in the browser, wide or for a phone."""
    from matplotlib.figure import Figure

    with style.drawing():
        figure = Figure(figsize=(3.5, 2.6) if narrow else (7.2, 2.5))
        ax = figure.add_axes((0.13, 0.17, 0.84, 0.79) if narrow else (0.07, 0.185, 0.915, 0.785))
        draw_clock_match(ax, calibration, unit=unit, drawn_as=drawn_as, size=9)
        return figure_bytes(figure, "svg")


def _headings(figure: Figure, title: str, subtitle: str) -> None:
    from speedcal.report.flow import fit_line

    width_pt = figure.get_figwidth() * 72 * 0.95
    for y, text, size, weight in ((0.945, title, 13.0, "bold"), (0.895, subtitle, 10.0, "normal")):
        text, size = fit_line(text, width_pt=width_pt, size=size, least=8.0, bold=weight == "bold")
        figure.text(0.025, y, text, fontsize=size, fontweight=weight, va="center")
