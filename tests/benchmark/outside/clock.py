"""The clock of the readings: how far it is off, how it drifts, and how finely it is written down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmark.outside.wander import Array, to_step

DAY_S = 86400.0
_ZONES_H = (-11, -8, -7, -6, -5, -4, -3, -1, 0, 1, 2, 3, 3.5, 4.5, 5.5, 5.75, 7, 8, 9, 9.5, 10, 12, 13)


@dataclass(frozen=True)
class ClockStyle:
    """What kind of clock."""

    kind: str = "utc"
    """``utc``, ``local`` (date, no zone), ``time of day``, ``elapsed`` or ``none``."""
    off_s: float = 30.0
    """Even, either way."""
    off_hours: tuple[int, ...] = ()
    """Whole hours a clock may be off besides (a forgotten change to summer time)."""
    drift: float = 0.0
    """Seconds lost a second."""
    step_s: float = 1.0


@dataclass(frozen=True)
class Clock:
    """One clock: reading clock + ``offset_s`` = GPS clock, at the middle of the readings."""

    style: ClockStyle
    offset_s: float
    drift: float
    middle_s: float

    def stamps(self, time_s: Array) -> Array:
        """Return what the clock says at true times, as written."""
        said = time_s - self.offset_s - self.drift * (time_s - self.middle_s)
        return to_step(said, self.style.step_s, down=self.style.step_s >= 1)


def draw_clock(rng: np.random.Generator, style: ClockStyle, first_s: float, last_s: float) -> Clock:
    """Return a clock for readings between two true times."""
    off = rng.uniform(-1, 1) * style.off_s
    if style.off_hours:
        off += 3600.0 * rng.choice(style.off_hours)
    if style.kind in ("local", "time of day"):
        off -= 3600.0 * rng.choice(_ZONES_H)
    if style.kind == "elapsed":
        off = first_s - rng.uniform(0, 90)
    if style.kind == "time of day":
        off += np.floor((first_s - off) / DAY_S) * DAY_S
    drift = style.drift * rng.choice((-1, 1))
    return Clock(style, float(off), float(drift), (first_s + last_s) / 2)
