"""One drive of a kind, with its truth."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field, replace

import numpy as np
from benchmark.outside.clock import ClockStyle, draw_clock
from benchmark.outside.dial import Dial, DialStyle, draw_dial
from benchmark.outside.driver import DriverStyle, Motion, drive_road
from benchmark.outside.passenger import UNIT_MPS, LoggerStyle, PassengerStyle, Taken, log, note
from benchmark.outside.receiver import Fixes, ReceiverStyle, receive
from benchmark.outside.road import Road, RoadStyle, draw_road
from benchmark.outside.wander import MPH, Array

MILE_M = 1609.344


@dataclass(frozen=True)
class HeldStyle:
    """Marks held one after the other and listed without times."""

    marks_mph: tuple[int, ...] = (25, 30, 35, 40, 45, 50, 55, 60, 65)
    count: tuple[int, int] = (7, 12)
    repeats: tuple[int, int] = (1, 1)
    """Each hold is listed so many times."""
    seconds: tuple[float, float] = (35.0, 110.0)
    held_mph: float = 0.4
    """How well the driver keeps the needle on the mark, one hold."""
    rising: float = 0.3
    """Share of lists that go up in order."""
    missed: int = 0
    """Most holds that are not in the list."""
    extra: int = 0
    """Most marks in the list that were not held."""


@dataclass(frozen=True)
class Kind:
    """One kind of drive."""

    about: str
    answer: bool = True
    """There is a right answer; without one no number is right."""
    weak: bool = False
    """A number is right only when it is called WEAK."""
    road: RoadStyle = field(default_factory=RoadStyle)
    driver: DriverStyle = field(default_factory=DriverStyle)
    receiver: ReceiverStyle = field(default_factory=ReceiverStyle)
    dial: DialStyle = field(default_factory=DialStyle)
    reader: PassengerStyle | LoggerStyle | HeldStyle = field(default_factory=PassengerStyle)
    clock: ClockStyle = field(default_factory=ClockStyle)
    odometer_notes: bool = False
    second: str = ""
    """Whose readings they are, when not this vehicle's alone: ``other drive``, ``same road``, ``convoy``, ``two
    dials``, ``another part``, ``two passengers``, ``shuffled``."""
    track: str = "drive"
    """``drive``, ``walk`` or ``parked``."""
    told: dict[str, str] = field(default_factory=dict)
    """What no data can show, and somebody would say when asked."""


@dataclass(frozen=True)
class Notes:
    """The readings as written."""

    clock: str
    step_s: float
    stamp_s: Array
    """On their clock: seconds since 1970, since a midnight or since the start; NaN without times."""
    value: Array
    """In the unit."""
    unit: str
    odometer_mi: Array


@dataclass(frozen=True)
class Truth:
    """What really was."""

    dial: Dial
    clock_offset_s: float
    """Reading clock + this = GPS clock, at the middle of the readings."""
    time_s: Array
    """True time of each reading (for a held mark the middle of its hold)."""
    speed_mps: Array
    """True speed then (over the hold: the mean); NaN for a mark that was not held."""
    wrong: Array
    motion: Motion

    def reading(self, speed_mps: Array | float) -> Array:
        """Return what the dial shows at a true speed, at rest and seen square on. [m/s]."""
        return self.dial.curve(speed_mps)

    def factor(self, speed_mps: Array) -> float:
        """Return the slope of the least-squares line through the dial over these true speeds."""
        off = speed_mps - speed_mps.mean()
        return float(off @ self.dial.curve(speed_mps) / (off @ off))


@dataclass(frozen=True)
class OutsideDrive:
    """A drive: what a user brings, and the truth."""

    kind: Kind
    fixes: Fixes
    notes: Notes
    truth: Truth


def generator(name: str, seed: tuple[int, ...]) -> np.random.Generator:
    """Return the random numbers of one drive of a kind."""
    return np.random.default_rng([zlib.crc32(name.encode()), *seed])


def make_drive(kind: Kind, rng: np.random.Generator, dial: Dial | None = None) -> OutsideDrive:
    """Return one drive of a kind, with an instrument of its own or the one given."""
    dial = dial or draw_dial(rng, kind.dial)
    start = 1.55e9 + float(rng.integers(0, 500_000_000))
    if isinstance(kind.reader, HeldStyle):
        return _held_drive(kind, kind.reader, rng, dial, start)
    road = draw_road(rng, kind.road)
    motion = drive_road(rng, road, kind.driver, start)
    fixes = _fixes(rng, kind, road, motion)
    taken, source = _taken(rng, kind, road, motion, dial)
    clock = draw_clock(rng, kind.clock, float(taken.time_s[0]), float(taken.time_s[-1]))
    stamp = clock.stamps(taken.written_s)
    if kind.second == "two passengers":
        stamp[1::2] += rng.uniform(4, 16) * rng.choice((-1, 1))
    notes = Notes(
        clock=kind.clock.kind,
        step_s=kind.clock.step_s,
        stamp_s=np.round(stamp, 3),
        value=taken.value,
        unit=taken.unit,
        odometer_mi=_odometer(rng, kind, source, dial, taken.time_s),
    )
    late = float(np.mean(taken.written_s - taken.time_s))
    truth = Truth(dial, clock.offset_s - late, taken.time_s, source.speed_at(taken.time_s), taken.wrong, motion)
    return OutsideDrive(kind, fixes, notes, truth)


def _fixes(rng: np.random.Generator, kind: Kind, road: Road, motion: Motion) -> Fixes:
    """Return the track: of the drive, or of a walk or a parked vehicle in its place."""
    if kind.track == "drive":
        return receive(rng, motion, road, kind.receiver)
    speed = np.zeros(len(motion.time_s))
    if kind.track == "walk":
        speed = np.clip(1.35 + 0.2 * np.sin(motion.time_s / 37) + 0.15 * rng.standard_normal(len(speed)), 0, 3)
    way = np.cumsum(speed) * (motion.time_s[1] - motion.time_s[0])
    return receive(rng, Motion(motion.time_s, speed, way), road, kind.receiver)


def _taken(rng: np.random.Generator, kind: Kind, road: Road, motion: Motion, dial: Dial) -> tuple[Taken, Motion]:
    """Return the readings, and the motion of the vehicle they were taken in."""
    source = motion
    if kind.second == "other drive":
        source = drive_road(rng, draw_road(rng, kind.road), kind.driver, float(motion.time_s[0]))
    elif kind.second == "same road":
        source = drive_road(rng, road, kind.driver, float(motion.time_s[0]))
    elif kind.second == "convoy":
        behind = drive_road(rng, road, kind.driver, float(motion.time_s[0]))
        lag = rng.uniform(1.5, 4.0)
        speed = 0.7 * motion.speed_at(behind.time_s - lag) + 0.3 * np.interp(
            motion.place_at(behind.time_s - lag), behind.place_m, behind.speed_mps
        )
        source = Motion(behind.time_s, speed, np.cumsum(speed) * (behind.time_s[1] - behind.time_s[0]))
    needle = dial.course(source)
    take = log if isinstance(kind.reader, LoggerStyle) else note
    taken = take(rng, source, needle, kind.reader)  # type: ignore[operator]
    if kind.second == "shuffled":
        taken = replace(taken, value=taken.value[rng.permutation(len(taken.value))])
    if kind.second == "two dials":
        other = draw_dial(rng, kind.dial)
        apart = rng.choice((-1, 1)) * rng.uniform(0.05, 0.1)
        other = replace(other, factor=dial.factor + apart)
        unit = UNIT_MPS[taken.unit]
        seen = np.round(np.interp(taken.time_s, source.time_s, other.course(source)) / unit)
        second = np.arange(len(seen)) % 2 == 1
        taken = replace(taken, value=np.where(second, seen, taken.value))
    if kind.second == "another part":
        count = len(taken.value)
        begin, length = (int(count * rng.uniform(*share)) for share in ((0.15, 0.55), (0.2, 0.4)))
        apart = 1 + rng.choice((-1, 1)) * rng.uniform(0.025, 0.06)
        value = taken.value.copy()
        value[begin : begin + length] = np.round(value[begin : begin + length] * apart)
        taken = replace(taken, value=value)
    if kind.second == "two passengers":
        slant = rng.choice((-1, 1)) * rng.uniform(0.7, 1.5)
        value = taken.value.copy()
        value[1::2] = np.maximum(np.round(value[1::2] + slant), 0)
        taken = replace(taken, value=value)
    return taken, source


def _odometer(rng: np.random.Generator, kind: Kind, source: Motion, dial: Dial, time: Array) -> Array:
    """Return the odometer in tenths of a mile as some of the notes carry it."""
    shown = np.full(len(time), np.nan)
    if not kind.odometer_notes:
        return shown
    total = rng.uniform(2_000, 150_000) + dial.odometer_factor * source.place_at(time) / MILE_M
    noted = rng.random(len(time)) < 0.25
    noted[[0, -1]] = True
    shown[noted] = np.round(np.floor(total[noted] * 10) / 10, 1)
    return shown


def _held_drive(kind: Kind, style: HeldStyle, rng: np.random.Generator, dial: Dial, start: float) -> OutsideDrive:
    """Return a drive on which marks of the dial were held one after the other."""
    count = int(rng.integers(style.count[0], style.count[1] + 1))
    marks = rng.permutation(np.resize(style.marks_mph, count)).astype(float)
    if rng.random() < style.rising:
        marks = np.sort(marks)
    on_needle = marks * MPH + style.held_mph * MPH * rng.standard_normal(len(marks))
    legs = [(float(v), rng.uniform(*style.seconds)) for v in dial.inverse(on_needle)]
    road = draw_road(rng, replace(kind.road, radius_m=(900.0, 2500.0), stop_share=0.15), legs)
    motion = drive_road(rng, road, kind.driver, start)
    fixes = receive(rng, motion, road, kind.receiver)
    ends = np.concatenate(([0.0], road.leg_m))
    time, speed = [], []
    for begin, end, (level, _) in zip(ends[:-1], ends[1:], legs, strict=True):
        here = (motion.place_m >= begin) & (motion.place_m <= end) & (np.abs(motion.speed_mps - level) < 0.9)
        time.append(float(motion.time_s[here].mean()) if here.any() else np.nan)
        speed.append(float(motion.speed_mps[here].mean()) if here.any() else level)
    order = np.arange(len(marks))
    missed = rng.permutation(order)[: rng.integers(0, style.missed + 1)]
    order = order[~np.isin(order, missed)]
    order = np.repeat(order, rng.integers(style.repeats[0], style.repeats[1] + 1, len(order)))
    value, true, when = marks[order], np.array(speed)[order], np.array(time)[order]
    for _ in range(int(rng.integers(0, style.extra + 1))):
        place = int(rng.integers(0, len(value)))
        value = np.insert(value, place, rng.choice(style.marks_mph))
        true, when = np.insert(true, place, np.nan), np.insert(when, place, np.nan)
    nothing = np.full(len(value), np.nan)
    notes = Notes("none", np.nan, nothing, value, "mph", nothing)
    return OutsideDrive(kind, fixes, notes, Truth(dial, np.nan, when, true, np.isnan(true), motion))
