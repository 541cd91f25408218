"""What a tolerance rule allows, drawn behind the curves of the comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.interval import FloatArray
from speedcal.report import fonts, style
from speedcal.text.pages.pictures import allowed_label
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from speedcal.conformity import Tolerance


@dataclass(frozen=True)
class Allowed:
    """The tolerance in the comparison, in the unit of the report, as errors at true speeds; no limit is infinite."""

    label: str
    bands: tuple[FloatArray, ...]
    """Limits over a range of speeds, each shape (n, 3): true speed, least error, greatest error."""
    bars: tuple[tuple[float, float, float], ...]
    """Limits at single speeds: true speed, least error, greatest error."""
    slants: tuple[tuple[float, float, float], ...]
    """Limits on the true speed at an indicated one: indicated speed, least true speed, greatest true speed."""
    checked_at: tuple[float, ...]
    """True speeds at which a rule with bands is judged."""

    @classmethod
    def of(cls, tolerance: Tolerance, unit: DisplayUnit, *, range_mps: tuple[float, float]) -> Allowed | None:
        """Return how a rule looks over a range of true speeds, or None when it says nothing about speed there."""
        if tolerance.quantity != "speed":
            return None
        factor = SPEED_UNIT_MPS[unit]
        label = fonts.printable(allowed_label(tolerance))
        named = tuple(v / factor for v in tolerance.speeds_mps)
        if tolerance.given == "indicated":
            true = [tolerance.band(y * factor) for y in named]
            slants = [(y, low / factor, high / factor) for y, (low, high) in zip(named, true, strict=True)]
            return cls(label, (), (), tuple(slants), ()) if slants else None
        bands: list[FloatArray] = []
        bars: list[tuple[float, float, float]] = []
        low, high = max(range_mps[0], tolerance.domain_mps[0]), min(range_mps[1], tolerance.domain_mps[1])
        for limit in tolerance.limits:
            start, end = max(low, limit.from_mps), min(high, limit.to_mps)
            if start < end:
                grid = np.linspace(start, end, 41)
                edges = np.array([tolerance.band(v) for v in grid])
                bands.append(np.column_stack([grid, edges - grid[:, None]]) / factor)
            elif start == end or limit.from_mps == limit.to_mps:
                least, greatest = tolerance.band(end)
                bars.append((end / factor, (least - end) / factor, (greatest - end) / factor))
        inside = tuple(v for v in named if low <= v * factor <= high) if bands and not tolerance.between else ()
        return cls(label, tuple(bands), tuple(bars), (), inside) if bands or bars else None

    def _rows(self) -> FloatArray:
        return np.vstack([np.empty((0, 3)), *self.bands, *(np.array([bar]) for bar in self.bars)])

    def middle(self) -> FloatArray:
        """Return points inside what is allowed, shape (n, 2); one-sided limits are taken at the limit."""
        v, low, high = self._rows().T
        inside = np.where(np.isinf(low), high, np.where(np.isinf(high), low, (low + high) / 2))
        slants = [((low + high) / 2, y - (low + high) / 2) for y, low, high in self.slants]
        return np.vstack([np.column_stack([v, inside]), *(np.array([point]) for point in slants)])

    def reaches(self) -> FloatArray:
        """Return every finite error at an edge of what is allowed."""
        slants = [shown - true for shown, *ends in self.slants for true in ends]
        errors = np.concatenate([self._rows()[:, 1:].ravel(), slants])
        return np.asarray(errors[np.isfinite(errors)], float)

    def draw(self, ax: Axes) -> None:
        """Draw what is allowed behind everything else; the limits of the axes are set already."""
        for band in self.bands:
            self._draw_band(ax, band)
        for bar in self.bars:
            _draw_bar(ax, *bar)
        for shown, low, high in self.slants:
            true = np.clip([low, high], *ax.get_xlim())
            ax.plot(true, shown - true, color=style.ALLOWED, linewidth=9, solid_capstyle="butt", zorder=0)
            ax.plot(true, shown - true, color=style.ALLOWED_EDGE, linewidth=0.9, linestyle=_DOTS, zorder=1)

    def _draw_band(self, ax: Axes, band: FloatArray) -> None:
        v, low, high = band[:, 0], *np.clip(band[:, 1:].T, *ax.get_ylim())
        ax.fill_between(v, low, high, color=style.ALLOWED, linewidth=0, zorder=0)
        for limit in (band[:, 1], band[:, 2]):
            if np.isfinite(limit).all():
                ax.plot(v, limit, color=style.ALLOWED_EDGE, linewidth=0.9, linestyle=_DOTS, zorder=1)
        for at in self.checked_at:
            ends = [np.interp(at, v, low), np.interp(at, v, high)]
            ax.plot([at, at], ends, color=style.ALLOWED_EDGE, linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)


_DOTS = (0, (1, 1.5))


def _draw_bar(ax: Axes, at: float, low: float, high: float) -> None:
    half = 0.012 * float(np.diff(ax.get_xlim())[0])
    sides = np.array([at - half, at + half])
    ends = np.clip([low, high], *ax.get_ylim())
    ax.fill_between(sides, ends[0], ends[1], color=style.ALLOWED, linewidth=0, zorder=0)
    for side in sides:
        ax.plot([side, side], ends, color=style.ALLOWED_EDGE, linewidth=0.9, linestyle=_DOTS, zorder=1)
    for limit in (low, high):
        if np.isfinite(limit):
            ax.plot(sides, [limit, limit], color=style.ALLOWED_EDGE, linewidth=1.4, zorder=1)
