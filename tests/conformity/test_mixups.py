"""Drives given twice, swapped or with the readings of another: refused, and sound pairs left in peace."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest
from support.calibrations import make_calibration

from speedcal.calibration import calibrate
from speedcal.calibration.result import Calibration
from speedcal.conformity import pool, verify
from speedcal.conformity.mixups import check_drives, is_same_drive
from speedcal.errors import JobError, SpeedcalError
from speedcal.logs import Readings, Track
from speedcal.simulate import KINDS, Drive, Plateau, simulate
from speedcal.units import MPH_MPS

WIDE_ENOUGH = {"percent": 4, "unit": "mph", "speeds": [30, 45, 60]}
"""A right instrument passes, one that reads 10 % high does not."""
HOLDS = [Plateau(mark * MPH_MPS, 60.0, readings=5) for mark in (25, 35, 45, 55, 65, 60, 50, 40, 30)]


@dataclass(frozen=True)
class Seen:
    """A measured drive."""

    name: str
    calibration: Calibration
    has_date: bool = True


def moved(drive: Drive, start_s: float) -> Drive:
    """Return the drive as if it had been made at another time."""
    by = round(start_s - float(drive.track.time_s[0]))
    readings = drive.readings
    own = by if readings.clock != "elapsed" else 0
    return replace(
        drive,
        track=replace(drive.track, time_s=drive.track.time_s + by),
        readings=replace(readings, time_s=readings.time_s + own),
    )


def pair_of(kind: str, seed: int, *, hours_apart: float, plan: list[Plateau] | None = None) -> tuple[Drive, Drive]:
    """Return a drive that reads 10 % high and one that reads right, so long after it."""
    before = simulate(kind, 2 * seed, error_factor=1.10, offset_mps=0.3, plan=plan)
    after = simulate(kind, 2 * seed + 1, error_factor=1.01, offset_mps=0.0, plan=plan)
    return before, moved(after, float(before.track.time_s[-1]) + 3600 * hours_apart)


def measured(name: str, track: Track, readings: Readings) -> Seen:
    return Seen(name, calibrate(track, readings))


def sound(kind: str, seed: int) -> tuple[Seen, Seen]:
    hours = float(np.random.default_rng(seed).choice([0.5, 3.0, 30.0, 2000.0]))
    plan = HOLDS if KINDS[kind].readings == "noted" and seed % 3 == 0 else None
    before, after = pair_of(kind, seed, hours_apart=hours, plan=plan)
    return measured("before", before.track, before.readings), measured("after", after.track, after.readings)


SOUND_KINDS = ("noted", "logged", "elapsed", "odometer", "needle offset", "5-second sampling")


def asked_of(seeds: range) -> int:
    """Return how many of the sound pairs are refused or asked about."""
    asked = 0
    for seed in seeds:
        before, after = sound(SOUND_KINDS[seed % len(SOUND_KINDS)], seed)
        try:
            check_drives([before], [after])
        except JobError:
            asked += 1
    return asked


def test_sound_pairs_are_left_in_peace() -> None:
    """Same plan or another, minutes or months apart: none of one of each kind."""
    assert asked_of(range(len(SOUND_KINDS))) == 0


@pytest.mark.benchmark
def test_at_most_two_of_two_hundred_sound_pairs_are_asked_about() -> None:
    """The same on a sample that decides it."""
    assert asked_of(range(200)) <= 2


def copies(drive: Drive) -> Iterator[tuple[Track, Readings]]:
    """Yield the drive as other files would hold it: the same, half the fixes, cut at an end, in another zone."""
    track, readings = drive.track, drive.readings
    yield track, readings
    every_second = np.arange(len(track.time_s)) % 2 == 0
    yield cut(track, every_second), readings
    yield cut(track, track.time_s < track.time_s[0] + 0.7 * np.ptp(track.time_s)), readings
    own = 0.0 if readings.clock == "elapsed" else 3600.0
    yield replace(track, time_s=track.time_s + 3600.0), replace(readings, time_s=readings.time_s + own)


def cut(track: Track, keep: np.ndarray) -> Track:
    columns = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[keep] for name in columns})


def passes(before: list[Seen], after: list[Seen]) -> bool:
    """Tell whether a job of these drives would end in a pass."""
    check_drives(before, after)
    first = pool([drive.calibration for drive in before])
    return verify(first, pool([drive.calibration for drive in after]), WIDE_ENOUGH, work=20 / 22).verdict == "pass"


def wrong_passes(kind: str, seed: int) -> tuple[int, int]:
    """Return how many wrong-file and twice-given cases of one pair there are, and how many end in a pass."""
    before, after = pair_of(kind, seed, hours_apart=26.0)
    right = [measured("before", before.track, before.readings)], [measured("after", after.track, after.readings)]
    cases = [
        lambda: passes(right[0], [replace(right[0][0], name="after")]),
        lambda: passes(right[1], right[0]),
        lambda: passes([replace(right[1][0], name="before")], right[1]),
        lambda: passes(right[0], [measured("after", after.track, before.readings)]),
        lambda: passes([measured("before", before.track, after.readings)], right[1]),
        lambda: passes(right[0], [measured("after", before.track, after.readings)]),
        *(
            lambda track=track, readings=readings: passes(right[0], [*right[1], measured("after 2", track, readings)])
            for track, readings in copies(after)
        ),
    ]
    wrong = 0
    for case in cases:
        try:
            wrong += case()
        except SpeedcalError:
            continue
    return len(cases), wrong


@pytest.mark.parametrize("kind", ["noted", "logged"])
def test_wrong_files_and_drives_given_twice_end_in_no_pass(kind: str) -> None:
    """Every drive under another name, order or packing, and every readings file on another track."""
    assert wrong_passes(kind, 7) == (10, 0)


@pytest.mark.benchmark
def test_two_hundred_wrong_files_and_drives_given_twice_end_in_no_pass() -> None:
    """The same on a sample that decides it, clocks of every kind."""
    kinds = ("noted", "logged", "elapsed", "odometer", "zone unknown")
    counted = [wrong_passes(kind, seed) for kind in kinds for seed in range(20, 24)]
    assert sum(cases for cases, _ in counted) == 200
    assert sum(wrong for _, wrong in counted) == 0


@pytest.fixture(scope="module")
def drives() -> tuple[Drive, Drive]:
    return pair_of("noted", 40, hours_apart=5.0)


def code_of(before: list[Seen], after: list[Seen], **options: object) -> str:
    with pytest.raises(JobError) as caught:
        check_drives(before, after, **options)  # type: ignore[arg-type]
    assert caught.value.problem
    return caught.value.code


def test_each_mix_up_has_its_name(drives: tuple[Drive, Drive]) -> None:
    """Twice, reversed, a copy whose track carries no date, and another drive at the same time."""
    before, after = (measured(n, d.track, d.readings) for n, d in zip(("before", "after"), drives, strict=True))
    assert code_of([before], [replace(before, name="after")]) == "duplicate_drive"
    assert code_of([before], [after, replace(after, name="after 2", has_date=False)]) == "duplicate_drive"
    assert code_of([after], [before]) == "order_reversed"
    at_once = moved(drives[1], float(drives[0].track.time_s[0]))
    assert code_of([before], [measured("after", at_once.track, at_once.readings)]) == "drives_at_once"


def test_a_watch_that_went_hours_otherwise_is_asked_about_unless_the_offset_is_stated() -> None:
    """Written by a wall clock without date or zone: three hours apart from one day to the next."""
    before, after = pair_of("noted", 41, hours_apart=24.0)
    late = replace(after.readings, time_s=after.readings.time_s + 3 * 3600.0)
    seen = [measured("before", before.track, before.readings)]
    then = [Seen("after", calibrate(after.track, late, clock_offset_s=-3 * 3600.0))]
    assert code_of(seen, then) == "clocks_apart"
    check_drives(seen, then, clock_stated={"after"})


def test_a_log_keeps_its_own_time() -> None:
    """Notes by a watch seven hours from the clock of the GPS before the work, a log in UTC after it."""
    before, _ = pair_of("noted", 42, hours_apart=24.0)
    _, after = pair_of("logged", 42, hours_apart=24.0)
    after = moved(after, float(before.track.time_s[-1]) + 86400.0)
    local = replace(before.readings, time_s=before.readings.time_s + 7 * 3600.0)
    seen = [Seen("before", calibrate(before.track, local, clock_offset_s=-7 * 3600.0))]
    check_drives(seen, [measured("after", after.track, after.readings)])


def test_a_plan_that_a_machine_drives_again_on_another_day_is_another_drive() -> None:
    """Equal to the second but for the noise of the receiver; without noise it is a copy with another date."""
    drive, _ = pair_of("logged", 43, hours_apart=24.0)
    again = moved(drive, float(drive.track.time_s[0]) + 3 * 86400.0)
    noise = np.random.default_rng(43).normal(0, 0.1, len(again.track.time_s))
    speed = again.track.speed_mps
    noisy = replace(again.track, speed_mps=np.maximum(speed + noise, 0.0))
    shown = again.readings.speed_mps + np.random.default_rng(44).choice([-1, 0, 1], len(again.readings)) * MPH_MPS
    readings = replace(again.readings, speed_mps=np.maximum(shown, 0.0))
    before = [measured("before", drive.track, drive.readings)]
    check_drives(before, [measured("after", noisy, readings)])
    assert code_of(before, [measured("after", again.track, readings)]) == "duplicate_drive"


def other_receiver(drive: Drive, seed: int) -> Track:
    """Return the drive as a telephone in the same car has it: positions alone, wandering by 2 m within 20 s."""
    rng, track = np.random.default_rng(seed), drive.track
    wander = np.zeros((len(track.time_s), 2))
    for i in range(1, len(wander)):
        wander[i] = np.exp(-1 / 20) * wander[i - 1] + 2 * np.sqrt(1 - np.exp(-2 / 20)) * rng.normal(size=2)
    north, east = np.degrees(wander.T / 6_371_000.0)
    return replace(
        track,
        latitude_deg=track.latitude_deg + north,
        longitude_deg=track.longitude_deg + east / np.cos(np.radians(track.latitude_deg)),
        speed_mps=np.full(len(track.time_s), np.nan),
    )


def test_two_receivers_of_one_drive_are_one_drive_whatever_their_clocks() -> None:
    """Without a date, an hour off, and 1024 weeks early; the same plan driven twice on one day stays two drives."""
    drive = simulate("noted", 45, error_factor=1.1, plan=HOLDS)
    track, first = other_receiver(drive, 45), measured("one", drive.track, drive.readings)
    midnight = 86400 * np.floor(drive.track.time_s[0] / 86400)
    for by, has_date in ((-midnight, False), (3600.0, True), (-1024 * 7 * 86400.0, True)):
        readings = replace(drive.readings, time_s=drive.readings.time_s + by)
        again = calibrate(replace(track, time_s=track.time_s + by), readings)
        assert is_same_drive(first.calibration, again, dated=has_date)
        assert is_same_drive(again, first.calibration, dated=has_date)
    other = moved(simulate("noted", 46, error_factor=1.1, plan=HOLDS), drive.track.time_s[-1] + 3600.0)
    assert not is_same_drive(first.calibration, calibrate(other.track, other.readings), dated=True)


def by_stopwatch(rng: np.random.Generator, start_s: float) -> pd.DataFrame:
    """Return a drive that holds marks for a minute each, within a second or two, the speed wandering by 0.5 m/s."""
    speed = [0.0]
    for mark in 2 * (25, 35, 45, 55, 65):
        held = mark * MPH_MPS * (1 + 0.008 * rng.normal())
        while abs(held - speed[-1]) > 0.6:
            speed.append(speed[-1] + np.sign(held - speed[-1]) * rng.uniform(0.5, 0.9))
        away = 0.0
        for _ in range(round(60 + 1.5 * rng.normal())):
            away = 0.97 * away + 0.12 * rng.normal()
            speed.append(held + away)
    return pd.DataFrame({"time_s": start_s + np.arange(len(speed)), "speed_mps": speed, "piece": 0})


def test_one_plan_driven_twice_by_a_stopwatch_is_two_drives() -> None:
    """The same marks for the same minutes, and only what the speed does within them tells; on one day."""
    drive = simulate("noted", 47)
    first = calibrate(drive.track, drive.readings)
    for seed in range(12):
        rng = np.random.default_rng(seed)
        pair = []
        for start_s in (1.6e9, 1.6e9 + 9000.0):
            ground = by_stopwatch(rng, start_s)
            table = first.readings.assign(time_s=np.linspace(start_s, ground["time_s"].iloc[-1], len(first.readings)))
            pair.append(replace(first, ground=ground, readings=table))
        assert not is_same_drive(*pair, dated=True)


def test_checks_are_the_same_when_they_come_from_one_file() -> None:
    """They have no track, so their content alone tells; under another name it is still the same."""

    def checks(name: str, digest: str) -> Calibration:
        drive = make_calibration(u_factor=0.01)
        return replace(drive, speed_source="checks", sources=((name, digest),), ground=drive.ground.iloc[:0])

    one = checks("checks.csv", "aa")
    assert is_same_drive(one, checks("copy.csv", "aa"), dated=False)
    assert not is_same_drive(one, checks("checks.csv", "bb"), dated=False)
