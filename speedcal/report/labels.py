"""Writing labels straight onto a plot, where they cover nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
_A_MARK, _A_LABEL, _A_LINE, _A_RIVAL = 1000.0, 100_000.0, 8.0, 150.0
"""What it costs to cover a mark, another label, a point of a line, and to stand by another line than the own. [pixels].

A mark is data, and costs more than any distance; a line goes on behind a label."""
_GRID_PX = (5.0, 3.0)
"""Steps of the places that are tried all over the frame where none by the line is free."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is on the axes already."""

    lines: FloatArray
    """Points of lines, shape (n, 2), in data units."""
    marks: FloatArray
    """Centres of dots and crosses, shape (m, 2), in data units."""
    radius: float
    """Of the largest of them. [pt]"""


@dataclass(frozen=True, slots=True)
class _Box:
    """What a label takes up about its centre, with a little air. [pixels]."""

    half_width: float
    half_height: float


def place_label(
    ax: Axes,
    text: str,
    *,
    along: FloatArray,
    drawn: Drawn,
    size: float,
    color: str,
    bold: bool = False,
    rivals: FloatArray = _NOTHING,
) -> Text:
    """Write a label near a line, on no mark and no other label where there is any such place, and on few lines.

    Parameters
    ----------
    along
        Points of the line the label belongs to, shape (n, 2), in data units.
    drawn
        What should stay visible.
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
    extent = label.get_window_extent(renderer)
    box = _Box(extent.width / 2 + 2, extent.height / 2 + 2)
    frame = ax.get_window_extent(renderer).bounds
    own, lines, marks, others = (ax.transData.transform(p) for p in (along, drawn.lines, drawn.marks, rivals))
    radius: Any = renderer.points_to_pixels(drawn.radius)
    labels = [t.get_window_extent(renderer) for t in ax.texts if t is not label]

    def cost(x: FloatArray, y: FloatArray, far: FloatArray) -> FloatArray:
        hidden = _A_MARK * _marks_covered(x, y, box, marks, radius)
        return np.asarray(far + hidden + _covered(x, y, box, lines, labels) + _confusion(x, y, own, others))

    places = _beside(own, box, frame)
    costs = cost(*places)
    if costs.min() >= _A_MARK:
        places = _everywhere(own, box, frame)
        costs = cost(*places)
    best = int(np.argmin(costs))
    at = ax.transData.inverted().transform((places[0][best], places[1][best]))
    label.set_position((float(at[0]), float(at[1])))
    return label


def _beside(
    line: FloatArray, box: _Box, frame: tuple[float, float, float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return centres on both sides of the line, inside the frame, and what their distance from it costs. [pixels]."""
    left, bottom, width, height = frame
    picked = line[np.unique(np.linspace(0, len(line) - 1, 25).astype(int))]
    grid = np.meshgrid((0.0, 3.0, 9.0, 18.0, 30.0, 45.0), (1, -1), np.arange(len(picked)), indexing="ij")
    far, side, at = (part.ravel() for part in grid)
    x, y = picked[at.astype(int)].T
    inside = np.clip(x, left + box.half_width, left + width - box.half_width)
    y = np.clip(y + side * (box.half_height + far), bottom + box.half_height, bottom + height - box.half_height)
    return inside, y, far + 0.3 * np.abs(inside - x)


def _everywhere(
    line: FloatArray, box: _Box, frame: tuple[float, float, float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return centres all over the frame, and what their distance from the line costs. [pixels]."""
    left, bottom, width, height = frame
    across, up = (
        np.linspace(start + half, start + length - half, max(2, int((length - 2 * half) / step) + 2))
        for start, length, half, step in (
            (left, width, box.half_width, _GRID_PX[0]),
            (bottom, height, box.half_height, _GRID_PX[1]),
        )
    )
    x, y = (part.ravel() for part in np.meshgrid(across, up))
    return x, y, _distance(x, y, line[:: max(1, len(line) // 50)])


def _distance(x: FloatArray, y: FloatArray, line: FloatArray) -> FloatArray:
    """Return how far places are from the points of a line."""
    return np.asarray(np.hypot(x[:, None] - line[:, 0], y[:, None] - line[:, 1]).min(axis=1))


def _confusion(x: FloatArray, y: FloatArray, own: FloatArray, rivals: FloatArray) -> FloatArray:
    """Return a cost where another line is hardly farther than the label's own."""
    if not len(rivals):
        return np.zeros(len(x))
    return np.where(_distance(x, y, rivals) > 1.6 * _distance(x, y, own), 0.0, _A_RIVAL)


def _marks_covered(x: FloatArray, y: FloatArray, box: _Box, marks: FloatArray, radius: float) -> FloatArray:
    """Return how many marks a label would touch at each place."""
    wide, high = box.half_width + radius, box.half_height + radius
    touched = (np.abs(x[:, None] - marks[:, 0]) < wide) & (np.abs(y[:, None] - marks[:, 1]) < high)
    return np.asarray(touched.sum(axis=1), float)


def _covered(x: FloatArray, y: FloatArray, box: _Box, lines: FloatArray, labels: Sequence[Bbox]) -> FloatArray:
    """Return a cost for each point of a line that the label would cover and for each label it would touch."""
    wide, high = box.half_width + box.half_height, box.half_height + 2
    covered = (np.abs(x[:, None] - lines[:, 0]) < wide) & (np.abs(y[:, None] - lines[:, 1]) < high)
    cost = _A_LINE * covered.sum(axis=1)
    for other in labels:
        near = np.abs((other.x0 + other.x1) / 2 - x) < box.half_width + other.width / 2
        cost += _A_LABEL * (near & (np.abs((other.y0 + other.y1) / 2 - y) < box.half_height + other.height / 2))
    return np.asarray(cost)
