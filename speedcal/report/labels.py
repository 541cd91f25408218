"""Writing labels straight onto a plot, where they cover nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.interval import FloatArray
from speedcal.report import fonts

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backend_bases import RendererBase
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox


def renderer_of(ax: Axes) -> RendererBase:
    """Return what measures text for the figure of ``ax``."""
    figure = ax.get_figure(root=True)
    if figure is None:
        raise ValueError("the axes belong to no figure")
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas: Any = FigureCanvasAgg(figure)
    renderer: RendererBase = canvas.get_renderer()
    return renderer


_NOTHING: FloatArray = np.empty((0, 2))


def place_label(
    ax: Axes,
    text: str,
    *,
    along: FloatArray,
    avoid: FloatArray,
    size: float,
    color: str,
    bold: bool = False,
    rivals: FloatArray = _NOTHING,
) -> Text:
    """Write a label near a line, at the spot where it covers the fewest marks and no other label.

    Parameters
    ----------
    along
        Points of the line the label belongs to, shape (n, 2), in data units.
    avoid
        Points that should stay visible, shape (m, 2), in data units.
    size
        Font size. [pt]
    rivals
        Points of lines the label must not seem to belong to, shape (k, 2), in data units.
    """
    from matplotlib import patheffects

    weight = "bold" if bold else "normal"
    label = ax.text(0, 0, text, fontsize=size, color=color, fontweight=weight, ha="center", va="center", zorder=9)
    label.set_fontfamily(fonts.needed(text)[0])
    label.set_path_effects([patheffects.withStroke(linewidth=2.5, foreground="white")])
    renderer = renderer_of(ax)
    box = label.get_window_extent(renderer)
    half_width, half_height = box.width / 2 + 2, box.height / 2 + 2
    frame = ax.get_window_extent(renderer)
    others = [t.get_window_extent(renderer) for t in ax.texts if t is not label]
    marks = ax.transData.transform(avoid)
    own = ax.transData.transform(along)
    other_lines = ax.transData.transform(rivals) if len(rivals) else rivals
    candidates = _candidates(own, half_width, half_height, frame.bounds)
    costs = [
        _cost(x, y, far, half_width, half_height, marks, others) + _confusion(x, y, own, other_lines)
        for x, y, far in candidates
    ]
    x, y, _ = candidates[int(np.argmin(costs))]
    x, y = ax.transData.inverted().transform((x, y))
    label.set_position((float(x), float(y)))
    return label


def _candidates(
    line: FloatArray, half_width: float, half_height: float, frame: tuple[float, float, float, float]
) -> list[tuple[float, float, float]]:
    """Return centres and their distance from the line: on both sides of it, inside the frame. [pixels]."""
    left, bottom, width, height = frame
    picked = line[np.unique(np.linspace(0, len(line) - 1, 25).astype(int))]
    out = []
    for far in (0.0, 3.0, 9.0, 18.0, 30.0, 45.0):
        for side in (1, -1):
            for x, y in picked:
                cx = float(np.clip(x, left + half_width, left + width - half_width))
                cy = float(np.clip(y + side * (half_height + far), bottom + half_height, bottom + height - half_height))
                out.append((cx, cy, far + 0.3 * abs(cx - float(x))))
    return out


def _confusion(x: float, y: float, own: FloatArray, rivals: FloatArray) -> float:
    """Return a cost where another line is hardly farther than the label's own."""
    if not len(rivals):
        return 0.0
    to_own = float(np.hypot(own[:, 0] - x, own[:, 1] - y).min())
    to_rival = float(np.hypot(rivals[:, 0] - x, rivals[:, 1] - y).min())
    return 0.0 if to_rival > 1.6 * to_own else 150.0


def _cost(
    x: float, y: float, far: float, half_width: float, half_height: float, marks: FloatArray, others: Sequence[Bbox]
) -> float:
    covered = (np.abs(marks[:, 0] - x) < half_width + half_height) & (np.abs(marks[:, 1] - y) < half_height + 2)
    hits = sum(
        1
        for box in others
        if abs((box.x0 + box.x1) / 2 - x) < half_width + box.width / 2
        and abs((box.y0 + box.y1) / 2 - y) < half_height + box.height / 2
    )
    return far + 8.0 * float(covered.sum()) + 500.0 * hits
