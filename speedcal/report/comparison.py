"""The comparison picture: error against speed, before and after, with the tolerance as a band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.interval import FloatArray
from speedcal.report import style
from speedcal.report.allowed import Allowed
from speedcal.report.labels import Drawn, place_label
from speedcal.text.pages import pictures as words
from speedcal.text.words.numbers import with_minus
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from speedcal.calibration.dial.dial import Dial

MOST_POINTS = 240
_LEAST_WIDE = 20.0
"""Speeds from the left to the right of a picture, at the least, in the unit of the report."""


@dataclass(frozen=True)
class Curve:
    """One drive in the comparison, in the unit of the report; error is indicated minus true speed."""

    label: str
    look: style.DriveStyle
    speed: FloatArray
    error: FloatArray
    low: FloatArray
    high: FloatArray
    used: FloatArray
    """Readings that count, shape (n, 2): true speed, error."""
    rejected: FloatArray

    @classmethod
    def of(
        cls, dial: Dial, readings: pd.DataFrame, unit: DisplayUnit, *, label: str, drawn_as: style.DriveStyle
    ) -> Curve:
        """Return the curve of a dial over the speeds that were driven, asked at each of them."""
        factor = SPEED_UNIT_MPS[unit]
        v = np.linspace(*dial.driven_mps, 61)
        error, half = (dial.indicated(v) - v) / factor, dial.half_width(v) / factor
        ground, residual = readings["ground_mps"].to_numpy(float), readings["residual_mps"].to_numpy(float)
        # where the needle stood by how it was read: figures cut to fives would all lie under their dial
        points = steady(np.column_stack([ground, dial.indicated(ground) - ground + residual]) / factor)
        used = readings["used"].to_numpy(bool)
        usable = np.isfinite(points).all(axis=1) & (ground > 0)
        return cls(
            label,
            drawn_as,
            steady(v / factor),
            steady(error),
            steady(error - half),
            steady(error + half),
            points[used & usable],
            points[~used & usable],
        )


def marker_area(size: float, count: int) -> float:
    """Return the area of a marker for text of a size; a crowd gets smaller ones. [pt²]."""
    return float((0.48 * size * (1.0 if count <= 60 else 0.6)) ** 2)


def cross_area(size: float, count: int) -> float:
    """Return the area of a cross for a reading left out. [pt²]."""
    return 1.3 * marker_area(size, count)


def mark_radius(size: float, *counts: int) -> float:
    """Return how far from its centre the largest mark reaches, its edge included, of several crowds of marks. [pt]."""
    return float(np.sqrt(max(cross_area(size, count) for count in counts)) / 2 + 0.6)


def steady(values: FloatArray) -> FloatArray:
    """Return values without the last digits, which differ from one processor to another."""
    return np.asarray(np.round(values, 5) + 0.0)


def thinned(points: FloatArray) -> FloatArray:
    """Return every k-th row, so that at most ``MOST_POINTS`` are left."""
    return points[:: -(-len(points) // MOST_POINTS)] if len(points) > MOST_POINTS else points


def draw_comparison(
    ax: Axes, curves: Sequence[Curve], allowed: Allowed | None, *, units: Sequence[DisplayUnit], size: float
) -> None:
    """Draw the comparison.

    Parameters
    ----------
    ax
        Axes to draw on; labels are placed for the size they have now.
    curves
        One or two, before first.
    allowed
        The tolerance, or None.
    units
        Unit of the lower and left scales, and where two are given that of the upper and right ones.
    size
        Font size of labels. [pt]
    """
    unit = units[0]
    _set_limits(ax, curves, allowed)
    if allowed is not None:
        allowed.draw(ax)
    ax.axhline(0, color=style.INK, linewidth=0.8, zorder=2)
    for curve in curves:
        _draw_curve(ax, curve, size)
    ax.set_xlabel(words.true_speed_axis(unit), fontsize=size)
    ax.set_ylabel(words.error_axis(unit), fontsize=size)
    ax.tick_params(labelsize=size * 0.95)
    ax.yaxis.set_major_formatter(_signed)
    _round_steps(ax.xaxis, ax.yaxis)
    for other in units[1:]:
        _second_unit(ax, SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other], other, size)
    _write_labels(ax, curves, allowed, size)


def _round_steps(*axes: Any) -> None:
    from matplotlib.ticker import MaxNLocator

    for axis in axes:
        axis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))


def _signed(value: float, _position: float) -> str:
    return "0" if abs(value) < 1e-9 else with_minus(f"{value:+g}")


def margin_beside(slowest: float, fastest: float) -> float:
    """Return what is drawn beside the speeds of a drive, in its unit; a drive at one speed is no picture of tenths."""
    return max(0.06 * (fastest - slowest), (_LEAST_WIDE - (fastest - slowest)) / 2)


def _set_limits(ax: Axes, curves: Sequence[Curve], allowed: Allowed | None) -> None:
    speeds = np.concatenate([c.speed for c in curves])
    errors = np.concatenate([np.concatenate([c.low, c.high, c.used[:, 1]]) for c in curves])
    left, right = float(speeds.min()), float(speeds.max())
    margin = margin_beside(left, right)
    low, high = min(errors.min(), 0.0), max(errors.max(), 0.0)
    if allowed is not None:
        reaches = allowed.reaches()
        room = 1.5 * (high - low) + 1
        near = reaches[(reaches > low - room) & (reaches < high + room)]
        low, high = min(low, *near, 0.0), max(high, *near, 0.0)
    pad = 0.12 * (high - low) + 0.2
    ax.set_xlim(left - margin, right + margin)
    ax.set_ylim(low - pad, high + pad)


def _draw_curve(ax: Axes, curve: Curve, size: float) -> None:
    look = curve.look
    ax.fill_between(
        curve.speed, curve.low, curve.high, facecolor=look.tint, edgecolor=look.color, hatch=look.hatch,
        alpha=0.75, linewidth=0, zorder=3,
    )  # fmt: skip
    ax.plot(curve.speed, curve.error, color=look.color, linestyle=look.line, linewidth=look.width, zorder=5)
    used = thinned(curve.used)
    face = style.PAPER if look.hollow else look.color
    ax.scatter(
        used[:, 0], used[:, 1], s=marker_area(size, len(used)), marker=look.marker, facecolor=face,
        edgecolor=look.color, linewidth=0.9, zorder=4,
    )  # fmt: skip
    inside = _crosses(ax, curve)
    ax.scatter(
        inside[:, 0],
        inside[:, 1],
        s=cross_area(size, len(inside)),
        marker="x",
        color=style.QUIET,
        linewidth=1.1,
        zorder=4,
    )


def _second_unit(ax: Axes, ratio: float, other: DisplayUnit, size: float) -> None:
    pair = (lambda x: np.asarray(x) * ratio, lambda x: np.asarray(x) / ratio)
    top, right = ax.secondary_xaxis("top", functions=pair), ax.secondary_yaxis("right", functions=pair)
    _round_steps(top.xaxis, right.yaxis)
    right.yaxis.set_major_formatter(_signed)
    for axis in (top, right):
        axis.tick_params(labelsize=size * 0.85, colors=style.QUIET, length=2.5)
        for spine in axis.spines.values():
            spine.set_color(style.RULE)
    ax.annotate(
        other, (1, 1), xycoords="axes fraction", xytext=(2.2 * size, 1.9 * size), textcoords="offset points",
        fontsize=size * 0.85, color=style.QUIET, ha="right",
    )  # fmt: skip


def _write_labels(ax: Axes, curves: Sequence[Curve], allowed: Allowed | None, size: float) -> None:
    own = [np.column_stack([c.speed, c.error]) for c in curves]
    edges = [np.column_stack([c.speed, y]) for c in curves for y in (c.low, c.high)]
    zero = np.column_stack([np.linspace(*ax.get_xlim(), 80), np.zeros(80)])
    marks = [thinned(c.used) for c in curves]
    crosses = np.concatenate([_crosses(ax, c) for c in curves])
    drawn = Drawn(
        np.concatenate([*own, *edges, zero]), np.concatenate([*marks, crosses]), mark_radius(size, *map(len, marks))
    )
    # first, since away from its line it would name another error
    beside = replace(drawn, lines=drawn.lines[: -len(zero)])
    place_label(ax, words.NO_ERROR, along=zero, drawn=beside, size=size * 0.85, color=style.QUIET)
    for curve, line in zip(curves, own, strict=True):
        rivals = [p for c, *both in zip(curves, own, marks, strict=True) if c is not curve for p in both]
        place_label(
            ax,
            curve.label,
            along=line,
            drawn=drawn,
            size=size,
            color=curve.look.color,
            bold=True,
            rivals=np.concatenate([np.empty((0, 2)), *rivals]),
        )
    if allowed is not None:
        middle = allowed.middle()
        middle = np.column_stack([middle[:, 0], np.clip(middle[:, 1], *ax.get_ylim())])
        place_label(ax, allowed.label, along=middle, drawn=drawn, size=size * 0.92, color="#565e33")
    if len(crosses):
        place_label(ax, words.NOT_USED, along=crosses[:3], drawn=drawn, size=size * 0.85, color=style.QUIET)


def _crosses(ax: Axes, curve: Curve) -> FloatArray:
    """Return the readings left out that lie on the picture, shape (n, 2)."""
    rejected = thinned(curve.rejected)
    low, high = ax.get_ylim()
    return rejected[(rejected[:, 1] > low) & (rejected[:, 1] < high)]
