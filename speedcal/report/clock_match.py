"""The clock-match picture: readings, with the error taken out, lying on the GPS speed over time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.interval import FloatArray
from speedcal.report import style
from speedcal.report.comparison import cross_area, mark_radius, marker_area, steady, thinned
from speedcal.report.labels import Drawn, place_label
from speedcal.text.pages import pictures as words
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from speedcal.calibration.dial.dial import Dial
    from speedcal.calibration.result import Calibration

MOST_FIXES = 1500


def draw_clock_match(
    ax: Axes, calibration: Calibration, *, unit: DisplayUnit, drawn_as: style.DriveStyle, size: float
) -> None:
    """Draw GPS speed over time with the readings on it; the line is broken where there are no fixes.

    A reading is drawn at the true speed at which the dial shows it: matched clocks put it on the line.

    Parameters
    ----------
    size
        Font size of labels. [pt]
    """
    from matplotlib.ticker import MaxNLocator

    factor = SPEED_UNIT_MPS[unit]
    time, speed = _broken_line(calibration)
    start = float(np.nanmin(time)) if len(time) else 0.0
    minutes, speed = steady((time - start) / 60), steady(speed / factor)
    ax.plot(minutes, speed, color=style.QUIET, linewidth=0.9, zorder=2)
    table = calibration.readings
    when = (table["time_s"].to_numpy(float) - start) / 60
    meant = _stands_for(calibration.dial, table["indicated_mps"].to_numpy(float))
    points = steady(np.column_stack([when, meant / factor]))
    used = table["used"].to_numpy(bool)
    seen = np.isfinite(points).all(axis=1)
    good, bad = thinned(points[used & seen]), thinned(points[~used & seen])
    face = style.PAPER if drawn_as.hollow else drawn_as.color
    ax.scatter(
        good[:, 0], good[:, 1], s=marker_area(size, len(good)), marker=drawn_as.marker, facecolor=face,
        edgecolor=drawn_as.color, linewidth=0.9, zorder=4,
    )  # fmt: skip
    ax.scatter(bad[:, 0], bad[:, 1], s=cross_area(size, len(bad)), marker="x", color=style.INK, linewidth=1.1, zorder=4)
    ax.set_ylim(0, 1.18 * max(float(np.nanmax(speed)) if len(speed) else 1.0, *points[seen, 1], 1.0))
    ax.set_xlim(0, max(float(np.nanmax(minutes)) if len(minutes) else 1.0, 1e-3))
    ax.xaxis.set_major_locator(MaxNLocator("auto", steps=[1, 2, 5, 10]))
    ax.set_xlabel(words.MINUTES, fontsize=size)
    ax.set_ylabel(words.speed_axis(unit), fontsize=size)
    ax.tick_params(labelsize=size * 0.95)
    line = np.column_stack([minutes, speed])
    line = line[np.isfinite(line).all(axis=1)]
    if len(line):
        drawn = Drawn(
            line[:: max(1, len(line) // 400)], np.concatenate([good, bad]), mark_radius(size, len(good), len(bad))
        )
        along = line[:: max(1, len(line) // 60)]
        place_label(ax, words.GPS_SPEED, along=along, drawn=drawn, size=size, color=style.QUIET)
        if len(good):
            place_label(ax, words.READINGS, along=good, drawn=drawn, size=size, color=drawn_as.color, bold=True)
        if len(bad):
            place_label(ax, words.NOT_USED, along=bad, drawn=drawn, size=size, color=style.INK)


def _stands_for(dial: Dial, shown_mps: FloatArray) -> FloatArray:
    """Return the true speeds at which the dial shows something; beyond its curve it goes on straight. [m/s]."""
    v = np.linspace(0.0, 2 * dial.driven_mps[1], 400)
    curve = np.maximum.accumulate(dial.indicated(v))
    return np.asarray(np.interp(shown_mps, curve, v))


def _broken_line(calibration: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return time and ground speed, thinned, with a NaN between unbroken pieces."""
    ground = calibration.ground
    time, speed = ground["time_s"].to_numpy(float), ground["speed_mps"].to_numpy(float)
    breaks = np.flatnonzero(np.diff(ground["piece"].to_numpy())) + 1
    step = max(1, -(-len(time) // MOST_FIXES))
    times: list[FloatArray] = []
    speeds: list[FloatArray] = []
    for t, v in zip(np.split(time, breaks), np.split(speed, breaks), strict=True):
        times += [t[::step], np.array([np.nan])]
        speeds += [v[::step], np.array([np.nan])]
    return np.concatenate(times)[:-1], np.concatenate(speeds)[:-1]
