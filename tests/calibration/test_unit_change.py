"""Logs whose unit changes on the way, as when somebody touched the setting of the display."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.readings.unit_change import unit_change
from speedcal.errors import FitError
from speedcal.simulate import simulate
from speedcal.units import MILE_M

KM = MILE_M / 1000


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("up", [True, False])
def test_the_line_from_which_on_the_unit_is_another_is_named(seed: int, up: bool) -> None:
    """It was WEAK with a factor between, a needle that falls and a tire that changes."""
    drive = simulate("logged", [501, seed])
    readings = drive.readings
    at = int(len(readings) * (0.4 + 0.1 * seed))
    factor = KM if up else 1 / KM
    mixed = np.where(np.arange(len(readings)) < at, readings.speed_mps, factor * readings.speed_mps)
    with pytest.raises(FitError) as refused:
        speedcal.calibrate(drive.track, replace(readings, speed_mps=mixed))
    assert refused.value.code == "unit_changes"
    assert (refused.value.values["before"], refused.value.values["after"]) == (
        ("mph", "km/h") if up else ("km/h", "mph")
    )
    assert refused.value.line is not None
    lines = readings.line[max(at - 60, 0) : at + 60]  # a stop tells nothing of the unit
    assert lines[0] <= refused.value.line <= lines[-1]


@pytest.mark.parametrize("change", [1.0, 1.3, 1.45, 1.8, 2.0])
def test_another_change_is_none_of_the_unit(change: float) -> None:
    """Nor are wrong rows, one in ten of which are of the other unit."""
    rng = np.random.default_rng(7)
    true = 20 + 8 * np.sin(np.arange(400) / 25)
    shown = 1.1 * true * np.where(np.arange(400) < 180, 1.0, change) + rng.normal(0, 0.3, 400)
    assert unit_change(true, shown) is None
    assert unit_change(true, np.where(rng.random(400) < 0.1, KM * shown, shown)) is None


def test_a_few_rows_beside_positions_that_set_in_are_no_other_unit() -> None:
    """On a recorded drive the first six rows showed two thirds of what positions said; then all was well."""
    rng = np.random.default_rng(8)
    true = 20 + 8 * np.sin(np.arange(2000) / 25)
    shown = true + rng.normal(0, 0.3, 2000)
    true[:6] *= KM
    assert unit_change(true, shown) is None
