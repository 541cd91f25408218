"""Marks that cannot all be right: one beside where the others put it, or a tick left out between two."""

from __future__ import annotations

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import FloatArray

_FEWEST = 6
_NEIGHBOURS = 4
_BESIDE_STEP, _BESIDE_PRINTED, _BESIDE_U = 0.15, 0.05, 5.0
"""How far beside its place a mark may be, in steps to the next one, as tapped and as printed, and in standard
uncertainties of its angle."""
_LINEAR, _CHANCE, _SHORT = 0.03, 5.0, 0.35
"""How much the steps of a linear scale differ, what taps add in standard uncertainties of an angle, and how much the
step at an end must differ to be meant so."""
_EVEN = 1e-6
_MOSTLY = 0.6
"""Share of the steps between figures from which on the others are told to be no such step."""
_REACH = 3
_OTHERS = 1 / 3
"""What is beside must be so alone: others are so by less than this share of it."""
_BACK = 0.25
"""Share of a change of pace that is taken back beside it; half of it where one mark is beside its place."""
_WIDER = 1.6
"""How much wider than its neighbours, or narrower, one step may be; a tick left out makes it twice as wide."""


def refuse_uneven(
    values: FloatArray, angle: FloatArray, u_rad: float, source: str, *, are_printed: bool = False
) -> None:
    """Refuse marks of which one, or one step, does not belong to a scale that changes gradually.

    Parameters
    ----------
    values, angle
        Of the marks, both increasing, shape (m,). [any, rad]
    u_rad
        Standard uncertainty of one angle. [rad]
    source
        Name of the dial file.
    are_printed
        Whether the angles are those of printed strokes, so that less is beside them by chance.
    """
    if len(values) < _FEWEST:
        return
    share = _BESIDE_PRINTED if are_printed else _BESIDE_STEP
    found = _mistyped(values, angle, u_rad) or _beside_at_end(values, angle, u_rad, share)
    mark = _beside(values, angle, u_rad, share)
    if found is None and mark is not None:
        found = mark, float(np.interp(angle[mark], np.delete(angle, mark), np.delete(values, mark)))
    if found is not None:
        raise ReadingsFormatError("dial_file_beside", source=source, value=float(values[found[0]]), there=found[1])
    step = _uneven_step(np.diff(angle) / np.diff(values))
    if step is not None:
        low, high = values[step : step + 2]
        raise ReadingsFormatError("dial_file_step", source=source, low=float(low), high=float(high))


def _mistyped(values: FloatArray, angle: FloatArray, u_rad: float) -> tuple[int, float] | None:
    """Return the mark that breaks the even steps of the figures, and the figure that would not, when that is its place.

    The tick stands where the others put the even figure, and not where they put the one that was given.
    """
    step = np.diff(values)
    usual = float(np.median(step))
    if np.mean(np.abs(step - usual) < _EVEN * usual) < _MOSTLY:
        return None
    for i, even in _evenly(values, usual):
        others, turned = np.delete(values, i), np.delete(angle, i)
        near = np.argsort(np.abs(others - even), kind="stable")[: _REACH if i in (0, len(values) - 1) else _NEIGHBOURS]
        (at, given), noise = _through(others[near], turned[near], np.array([even, values[i]]))
        away = abs(angle[i] - at), abs(angle[i] - given)
        if away[1] > _BESIDE_U * noise[0] * u_rad and away[0] < _OTHERS * away[1]:
            return i, even
    return None


def _evenly(values: FloatArray, usual: float) -> list[tuple[int, float]]:
    """Return the marks whose figures break the even steps around them, with the figures that would not."""
    inner = (values[:-2] + values[2:]) / 2
    fits = np.abs(values[2:] - values[:-2] - 2 * usual) < _EVEN * usual
    made = np.concatenate([[values[1] - usual], np.where(fits, inner, values[1:-1]), [values[-2] + usual]])
    if values[0] == 0:  # figures of many dials begin at 0 and go on at 20
        made[0] = 0.0
    return [(int(i), float(made[i])) for i in np.flatnonzero(np.abs(made - values) > _EVEN * usual)]


def _through(values: FloatArray, angle: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a polynomial through marks at some figures, and how much errors count there, of the mark itself too."""
    weight = np.array(
        [np.prod([(at - q) / (p - q) for q in np.delete(values, j)], axis=0) for j, p in enumerate(values)]
    )
    return np.asarray(angle @ weight), np.sqrt(1 + np.sum(weight**2, axis=0))


def _beside(values: FloatArray, angle: FloatArray, u_rad: float, share: float) -> int | None:
    """Return the mark that is far beside where those next to it put it, while no other is so by a third as much.

    A mark beside its place makes one step wider and the other narrower, so that the pace of the scale changes there and
    back on both sides; where a scale changes its pace for good, it does not change back.
    """
    rate = np.diff(angle) / np.diff(values)
    change = np.diff(np.log(rate))
    back = np.array([_back(change, i) for i in range(len(change))])
    mark = int(np.argmax(np.abs(change) * (back > 0)))
    far = np.flatnonzero(np.abs(np.arange(len(change)) - mark) > 2)
    others = [min(abs(change[i] - change[i - 1]), abs(change[i] - change[i + 1])) for i in far[1:-1]]
    pace = np.minimum(rate[:-1], rate[1:])[mark]
    away = float(np.abs(change[mark])) * pace * min(np.diff(values)[mark : mark + 2]) / 2
    least = max(share * min(np.diff(angle)[mark : mark + 2]), _BESIDE_U * u_rad)
    if away < least or back[mark] < _BACK or max(others, default=0.0) > _OTHERS * np.abs(change[mark]):
        return None
    return mark + 1


def _back(change: FloatArray, i: int) -> float:
    """Return how much of a change of pace is taken back on either side of it, as a share, at the least."""
    return min(-change[j] / change[i] if change[i] else 0.0 for j in (i - 1, i + 1) if 0 <= j < len(change))


def _beside_at_end(values: FloatArray, angle: FloatArray, u_rad: float, share: float) -> tuple[int, float] | None:
    """Return the last mark of a linear scale, or the first above 0, when it is beside it, and where it stands."""
    rate = np.diff(angle) / np.diff(values)
    for end, others in ((len(values) - 1, slice(None, -1)), (0, slice(1, None))):
        pace, step = float(np.median(rate[others])), abs(angle[end] - angle[others][-1 if end else 0])
        chance = _CHANCE * u_rad / float(np.min(np.diff(angle)))
        away = float(rate[-1 if end else 0]) / pace - 1
        is_linear = np.ptp(rate[others]) < (_LINEAR + chance) * pace
        if is_linear and values[end] and max(share * step, _BESIDE_U * u_rad) < abs(away) * step < _SHORT * step:
            beside = values[others][-1 if end else 0]
            return end, float(beside + (values[end] - beside) * (1 + away))
    return None


def _uneven_step(rate: FloatArray) -> int | None:
    """Return the step, first of two it may be, that is wider or narrower than those beside; at the ends only wider."""
    for width in (1, 2):
        for i in range(1, len(rate) - width):
            here, beside = rate[i : i + width], (rate[i - 1], rate[i + width])
            if here.min() > _WIDER * max(beside) or here.max() < min(beside) / _WIDER:
                return i
    for end, (first, second, third) in ((0, rate[:3]), (len(rate) - 1, rate[:-4:-1])):
        if first / second > _WIDER * max(second / third, 1.0) ** 2:
            return end
    return None
