"""Numbers as they are written, and the steps in which they were rounded before."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.errors import Problem
from speedcal.logs.writing.numbers import decimal_step, parse_numbers, recorded_step, time_step
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit

RNG = np.random.default_rng(11)
ANY_MPS = RNG.uniform(5, 30, 200)


@pytest.mark.parametrize(
    ("cell", "decimal_comma", "grouped", "value"),
    [
        ("45,5 km/h", True, False, 45.5),
        ("45,5", False, False, 45.5),
        ("45.5 mph", True, False, 45.5),
        ("-45,5", True, False, -45.5),
        ("12,345", False, True, 12345.0),
        ("12.345", True, True, 12345.0),
        ("12,345", True, True, 12.345),
        ("12.345", False, True, 12.345),
        ("12.345", True, False, 12.345),
        ("1,234,567", False, True, 1234567.0),
        ("1.234.567,8", True, True, 1234567.8),
        ("12 345.6 mi", False, True, 12345.6),
        ("12'345,6", True, True, 12345.6),
        ("12\u00a0345", False, True, 12345.0),
        ("1.5e3", False, False, 1500.0),
        ("n/a", False, False, None),
    ],
)
def test_a_number_is_read_as_its_marks_tell(cell: str, decimal_comma: bool, grouped: bool, value: float | None) -> None:
    """By hand: which of comma and point is the decimal mark, and whether thousands may be grouped (an odometer)."""
    found = parse_numbers(["7", cell], decimal_comma=decimal_comma, grouped=grouped)
    assert found.problems == []
    np.testing.assert_allclose(found.values, [7.0, np.nan if value is None else value], rtol=1e-15)


@pytest.mark.parametrize("cell", ["1,234,567", "45,5,5", "45.5 furlongs", "1 2", "fast", "1e999", ",", "4-5"])
def test_what_is_no_speed_is_a_problem(cell: str) -> None:
    """A speed has no thousands to group; what is too large for a number is none."""
    found = parse_numbers(["7", cell], decimal_comma=False)
    assert found.problems == [(1, Problem("cell_not_a_number", found=cell))]
    np.testing.assert_array_equal(found.values, [7.0, np.nan])


@pytest.mark.parametrize("part", [1.0, 0.5])
@pytest.mark.parametrize("unit", ["km/h", "mph", "kn", "m/s"])
def test_recorded_speeds_tell_the_step_they_were_rounded_to(unit: SpeedUnit, part: float) -> None:
    """Converted and written with three decimals since; what stands still is a multiple of everything."""
    step = part * SPEED_UNIT_MPS[unit]
    speed = np.concatenate((np.zeros(50), np.round(np.round(ANY_MPS / step) * step, 3)))
    assert recorded_step(speed) == pytest.approx(step, rel=1e-12)
    assert recorded_step(np.append(speed, np.nan)) == pytest.approx(step, rel=1e-12)


def test_fine_speeds_few_speeds_and_speeds_of_two_steps_have_no_step() -> None:
    whole = np.round(ANY_MPS)
    assert recorded_step(np.concatenate((np.zeros(5000), ANY_MPS))) == 0
    assert recorded_step(np.concatenate((np.zeros(5000), whole[:5]))) == 0
    assert recorded_step(np.concatenate((whole[:180], ANY_MPS[180:]))) == 0


@pytest.mark.parametrize("decimals", range(6))
def test_numbers_tell_their_last_decimal(decimals: int) -> None:
    values = np.append(np.round(RNG.uniform(-100, 100, 300), decimals), [np.nan, np.inf, 1e12])
    assert decimal_step(values) == pytest.approx(10.0**-decimals)


def test_numbers_without_a_last_decimal_have_no_step() -> None:
    assert decimal_step(RNG.uniform(-100, 100, 300)) == 0
    assert decimal_step(np.array([np.nan, 1e12])) == 0


@pytest.mark.parametrize("step", [60.0, 1.0, 0.1, 0.01, 0.001])
def test_times_tell_a_step_coarser_than_they_are_written(step: float) -> None:
    """From the fifth on, and only where all of them follow it."""
    times = 1_600_000_000 // step * step + step * np.array([0, 1, 2, 7, 11, 13])
    times -= times[0] if step < 0.1 else 0.0  # a double of seconds since 1970 ends at a microsecond
    assert time_step(times, 1e-6) == step
    assert time_step(np.append(times, np.nan), 1e-6) == step
    assert time_step(times[:4], 1e-6) == 1e-6
    assert time_step(np.append(times, times[-1] + 0.37 * step), 1e-6) < step
