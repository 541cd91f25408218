"""Holds: stretches of a drive in which one mark of the dial may have been held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.calibration.tuning.notes import HOLD_PART_S, HOLD_SETTLING_S, HOLD_STEP_MPS
from speedcal.interval import FloatArray


@dataclass(frozen=True, slots=True)
class Holds:
    """The holds of a drive in order, arrays of shape (k,)."""

    begin_s: FloatArray
    end_s: FloatArray
    speed_mps: FloatArray
    """Mean ground speed."""
    spread_mps: FloatArray
    """Standard deviation of the ground speed within the hold."""

    def __len__(self) -> int:
        return len(self.begin_s)

    @property
    def middle_s(self) -> FloatArray:
        """Middle of each hold."""
        return (self.begin_s + self.end_s) / 2

    @property
    def length_s(self) -> FloatArray:
        """Length of each hold."""
        return self.end_s - self.begin_s


def holds_of(ground: GroundSpeed, runs: SteadyRuns) -> Holds:
    """Return the steady runs, cut where the speed steps from one level to another, without their first seconds.

    A driver who goes from mark to mark 2 mph apart hardly accelerates; and the first seconds at a mark still settle.
    """
    parts: list[tuple[float, float, float, float]] = []
    for begin, end in zip(runs.begin_s, runs.end_s, strict=True):
        clock = np.arange(begin, end + 0.5)
        speed, _, inside = ground.at(clock)
        clock, speed = clock[inside], speed[inside]
        for first, last in _levels(clock, speed):
            late = clock[first:last] >= clock[first] + HOLD_SETTLING_S
            some = speed[first:last][late] if late.sum() >= HOLD_SETTLING_S else speed[first:last]
            parts.append((clock[first], clock[last - 1], float(some.mean()), float(some.std())))
    return Holds(*np.array(parts, float).reshape(-1, 4).T)


def _levels(clock: FloatArray, speed: FloatArray) -> list[tuple[int, int]]:
    """Return the parts of one level, cut in two wherever the means of two long parts differ enough."""
    todo, done = [(0, len(clock))], []
    while todo:
        first, last = todo.pop()
        cut = _cut(clock[first:last], speed[first:last])
        if cut is None:
            if last > first:
                done.append((first, last))
        else:
            todo += [(first, first + cut), (first + cut, last)]
    return sorted(done)


def _cut(clock: FloatArray, speed: FloatArray) -> int | None:
    """Return where the means before and after differ most, None when by too little."""
    total = np.concatenate(([0.0], np.cumsum(speed)))
    at = np.arange(1, len(speed))
    long = (clock[at] - clock[0] >= HOLD_PART_S) & (clock[-1] - clock[at] >= HOLD_PART_S)
    if not long.any():
        return None
    at = at[long]
    apart = np.abs(total[at] / at - (total[-1] - total[at]) / (len(speed) - at))
    best = int(np.argmax(apart))
    return int(at[best]) if apart[best] > HOLD_STEP_MPS else None
