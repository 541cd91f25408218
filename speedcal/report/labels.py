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
    x, y, far = _candidates(own, half_width, half_height, frame.bounds)
    cost = far + _covered(x, y, half_width, half_height, marks, others)
    if len(rivals):
        cost = cost + _confusion(x, y, own, ax.transData.transform(rivals))
    best = int(np.argmin(cost))
    at = ax.transData.inverted().transform((x[best], y[best]))
    label.set_position((float(at[0]), float(at[1])))
    return label


def _candidates(
    line: FloatArray, half_width: float, half_height: float, frame: tuple[float, float, float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return centres on both sides of the line, inside the frame, and what their distance from it costs. [pixels]."""
    left, bottom, width, height = frame
    picked = line[np.unique(np.linspace(0, len(line) - 1, 25).astype(int))]
    grid = np.meshgrid((0.0, 3.0, 9.0, 18.0, 30.0, 45.0), (1, -1), np.arange(len(picked)), indexing="ij")
    far, side, at = (part.ravel() for part in grid)
    x, y = picked[at.astype(int)].T
    inside = np.clip(x, left + half_width, left + width - half_width)
    y = np.clip(y + side * (half_height + far), bottom + half_height, bottom + height - half_height)
    return inside, y, far + 0.3 * np.abs(inside - x)


def _confusion(x: FloatArray, y: FloatArray, own: FloatArray, rivals: FloatArray) -> FloatArray:
    """Return a cost where another line is hardly farther than the label's own."""
    to_own, to_rival = (
        np.hypot(x[:, None] - line[:, 0], y[:, None] - line[:, 1]).min(axis=1) for line in (own, rivals)
    )
    return np.where(to_rival > 1.6 * to_own, 0.0, 150.0)


def _covered(
    x: FloatArray, y: FloatArray, half_width: float, half_height: float, marks: FloatArray, others: Sequence[Bbox]
) -> FloatArray:
    """Return a cost for each mark that the label would cover and for each label it would touch."""
    wide, high = half_width + half_height, half_height + 2
    covered = (np.abs(x[:, None] - marks[:, 0]) < wide) & (np.abs(y[:, None] - marks[:, 1]) < high)
    cost = 8.0 * covered.sum(axis=1)
    for box in others:
        near = np.abs((box.x0 + box.x1) / 2 - x) < half_width + box.width / 2
        cost += 500.0 * (near & (np.abs((box.y0 + box.y1) / 2 - y) < half_height + box.height / 2))
    return np.asarray(cost)
