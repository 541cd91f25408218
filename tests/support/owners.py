"""Owners with a stopwatch or a phone: files of checks on a dial whose truth is known.

What they do is not what the fit takes them to do: scales wave, hands and eyes differ from owner to owner, phones show
the speed late and round or cut it, some hold the phone's number and read the dial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MILE_M, MPH = 1609.344, 0.44704
KINDS = ("stopwatch", "phone", "posts", "trip")
_SPEEDS = np.linspace(0.0, 150.0, 3001)
_MARKS = (
    ((60,), 0.15),
    ((40, 60), 0.2),
    ((30, 60), 0.15),
    ((30, 45, 60), 0.2),
    ((35, 50, 65), 0.15),
    ((30, 40, 50, 60, 70), 0.15),
)


@dataclass(frozen=True)
class Owner:
    """One instrument, and what its owner writes down. Speeds in mph."""

    rng: np.random.Generator
    offset: float
    factor: float
    wave: float
    period: float
    phase: float
    hold: float
    """How well a speed is held over a run, standard deviation."""
    eye: float
    habit: float
    """What the eye errs in all checks alike."""
    thumb: float
    """How well the watch is pressed at each end, standard deviation. [s]"""

    @classmethod
    def of(cls, *seed: int) -> Owner:
        """Return an owner; in one of ten the needle was put on wrongly, two scales of five are straight."""
        rng = np.random.default_rng(seed)
        return cls(
            rng=rng,
            offset=rng.normal(0, 2.5 if rng.random() < 0.1 else 0.7),
            factor=float(np.exp(rng.normal(0.02, 0.07))),
            wave=0.0 if rng.random() < 0.4 else abs(rng.normal(0, 0.6)),
            period=rng.uniform(45, 110),
            phase=rng.uniform(0, 2 * np.pi),
            hold=float(np.exp(rng.normal(np.log(0.4), 0.45))),
            eye=float(np.exp(rng.normal(np.log(0.25), 0.4))),
            habit=rng.normal(0, 0.15),
            thumb=float(np.exp(rng.normal(np.log(0.15), 0.45))),
        )

    def shown(self, true: float | np.ndarray) -> np.ndarray:
        """Return what the dial shows at a true speed."""
        speed = np.asarray(true, float)
        return self.offset + self.factor * speed + self.wave * np.sin(2 * np.pi * speed / self.period + self.phase)

    def at(self, needle: float) -> float:
        """Return the true speed at which the needle stands there."""
        return float(np.interp(needle, self.shown(_SPEEDS), _SPEEDS))

    def held(self, mark: float) -> float:
        """Return the true speed of a run on a mark."""
        return self.at(mark - self.habit + self.rng.normal(0, np.hypot(self.hold, self.eye)))

    def marks(self) -> tuple[int, ...]:
        """Return the marks held, one after the other."""
        return _MARKS[int(self.rng.choice(len(_MARKS), p=[share for _, share in _MARKS]))][0]

    def runs(self, most: int) -> list[int]:
        """Return the mark of each run, at least two of them."""
        marks = list(self.marks())
        runs = marks * max(int(self.rng.integers(1, most + 1)), 2 if len(marks) == 1 else 1)
        return sorted(runs) if self.rng.random() < 0.4 else runs

    def stopwatch(self) -> str:
        """Return measured miles, or half and two miles, 0.05 to 0.3 % out, by a watch that rounds or cuts."""
        length = self.length()
        miles = float(self.rng.choice([1, 1, 1, 0.5, 2]))
        step, digits = ((0.01, 2), (0.1, 1), (0.1, 1), (0.2, 1), (1.0, 0))[int(self.rng.integers(5))]
        cut, rows = self.rng.random() < 0.4, ["dial mph,distance mi,time mm:ss.s"]
        for mark in self.runs(3):
            seconds = miles * length * 3600 / self.held(mark) + np.diff(self.rng.normal(0, self.thumb, 2))[0]
            seconds = _in_steps(seconds, step, cut=cut)
            rows.append(
                f"{mark},{miles:g},{int(seconds // 60)}:{seconds % 60:0{3 + digits if digits else 2}.{digits}f}"
            )
        return "\n".join(rows) + "\n"

    def length(self) -> float:
        """Return how long a distance is that is called one."""
        return 1 + self.rng.normal(0, self.rng.choice([0.0005, 0.002, 0.003]))

    def phone(self) -> str:
        """Return what a phone showed beside the dial, late by up to 3 s while the speed creeps."""
        step, digits = (1.0, 0) if self.rng.random() < 0.75 else (0.1, 1)
        cut, by_phone = self.rng.random() < 0.25, self.rng.random() < 0.35
        noise, late = float(np.exp(self.rng.normal(np.log(0.12), 0.5))), self.rng.uniform(0.3, 3.0)
        rows = ["dial mph,phone mph"]
        for mark in self.runs(4):
            if by_phone:  # the phone's number is held, the dial is read
                true = mark + self.rng.uniform(-0.5, 0.5) + self.rng.normal(0, self.hold / 2)
                dial = round(float(self.shown(true)) + self.habit + self.rng.normal(0, self.eye))
            else:
                true, dial = self.held(mark), mark
            said = true - late * self.rng.normal(0, 0.12) + self.rng.normal(0, noise)
            rows.append(f"{dial},{_in_steps(said, step, cut=cut):.{digits}f}")
        return "\n".join(rows) + "\n"

    def posts(self) -> str:
        """Return mile posts and the time at each, the needle not let off its mark between them."""
        stands, cut, cruise = self.rng.choice([2, 5, 12]), self.rng.random() < 0.3, self.rng.random() < 0.3
        rows, now, post = (
            ["mile post,time,dial mph"],
            36_000.0 + self.rng.uniform(0, 3600),
            int(self.rng.integers(10, 200)),
        )
        for mark in self.marks():
            count = int(self.rng.integers(2, 6))
            place = np.arange(count) + self.rng.normal(0, stands / MILE_M, count)
            same = mark - self.habit + self.rng.normal(0, np.hypot(self.eye, self.hold * (1.0 if cruise else 0.3)))
            for k in range(count):
                needle = same + self.rng.normal(0, 0.1 if cruise else self.hold)
                now += (place[k] - place[k - 1]) * 3600 / self.at(needle) if k else 900.0
                seen = _in_steps(now + self.rng.normal(0, self.thumb), 1.0, cut=cut)
                rows.append(f"{post + k},{seen // 3600:.0f}:{seen // 60 % 60:02.0f}:{seen % 60:02.0f},{mark}")
            post += count + int(self.rng.integers(1, 5))
        return "\n".join(rows) + "\n"

    def trip(self) -> str:
        """Return the odometer over one to three known distances."""
        length, miles = self.length(), float(self.rng.choice([2, 5, 10, 10, 15, 20]))
        cut, rows = self.rng.random() < 0.5, ["odometer start,odometer end,distance mi"]
        start = self.rng.uniform(1e4, 9e4)
        for _ in range(int(self.rng.integers(1, 4))):
            end = start + self.factor * miles * length
            rows.append(f"{_in_steps(start, 0.1, cut=cut):.1f},{_in_steps(end, 0.1, cut=cut):.1f},{miles:g}")
            start = end + self.rng.uniform(0, 5)
        return "\n".join(rows) + "\n"


def _in_steps(value: float, step: float, *, cut: bool) -> float:
    return float((np.floor(value / step + 1e-9) if cut else np.round(value / step)) * step)
