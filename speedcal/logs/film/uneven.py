"""Marks that cannot all be right: one beside where the others put it, or a tick left out between two."""

from __future__ import annotations

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import FloatArray

_FEWEST = 6
_NEIGHBOURS = 4
_BESIDE_STEP, _BESIDE_U = 0.15, 5.0
"""How far beside its place a mark may be, in steps to the next one and in standard uncertainties of a tap."""
_OTHERS = 1 / 3
"""What is beside must be so alone: the others agree to this share of it once it is left out."""
_CHANGE = 0.08
"""Of the pace of a scale from one step to the next, natural logarithm."""
_WIDER = 1.6
"""How much wider than its neighbours, or narrower, one step may be; a tick left out makes it twice as wide."""


def refuse_uneven(values: FloatArray, angle: FloatArray, u_rad: float, source: str) -> None:
    """Refuse marks of which one, or one step, does not belong to a scale that changes gradually.

    Parameters
    ----------
    values, angle
        Of the marks, both increasing, shape (m,). [any, rad]
    u_rad
        Standard uncertainty of one angle. [rad]
    source
        Name of the dial file.
    """
    if len(values) < _FEWEST:
        return
    mark = _beside(values, angle, u_rad)
    if mark is not None:
        there = float(np.interp(angle[mark], np.delete(angle, mark), np.delete(values, mark)))
        raise ReadingsFormatError("dial_file_beside", source=source, value=float(values[mark]), there=there)
    step = _uneven_step(np.diff(angle) / np.diff(values))
    if step is not None:
        low, high = values[step : step + 2]
        raise ReadingsFormatError("dial_file_step", source=source, low=float(low), high=float(high))


def _beside(values: FloatArray, angle: FloatArray, u_rad: float) -> int | None:
    """Return the mark without which the others agree best, when it is far beside where they put it."""
    away = _away(values, angle)
    others = [_away(np.delete(values, i), np.delete(angle, i)).max() for i in range(1, len(values) - 1)]
    mark = int(np.argmin(others))
    step = min(np.diff(angle)[mark : mark + 2])
    if away[mark] < max(_BESIDE_STEP * step, _BESIDE_U * u_rad) or others[mark] > _OTHERS * away[mark]:
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
