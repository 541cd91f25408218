"""What a logger or a passenger makes of the instrument of a drive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.simulate.model import DriveKind, Truth, distance_m
from speedcal.units import MILE_M, SPEED_UNIT_MPS

LOG_JITTER_S = 0.02
STANDING_MPS = 0.5
"""Below this the instrument shows zero."""
ODOMETER_STEP_M = MILE_M / 10
DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Dial:
    """Everything the readings are taken from."""

    kind: DriveKind
    rng: np.random.Generator
    factor: float
    offset: float
    grid_s: FloatArray
    ground: FloatArray
    plateaus: list[tuple[float, float, float]]
    planned: list[int]

    def _truth(self, time: FloatArray, ground: FloatArray, wrong: BoolArray, clock_offset_s: float) -> Truth:
        return Truth(
            self.factor,
            self.offset,
            clock_offset_s,
            time,
            ground,
            wrong,
            tuple(self.plateaus),
            self.grid_s,
            self.ground,
        )

    def held(self, marks_mps: FloatArray) -> tuple[Readings, Truth]:
        """Return the marks that were held, in order, without times."""
        noted = np.isfinite(marks_mps)
        spans = np.array(self.plateaus)[noted]
        readings = self._readings(np.full(noted.sum(), np.nan), marks_mps[noted], np.nan, np.full(noted.sum(), np.nan))
        return readings, self._truth(spans[:, :2].mean(axis=1), spans[:, 2], np.zeros(len(spans), np.bool_), np.nan)

    def timed(self, zone_s: float) -> tuple[Readings, Truth]:
        """Return the readings that a logger or a passenger took."""
        kind, rng = self.kind, self.rng
        time = self._logged_times() if kind.readings == "logged" else self._noted_times()
        ground = np.interp(time, self.grid_s, self.ground, left=0.0, right=0.0)
        pointer = self.offset + self.factor * ground + rng.normal(0, 1, len(time)) * kind.sd_mps
        unit = SPEED_UNIT_MPS[kind.unit]
        shown = np.maximum(np.round(np.where(ground < STANDING_MPS, 0.0, pointer) / unit), 0.0)
        wrong = np.zeros(len(time), np.bool_)
        wrong[rng.permutation(len(time))[: int(kind.wrong_share * len(time) + rng.random())]] = kind.wrong_share > 0
        shown[wrong] = _misread(shown[wrong], rng)
        odometer = np.full(len(time), np.nan)
        if kind.odometer:
            noted = rng.random(len(time)) < 0.2
            noted[[0, -1]] = True
            driven = np.interp(time, self.grid_s, distance_m(self.grid_s, self.ground)) * self.factor
            total = rng.uniform(1000, 99000) * MILE_M + driven
            odometer[noted] = np.floor(total[noted] / ODOMETER_STEP_M) * ODOMETER_STEP_M
        clock_offset_s = self._clock_offset_s(time[0], zone_s)
        stamp = time - clock_offset_s + rng.normal(0, 1, len(time)) * kind.time_sd_s
        # A passenger writes the minute that the clock shows; seconds and finer are rounded.
        to_step = np.floor if kind.time_resolution_s >= 60 else np.round
        stamp = to_step(stamp / kind.time_resolution_s) * kind.time_resolution_s
        if kind.clock == "time of day":
            midnight = np.floor(stamp[0] / DAY_S) * DAY_S
            stamp, clock_offset_s = stamp - midnight, clock_offset_s + midnight
        return self._readings(stamp, shown * unit, kind.time_resolution_s, odometer), self._truth(
            time, ground, wrong, clock_offset_s
        )

    def _logged_times(self) -> FloatArray:
        first, last = self.grid_s[0] + self.rng.uniform(-20, 40), self.grid_s[-1] + self.rng.uniform(-40, 20)
        time = np.arange(first, last, self.kind.interval_s)
        return time + np.clip(self.rng.normal(0, LOG_JITTER_S, len(time)), -0.05, 0.05)

    def _noted_times(self) -> FloatArray:
        """Return one time in each of as many equal slots of the time under way; a plan says how many where."""
        if any(self.planned):
            slots: list[FloatArray] = [
                np.linspace(begin + 5, end, n + 1)[:-1] + self.rng.uniform(0, 0.8, n) * (end - begin - 5) / max(n, 1)
                for (begin, end, _), n in zip(self.plateaus, self.planned, strict=True)
            ]
            return np.concatenate(slots)
        moving = self.grid_s[self.ground > 3.0]
        n = int(self.rng.integers(self.kind.count[0], self.kind.count[1] + 1))
        where = (np.arange(n) + self.rng.uniform(0.1, 0.9, n)) / n * len(moving)
        return np.asarray(moving[where.astype(int)] + self.rng.uniform(0, 0.1, n))

    def _clock_offset_s(self, first_s: float, zone_s: float) -> float:
        """Return what must be added to the reading clock; a wall clock counts from 1970 as if it were UTC."""
        kind, rng = self.kind, self.rng
        if kind.clock == "elapsed":
            return float(first_s - rng.uniform(0, 120))
        error = float(rng.uniform(-1, 1) * kind.clock_range_s)
        return error - zone_s if kind.clock in ("local", "time of day") else error

    def _readings(self, stamp: FloatArray, shown_mps: FloatArray, step_s: float, odometer_m: FloatArray) -> Readings:
        kind = self.kind
        return Readings(
            time_s=stamp,
            clock=kind.clock,
            time_resolution_s=step_s,
            speed_mps=shown_mps,
            speed_unit=kind.unit,
            speed_resolution_mps=SPEED_UNIT_MPS[kind.unit],
            odometer_m=odometer_m,
            odometer_resolution_m=ODOMETER_STEP_M if kind.odometer else np.nan,
            line=np.arange(2, len(stamp) + 2),
            kind="table",
            source="simulated readings",
        )


def _misread(shown: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return speeds as they are written down wrongly: two digits swapped, or ten off."""
    swapped = 10 * (shown % 10) + shown // 10
    ten_off = shown + 10 * np.where(shown < 20, 1, rng.choice((-1, 1), len(shown)))
    swap = (rng.random(len(shown)) < 0.5) & (swapped != shown) & (shown < 100)
    return np.asarray(np.where(swap, swapped, ten_off))
