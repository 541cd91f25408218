"""Vehicles with one fault each, from the second simulator: what is wrong is found, and the work advised puts it right.

A few jobs in the normal run; `tests/benchmark/run_faults.py` makes the table of many.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from benchmark.mechanic import JobMark, mark_job
from benchmark.outside.dial import Dial
from benchmark.outside.drive import generator, make_drive
from benchmark.outside.faults import FAULTS, faulty_rig, healthy_rig, kind_of_drive
from benchmark.outside_score import in_memory
from scipy import stats

import speedcal
from speedcal.vehicle import Vehicle

FEW = {"tires": True, "gear": False, "pulses": False, "needle": False, "bent": True}
"""Fault, and whether the drive is logged."""
ON_TOP = {True: 0.9, False: 0.75}
AMONG_TWO, PASSES = 0.95, 0.95


@cache
def _few() -> tuple[JobMark, ...]:
    return tuple(mark_job(fault, (5, 0), logged=logged) for fault, logged in FEW.items())


@cache
def _many() -> tuple[JobMark, ...]:
    return tuple(mark_job(f, (3, i), logged=logged) for f in FAULTS for logged in (True, False) for i in range(20))


def _at_least(share: float, n: int) -> int:
    """Return the fewest of n that a true share may show but in one sample of a thousand."""
    return int(stats.binom.ppf(0.001, n, share))


def test_what_is_wrong_is_on_top_and_the_work_advised_ends_in_a_pass() -> None:
    marks = _few()
    assert sum(mark.on_top for mark in marks) >= _at_least(0.85, len(marks)), marks
    assert sum(mark.final == "pass" for mark in marks) >= _at_least(PASSES, len(marks)), marks
    assert not [mark.missing_parts for mark in marks if mark.missing_parts]


@pytest.mark.benchmark
def test_of_many_jobs_what_is_wrong_is_on_top() -> None:
    marks = _many()
    for logged, share in ON_TOP.items():
        some = [mark for mark in marks if mark.logged == logged]
        assert sum(mark.on_top for mark in some) >= _at_least(share, len(some))
    assert sum(mark.among_two for mark in marks) >= _at_least(AMONG_TWO, len(marks))


@pytest.mark.benchmark
def test_of_many_jobs_the_work_advised_ends_in_a_pass() -> None:
    done = [mark for mark in _many() if mark.final]
    assert sum(mark.final == "pass" for mark in done) >= _at_least(PASSES, len(done))
    assert not [mark.missing_parts for mark in done if mark.missing_parts]


@pytest.mark.parametrize("kit", ["cable", "pulses", "module"])
def test_a_vehicle_without_a_fault_reads_right(kit: str) -> None:
    """Within 6 % of the truth at 60 mph: what chain, tires and pointer leave together."""
    for seed in range(5):
        dial = healthy_rig(np.random.default_rng(seed), kit).dial()
        assert abs(float(dial.curve(26.8)) / 26.8 - 1) < 0.06


@pytest.mark.parametrize("fault", list(FAULTS))
def test_every_fault_is_what_its_name_says(fault: str) -> None:
    """A factor of 5 % and more, a needle 3 mph off, a hump of 2 %, a needle that sticks or lags."""
    rig = faulty_rig(np.random.default_rng(3), fault)
    group = FAULTS[fault][0]
    assert (abs(np.log(rig.shaft * (1 - rig.skips))) > 0.03) == (group in ("drivetrain", "pulses_or_unit"))
    assert (abs(rig.pointer.offset_mph) >= 3) == (group == "needle")
    pointer = rig.pointer
    humped = abs(pointer.bend_mph) >= 0.02 * pointer.bend_at_mph
    moves_wrongly = humped or pointer.sticking_mph > 1 or pointer.damping_s > 2
    assert moves_wrongly == (group == "dial")
    assert bool(rig.second) == (group == "readings")


def test_a_log_off_two_dials_is_doubted_and_orders_no_part() -> None:
    """Every other row is of a dial 5 to 10 % apart; the rest of such logs is refused."""
    rng = generator("two dials log", (5, 2))
    rig = replace(healthy_rig(rng, "module"), second="two dials")
    drive = make_drive(kind_of_drive(rng, rig, logged=True), rng, rig.dial())
    calibration = speedcal.calibrate(*in_memory(drive))
    assert calibration.trust.word == "WEAK"
    found = speedcal.correct(calibration, Vehicle.from_dict(rig.stated))
    assert {entry.action for entry in found.advice} <= {"check_files", "drive_again", "measure_fact"}


def test_a_dial_that_is_geared_shows_what_it_showed_at_the_faster_speed() -> None:
    rig = faulty_rig(np.random.default_rng(4), "bent")
    before, after = rig.dial(), rig.geared(1.25).dial()
    assert isinstance(after, Dial)
    np.testing.assert_allclose(after.curve(np.array([10.0, 20.0])), before.curve(np.array([12.5, 25.0])), rtol=1e-9)
