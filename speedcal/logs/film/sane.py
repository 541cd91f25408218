"""What no needle does: what was found all around a dial, now here and now there, or beyond its scale."""

from __future__ import annotations

from collections import Counter

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import BoolArray, FloatArray, robust_scale
from speedcal.logs.film.marks import FilmedDial

_JUMP_SHARE, _JUMP_REACH = 0.04, 2
_UNSTEADY_SHARE = 0.01
"""Most usual jump, of the scale; needles that were found have under 0.002."""
_STOP_SHARE = 0.01
_CLEAR_SHARE = 0.0015
"""Of the scale, by which two curves through the marks may differ; next to the end of a scale that is not linear, they
err by two to three times as much."""
_STOP_RAD, _END_RAD, _MOST_BEYOND = 0.5, 0.25, 0.08
"""How far beyond its end marks a needle may stand, and the most frames in which one may seem to stand farther out."""


def refuse_beyond(dial: FilmedDial, on_scale: FloatArray, source: str) -> None:
    """Refuse what goes all around the dial: a reflection or another hand, no needle between two stops."""
    marks = dial.angles()
    beyond = (on_scale < marks[0] - _STOP_RAD) | (on_scale > marks[-1] + _END_RAD)
    if beyond.mean() > _MOST_BEYOND:
        raise ReadingsFormatError("film_needle_beyond", source=source, count=int(beyond.sum()), total=len(beyond))


def refuse_unsteady(value: FloatArray, dial: FilmedDial, source: str) -> None:
    """Refuse what is found now here, now there, as in a film whose pictures are damaged."""
    spread = robust_scale(_jump(value)) / float(np.ptp(dial.values))
    if spread > _UNSTEADY_SHARE:
        raise ReadingsFormatError("film_needle_unsteady", source=source, spread=spread)


def plausible(value: FloatArray, unsure: FloatArray, dial: FilmedDial, left_out: Counter[str]) -> BoolArray:
    """Return which readings to keep: on the scale where it is clear, and without a jump there and back."""
    scale = float(np.ptp(dial.values))
    low, high = dial.values[0], dial.values[-1]
    on_scale = (value > low + _STOP_SHARE * scale) & (value < high + 0.05 * scale)
    smooth = np.abs(_jump(value)) <= _JUMP_SHARE * scale
    clear = unsure <= _CLEAR_SHARE * scale
    left_out["off_scale"] += int((~on_scale).sum())
    left_out["jump"] += int((on_scale & ~smooth).sum())
    left_out["between_marks"] += int((on_scale & smooth & ~clear).sum())
    return np.asarray(on_scale & smooth & clear)


def _jump(value: FloatArray) -> FloatArray:
    """Return how far each value is from the median of those around it, which a needle passes through."""
    padded = np.pad(value, _JUMP_REACH, mode="edge")
    return np.asarray(value - np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * _JUMP_REACH + 1), axis=1))
