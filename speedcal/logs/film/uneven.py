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
_EVEN = 1e-6
_MOSTLY = 0.6
"""Share of the steps between figures from which on the others are told to be no such step."""
_REACH = 3
_OTHERS = 1 / 3
"""What is beside must be so alone: the others agree to this share of it once it is left out."""
_CHANGE = 0.08
"""Of the pace of a scale from one step to the next, natural logarithm."""
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
    found = _mistyped(values, angle, u_rad)
    mark = _beside(values, angle, u_rad, _BESIDE_PRINTED if are_printed else _BESIDE_STEP)
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
    return [(int(i), float(made[i])) for i in np.flatnonzero(np.abs(made - values) > _EVEN * usual)]


def _through(values: FloatArray, angle: FloatArray, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a polynomial through marks at some figures, and how much errors count there, of the mark itself too."""
    weight = np.array(
        [np.prod([(at - q) / (p - q) for q in np.delete(values, j)], axis=0) for j, p in enumerate(values)]
    )
    return np.asarray(angle @ weight), np.sqrt(1 + np.sum(weight**2, axis=0))


def _beside(values: FloatArray, angle: FloatArray, u_rad: float, share: float) -> int | None:
    """Return the mark without which the others agree best, when it is far beside where they put it."""
    away = _away(values, angle)
    others = [_away(np.delete(values, i), np.delete(angle, i)).max() for i in range(1, len(values) - 1)]
    mark = int(np.argmin(others))
    step = min(np.diff(angle)[mark : mark + 2])
    if away[mark] < max(share * step, _BESIDE_U * u_rad) or others[mark] > _OTHERS * away[mark]:
        return None
    # a mark beside its place makes one step wider and the other narrower; where a scale changes its pace, neither is
    change = np.diff(np.log(np.diff(angle) / np.diff(values)))
    back = [-change[i] * np.sign(change[mark]) for i in (mark - 1, mark + 1) if 0 <= i < len(change)]
    return mark + 1 if min(back) > _CHANGE else None


def _away(values: FloatArray, angle: FloatArray) -> FloatArray:
    """Return how far each inner mark is from the cubic through its neighbours, shape (m - 2,). [rad]."""
    found = []
    for i in range(1, len(values) - 1):
        first = min(max(i - _NEIGHBOURS // 2, 0), len(values) - _NEIGHBOURS - 1)
        near = np.delete(np.arange(first, first + _NEIGHBOURS + 1), i - first)
        apart = (values[near] - values[i]) / (values[near[-1]] - values[near[0]])
        weight = [np.prod([q / (q - p) for q in np.delete(apart, j)]) for j, p in enumerate(apart)]
        found.append(abs(float(np.dot(weight, angle[near])) - float(angle[i])))
    return np.array(found)


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
