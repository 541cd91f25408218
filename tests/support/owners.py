"""Owners with a stopwatch or a phone: files of checks on a dial whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MILE_M, MPH = 1609.344, 0.44704
_SPEEDS = np.linspace(0.0, 130.0, 2601)


@dataclass(frozen=True)
class Owner:
    """One instrument, and what its owner writes down. Speeds in mph."""

    offset: float
    factor: float
    bend: float
    bend_at: float
    bend_wide: float
    rng: np.random.Generator

    @classmethod
    def of(cls, *seed: int) -> Owner:
        """Return an owner whose dial is off by up to 15 %, sits a mph or so wrong and bends by up to 1.5 mph."""
        rng = np.random.default_rng(seed)
        bend = rng.choice((-1.0, 1.0)) * rng.uniform(0.0, 1.5)
        return cls(rng.normal(0, 1.0), rng.uniform(0.9, 1.15), bend, rng.uniform(38, 52), rng.uniform(9, 14), rng)

    def shown(self, true: float | np.ndarray) -> np.ndarray:
        """Return what the dial shows at a true speed."""
        speed = np.asarray(true, float)
        bump = np.exp(-(((speed - self.bend_at) / self.bend_wide) ** 2) / 2)
        return self.offset + self.factor * speed + self.bend * bump

    def held(self, mark: float) -> float:
        """Return the true speed of a run on a mark: held to half a mph, read to a whole one."""
        needle = mark + self.rng.normal(0, 0.5) + self.rng.uniform(-0.5, 0.5)
        return float(np.interp(needle, self.shown(_SPEEDS), _SPEEDS))

    def marks(self) -> tuple[int, ...]:
        """Return the marks held, one after the other."""
        return (35, 50, 60) if self.rng.random() < 0.6 else (40, 60)

    def stopwatch(self) -> str:
        """Return a measured mile each way at every mark; the mile is 0.2 % out, the thumb 0.2 s at each end."""
        mile, rows = 1 + self.rng.normal(0, 0.002), ["dial mph,distance mi,time mm:ss.s"]
        for mark in self.marks() * 2:
            seconds = mile * 3600 / self.held(mark) + self.rng.normal(0, 0.2) - self.rng.normal(0, 0.2)
            rows.append(f"{mark},1,{int(seconds // 60)}:{seconds % 60:04.1f}")
        return "\n".join(rows) + "\n"

    def phone(self) -> str:
        """Return what a phone showed beside the dial: 0.1 m/s off, in whole mph."""
        rows = ["dial mph,phone mph"]
        for mark in self.marks() * 2:
            rows.append(f"{mark},{self.held(mark) + self.rng.normal(0, 0.1 / MPH):.0f}")
        return "\n".join(rows) + "\n"

    def posts(self) -> str:
        """Return mile posts and the time at each; a post stands 5 m wrong, the watch shows whole seconds."""
        rows, now, post = ["mile post,time,dial mph"], 36_000.0, 100
        for mark in self.marks():
            stands = np.arange(4) + self.rng.normal(0, 5.0 / MILE_M, 4)
            for k in range(4):
                now += (stands[k] - stands[k - 1]) * 3600 / self.held(mark) if k else 900.0
                seen = round(now + self.rng.normal(0, 0.2))
                rows.append(f"{post + k},{seen // 3600}:{seen // 60 % 60:02d}:{seen % 60:02d},{mark}")
            post += 10
        return "\n".join(rows) + "\n"
