"""A speed over time drawn with characters, for a terminal."""

from __future__ import annotations

import numpy as np

from speedcal.interval import FloatArray

_EIGHTHS = " ▁▂▃▄▅▆▇█"


def sketch(time_s: FloatArray, speed: FloatArray, *, unit: str, width: int = 64, height: int = 8) -> str:
    """Return a small plot: mean speed in ``width`` equal spans of time, with the highest speed and the minutes named.

    Parameters
    ----------
    time_s, speed
        Shape (n,); missing numbers are left out.
    unit
        Word for the unit of the speeds.
    width, height
        Size of the plot in characters.
    """
    known = np.isfinite(time_s) & np.isfinite(speed)
    if known.sum() < 2 or np.ptp(time_s[known]) <= 0:
        return "  (nothing to draw)"
    times, speeds = time_s[known], speed[known]
    place = np.minimum(((times - times.min()) / np.ptp(times) * width).astype(int), width - 1)
    count = np.bincount(place, minlength=width)
    mean = np.bincount(place, weights=speeds, minlength=width) / np.maximum(count, 1)
    top = float(mean.max()) or 1.0
    eighths = np.where(count > 0, np.maximum(np.round(mean / top * height * 8), 1), 0).astype(int)
    rows = []
    for row in range(height - 1, -1, -1):
        label = f"{top:6.0f}" if row == height - 1 else f"{0:6.0f}" if row == 0 else " " * 6
        rows.append(f"{label} |" + "".join(_EIGHTHS[min(max(value - 8 * row, 0), 8)] for value in eighths))
    rows.append(f"{unit:>6} +{'-' * width} {np.ptp(times) / 60:.1f} min")
    return "\n".join(rows)
