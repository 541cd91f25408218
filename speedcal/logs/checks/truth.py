"""True speeds of checks, each with its uncertainty: read off, from distance and time, from mile posts, from rpm."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from speedcal.errors import Problem
from speedcal.interval import FloatArray, IntArray, Interval
from speedcal.logs.checks.columns import Column
from speedcal.logs.checks.sheet import CheckSheet
from speedcal.logs.checks.times import run_times
from speedcal.logs.drive.readings_built import Stamps, at_line
from speedcal.logs.tables.tabular import is_missing
from speedcal.logs.times.clock_times import UnclearTimesError, hint_in
from speedcal.logs.times.timestamps import parse_stamps
from speedcal.logs.writing.numbers import Numbers, decimal_step, speed_step
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import LENGTH_UNIT_M, SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

HAND_U_S = 0.2
"""Standard uncertainty of pressing a watch as a post goes by, at each end of a run. [s] Common practice, not verified;
an event one sees coming is timed to 0.07 s (Am. J. Phys. 87, 110, 2019)."""
DISTANCE_U = 0.002
"""Relative standard uncertainty of a measured mile or a distance off a map, which every run over it shares. From
memory: 3 m in a mile."""
POST_U_M = 5.0
"""Standard uncertainty of where a mile post stands, each by itself. [m] From memory."""
RECEIVER_U_MPS = 0.1
"""Standard uncertainty of a receiver's speed: 0.2 m/s at 95 % (NAVSTAR GPS User Equipment Introduction, 3.3)."""
LAG_U_MPS = 0.06
"""What a receiver that shows the speed late is off at a held speed. [m/s] Delays reach 2.2 s (Supej and Cuk, Sensors
14, 23490, 2014), held speeds creep by 0.05 m/s^2 (from memory)."""
RPM_U = 25.0
"""Standard uncertainty of a tachometer read by eye. [1/min] From memory: half a usual division."""
TACHOMETER_U = 0.01
"""Relative standard uncertainty of the tachometer itself and of what slips in the drive. From memory."""
_GUESSED_LENGTHS = ("mi", "km", "m", "ft")
_GUESSED_SPEEDS: tuple[SpeedUnit, ...] = ("mph", "km/h")
_RATIO = late_pattern(r"(\d{1,2}[.,]\d{1,4})(?::1)?")


@dataclass(frozen=True, eq=False)
class Truth:
    """True speeds by one way; arrays of shape (n,), NaN where the way says nothing."""

    way: str
    """Code of the finding that says so."""
    true_mps: FloatArray
    u_mps: FloatArray
    u_common: float
    follows: IntArray
    """Row with which each row shares an end, -1 for none, shape (n,)."""
    cut_mps: FloatArray
    """What each lacks if its last digit was cut off and not rounded."""


def by_receiver(sheet: CheckSheet, shown: FloatArray, dial_unit: SpeedUnit) -> Truth | None:
    """Return true speeds that were read off a phone or another receiver."""
    column = sheet.only("true")
    if column is None:
        return None
    numbers = sheet.numbers(column)
    written = sheet.one_unit(column, parse_speed_unit, column.speed_unit)
    stated = column.speed_unit or (parse_speed_unit(written) if written else None)
    units = (stated,) if stated else tuple(dict.fromkeys((dial_unit, *_GUESSED_SPEEDS)))
    unit = sheet.settle(column, [(u, numbers.values * SPEED_UNIT_MPS[u], u) for u in units], shown)
    true = numbers.values * SPEED_UNIT_MPS[unit]
    step = speed_step(numbers.values[np.isfinite(numbers.values)], unit, held=True)
    u = float(np.hypot(RECEIVER_U_MPS, LAG_U_MPS))
    return _alone("truth_by_receiver", true, np.where(np.isfinite(true), u, np.nan), 0.0, step / 2)


def _alone(way: str, true: FloatArray, u: FloatArray, u_common: float, cut: FloatArray | float) -> Truth:
    return Truth(way, true, u, u_common, np.full(len(true), -1), np.zeros(len(true)) + cut)


def length_of(word: str) -> float | None:
    """Return the metres in a unit of length, None where the word is none."""
    return LENGTH_UNIT_M.get(word.lower())


def lengths(sheet: CheckSheet, column: Column, numbers: Numbers) -> list[tuple[str, FloatArray]]:
    """Return the distances of a column in each unit it may be in, the unit's name first. [m]."""
    written = sheet.one_unit(column, length_of, column.length_m)
    if written:
        return [(written, numbers.values * LENGTH_UNIT_M[written.lower()])]
    if column.length_m is not None:
        return [("", numbers.values * column.length_m)]
    return [(unit, numbers.values * LENGTH_UNIT_M[unit]) for unit in _GUESSED_LENGTHS]


def by_run(sheet: CheckSheet, shown: FloatArray) -> Truth | None:
    """Return true speeds of runs over a known distance: by stopwatch, or from the moments of start and end."""
    distance, time = sheet.only("distance"), sheet.only("time")
    over = time.over_m if time is not None else None
    start, end = sheet.only("start"), sheet.only("end")
    timed = time or (end if start and end else None)
    if timed is None or (distance is None and over is None):
        return None
    if time is not None:
        ways = _stopwatch(sheet, time)
    else:
        assert start is not None and end is not None  # noqa: S101, PT018 - asked above
        ways = [_between(sheet, start, end)]
    far = lengths(sheet, distance, sheet.numbers(distance)) if distance else [("", sheet.nothing)]
    if over is not None:  # the header says the distance where the row does not
        far = [(unit, np.where(np.isnan(metres), over, metres)) for unit, metres in far]
    meant = [
        (" ".join(filter(None, (unit, name))), metres / seconds, (metres, seconds, step))
        for unit, metres in far
        for name, seconds, step in ways
    ]
    metres, seconds, step = sheet.settle(distance if len(far) > 1 and distance else timed, meant, shown)
    metres = np.where(metres > 0, metres, np.nan)
    true = metres / seconds
    between = 0.0 if time is not None else step**2 / 6  # two moments, cut off or rounded alike
    u_s = np.sqrt(2 * HAND_U_S**2 + between)
    cut = -true * step / 2 / seconds if time is not None else 0.0
    return _alone("truth_by_run", true, true * u_s / seconds, DISTANCE_U, cut)


def _stopwatch(sheet: CheckSheet, column: Column) -> list[tuple[str, FloatArray, float]]:
    times = run_times(sheet.cells(column), column.name)
    sheet.problems += [at_line(problem, sheet.table.line[i]) for i, problem in times.problems]
    names = ("",) if len(times.meant) == 1 else ("h:mm:ss", "mm:ss.ss")
    return list(zip(names, times.meant, times.step_s, strict=True))


def _between(sheet: CheckSheet, start: Column, end: Column) -> tuple[str, FloatArray, float]:
    """Return the seconds between the moments of two columns."""
    both = sheet.cells(start) + sheet.cells(end)
    stamps = _moments(sheet, both, f"{start.name} {end.name}")
    half = len(both) // 2
    seconds = (stamps.time_s[half:] - stamps.time_s[:half]) % 86400.0
    return "", np.where(seconds > 0, seconds, np.nan), stamps.resolution_s


def _moments(sheet: CheckSheet, cells: Sequence[str], header: str) -> Stamps:
    try:
        stamps = parse_stamps(cells, header=header)
    except UnclearTimesError as unclear:
        sheet.source.fail(unclear.code, line=sheet.table.header_line)
    count = len(sheet.table.line)
    sheet.problems += [at_line(problem, sheet.table.line[i % count]) for i, problem in stamps.problems]
    return stamps


def by_posts(sheet: CheckSheet, shown: FloatArray) -> Truth | None:
    """Return the true speed from each mile post to the next, where the dial was the same at both.

    A row holds the mile that ends at its post. Where the numbers turn round, the mile that was turned in is no check.
    """
    post, time = sheet.only("post"), sheet.only("time")
    if post is None:
        return None
    if time is None:
        sheet.source.fail("posts_without_times", line=sheet.table.header_line, column=post.name)
    numbers = sheet.numbers(post)
    known = np.flatnonzero(np.isfinite(numbers.values))
    here, there = known[:-1], known[1:]
    meant = []
    for name, seconds, step in _passing(sheet, time):
        with np.errstate(divide="ignore", invalid="ignore"):
            for unit, metres in lengths(sheet, post, numbers)[:2]:  # posts stand a mile or a kilometre apart
                true, passed = sheet.nothing, np.diff(seconds[known])
                true[there] = np.where(passed > 0, np.abs(np.diff(metres[known])) / passed, np.nan)
                meant.append((" ".join(filter(None, (unit, name))), true, (metres, true, step)))
    metres, true, step = sheet.settle(post if post.length_m is None else time, meant, shown)
    gone = np.diff(metres[known])
    turned = np.zeros(len(gone), bool)
    turned[1:] = np.sign(gone[1:]) != np.sign(gone[:-1])
    turned[1:] &= ~turned[:-1]  # the mile after the turn is one again
    steady = (shown[here] == shown[there]) & (gone != 0) & ~turned & np.isfinite(true[there])
    sheet.left_out["mile_not_steady"] += int((~steady).sum())
    kept, follows, distance = sheet.nothing, np.full(len(shown), -1), sheet.nothing
    kept[there[steady]] = true[there[steady]]
    distance[there[steady]] = np.abs(gone[steady])
    follows[there[1:]] = np.where(steady[1:] & steady[:-1], there[:-1], -1)
    u_s = np.sqrt(2 * (HAND_U_S**2 + step**2 / 12))
    seconds = distance / kept
    u = kept * np.sqrt((u_s / seconds) ** 2 + 2 * (POST_U_M / distance) ** 2)
    return Truth("truth_by_posts", kept, u, 0.0, follows, np.zeros(len(shown)))


def _passing(sheet: CheckSheet, column: Column) -> list[tuple[str, FloatArray, float]]:
    """Return the moments of passing, in each way that ``10:32`` can be meant."""
    cells = sheet.cells(column)
    stamps = [parse_stamp(cell) for cell in cells if not is_missing(cell)]
    unclear = bool(stamps) and all(stamp is not None and stamp.kind == "pair" for stamp in stamps)
    hints = ("hh:mm", "mm:ss") if unclear and hint_in(column.name.lower()) is None else ("",)
    found = [(hint, _moments(sheet, cells, f"{column.name} {hint}")) for hint in hints]
    return [(hint, stamps.time_s, stamps.resolution_s) for hint, stamps in found]


def by_rpm(sheet: CheckSheet, shaft_turn_m: Interval | None) -> Truth | None:
    """Return the true speed from engine speed and the ratio of the gear, on a vehicle whose axle and tire are known."""
    rpm, gear = sheet.only("rpm"), sheet.only("gear")
    if rpm is None:
        return None
    if shaft_turn_m is None:
        sheet.source.fail("rpm_without_vehicle", line=sheet.table.header_line, column=rpm.name)
    if gear is None:
        sheet.source.fail("rpm_without_gear", line=sheet.table.header_line, column=rpm.name)
    turns = sheet.numbers(rpm).values
    turns = np.where(turns > 0, turns, np.nan)
    true = turns * shaft_turn_m.value / (60 * _gear_ratios(sheet, gear))
    u = true * np.hypot(RPM_U, decimal_step(turns) / np.sqrt(12)) / turns
    u_common = float(np.hypot(TACHOMETER_U, shaft_turn_m.half_width / 2 / shaft_turn_m.value))
    return _alone("truth_by_rpm", true, u, u_common, 0.0)


def _gear_ratios(sheet: CheckSheet, column: Column) -> FloatArray:
    """Return the ratios of a column; a whole number may be the number of a gear, unless the header says ratio."""
    ratios = sheet.nothing
    whole = "ratio" in column.name.lower()
    for i, cell in enumerate(sheet.cells(column)):
        if is_missing(cell):
            continue
        found = _RATIO.fullmatch(cell)
        if cell.lower() in {"direct", "1:1"} or (whole and re.fullmatch(r"[1-9]", cell)):
            ratios[i] = float(cell) if cell.isdigit() else 1.0
        elif found and float(found[1].replace(",", ".")) > 0:
            ratios[i] = float(found[1].replace(",", "."))
        else:
            sheet.problems.append(Problem("gear_not_a_ratio", line=sheet.table.line[i], found=cell))
    return ratios
