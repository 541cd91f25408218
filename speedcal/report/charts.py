"""The pictures of a report, each drawn once as SVG: the comparison for a desk and for a phone, the clock matches."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from speedcal.report import style
from speedcal.report.allowed import Allowed
from speedcal.report.clock_match import draw_clock_match
from speedcal.report.comparison import Curve, draw_comparison
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from speedcal.calibration.result import Calibration
    from speedcal.report.for_tech import DriveDetail
    from speedcal.report.model import ReportModel


@dataclass(frozen=True, slots=True)
class Shape:
    """Size of a picture, where its frame lies in it, and the size of its letters."""

    inches: tuple[float, float]
    frame: tuple[float, float, float, float]
    """Left, bottom, width, height as parts of the picture."""
    size: float
    """Letters. [pt]"""
    second_scales: tuple[float, float] = (0.0, 0.0)
    """Part of the width and of the height that the scales of a second unit take."""

    def frame_for(self, units: Sequence[DisplayUnit]) -> tuple[float, float, float, float]:
        """Return the frame, smaller where there are scales on all four sides."""
        left, bottom, width, height = self.frame
        right, top = self.second_scales if len(units) > 1 else (0.0, 0.0)
        return left, bottom, width - right, height - top


WIDE = Shape((5.6, 3.3), (0.14, 0.145, 0.845, 0.835), 9.5, (0.06, 0.11))
"""For a desk and for the printed page."""
NARROW = Shape((3.5, 3.5), (0.225, 0.135, 0.755, 0.85), 9.5, (0.09, 0.105))
"""For a phone and for the picture that the customer keeps."""
CLOCKS = Shape((5.2, 1.8), (0.11, 0.25, 0.87, 0.72), 9.0)
NARROW_CLOCKS = Shape((3.5, 2.2), (0.155, 0.205, 0.82, 0.77), 9.5)
"""For a phone."""


@dataclass(frozen=True)
class Pictures:
    """The pictures of a report as SVG files."""

    wide: bytes
    narrow: bytes
    clocks: tuple[bytes | None, ...]
    """One a drive; None where the readings carry no times."""
    narrow_clocks: tuple[bytes | None, ...]


def draw_pictures(model: ReportModel) -> Pictures:
    """Draw every picture of a report."""
    wide, narrow = (comparison_svg(model.curves, model.allowed, units=model.units, shape=s) for s in (WIDE, NARROW))
    clocks, narrow_clocks = (
        tuple(_clocks(detail, model.unit, s) for detail in model.details) for s in (CLOCKS, NARROW_CLOCKS)
    )
    return Pictures(wide, narrow, clocks, narrow_clocks)


def _clocks(detail: DriveDetail, unit: DisplayUnit, shape: Shape) -> bytes | None:
    if not detail.has_clock_match:
        return None
    look = style.BEFORE if detail.is_before else style.AFTER
    return clock_match_svg(detail.calibration, unit=unit, drawn_as=look, shape=shape)


def comparison_svg(
    curves: Sequence[Curve], allowed: Allowed | None, *, units: Sequence[DisplayUnit], shape: Shape
) -> bytes:
    """Return the comparison of the drives, one dial or two, with what a rule allows."""
    from matplotlib.figure import Figure

    with style.drawing():
        figure = Figure(figsize=shape.inches)
        draw_comparison(figure.add_axes(shape.frame_for(units)), curves, allowed, units=units, size=shape.size)
        return _svg(figure)


def clock_match_svg(
    calibration: Calibration, *, unit: DisplayUnit, drawn_as: style.DriveStyle, shape: Shape = CLOCKS
) -> bytes:
    """Return the clock match of one drive."""
    from matplotlib.figure import Figure

    with style.drawing():
        figure = Figure(figsize=shape.inches)
        draw_clock_match(figure.add_axes(shape.frame), calibration, unit=unit, drawn_as=drawn_as, size=shape.size)
        return _svg(figure)


def _svg(figure: Figure) -> bytes:
    """Return a figure without date and maker, so that the same figure gives the same bytes."""
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()
