"""The question before buying: what other tires or axle gears will do, and what to order with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from speedcal.calibration.dial import Dial
from speedcal.calibration.result import Calibration
from speedcal.finding import Finding, Trust
from speedcal.interval import FloatArray, Interval
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.prediction import predict_after
from speedcal.vehicle.rolling_circumference import roll_by_convention
from speedcal.vehicle.solver import Corrections, correct
from speedcal.vehicle.vehicle import Criterion, Vehicle, Work


@dataclass(frozen=True)
class Forecast:
    """What planned work does to the instrument, and what would put it right afterwards."""

    work: Work
    gain: Interval
    """Indicated speed after the work divided by that before it."""
    is_measured: bool
    """True when a drive tells how the instrument reads now; False when it is taken to be right now."""
    corrections: Corrections

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast, ready for JSON."""
        return {
            "work": str(self.work),
            "gain": self.gain.to_dict(),
            "instrument_now": "as measured" if self.is_measured else "taken to be right",
            "errors": [dict(row) for row in self.corrections.keep.errors],
            "corrections": self.corrections.to_dict(),
        }

    def __str__(self) -> str:
        now = "as the drive shows" if self.is_measured else "taken to be right"
        lines = [f"planned: {self.work}; the instrument now is {now}"]
        lines.append(
            f"it will read {100 * (self.gain.value - 1):+.1f} % against now "
            f"({100 * (self.gain.low - 1):+.1f} to {100 * (self.gain.high - 1):+.1f})"
        )
        lines += [
            f"  at a true {row['ground']:g} {self.corrections.unit} it will show {row['indicated']:.1f} "
            f"({row['ground'] + row['low']:.1f} to {row['ground'] + row['high']:.1f})"
            for row in self.corrections.keep.errors
        ]
        return "\n".join([*lines, "to put it right with that:", str(self.corrections)])


def forecast(
    vehicle: Vehicle,
    work: Work | Mapping[str, Any],
    *,
    calibration: Calibration | None = None,
    unit: DisplayUnit = "mph",
    speeds: Sequence[float] | FloatArray | None = None,
    criterion: Criterion | None = None,
) -> Forecast:
    """Return what the instrument will show after planned work, and which gear or setting to order with it.

    Parameters
    ----------
    vehicle
        As it is now.
    work
        What is planned, such as ``{"tire": "35x12.50R17LT"}``.
    calibration
        A drive of the vehicle as it is now; None takes the instrument to be right now.
    unit
        Unit for people when there is no drive.
    speeds
        Ground speeds that matter, in the display unit; None takes the driven range, or 30 to 70 mph (50 to 110 km/h).
    criterion
        As in :func:`speedcal.vehicle.solver.correct`.

    Raises
    ------
    VehicleError
        The vehicle does not say what is fitted now where the work changes it.
    """
    plan = work if isinstance(work, Work) else Work.from_dict(work)
    now = calibration if calibration is not None else _right_now(unit)
    after = predict_after(now, vehicle, plan)
    predicted = replace(
        now,
        dial=now.dial.geared(after.gain.value, u_ln_factor=after.gain.u_relative),
        odometer_factor=after.odometer_factor,
        findings=(),
    )
    return Forecast(
        work=plan,
        gain=now.dial.interval(after.gain.value, after.gain.value * after.gain.u_relative),
        is_measured=calibration is not None,
        corrections=correct(predicted, vehicle_after(vehicle, plan), speeds=speeds, criterion=criterion),
    )


def vehicle_after(vehicle: Vehicle, work: Work) -> Vehicle:
    """Return the vehicle as it will be after the work."""
    changes: dict[str, Any] = {
        name: value
        for name in ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "tire", "axle")
        if (value := getattr(work, name)) is not None
    }
    if work.tire is not None:
        changes["rolled"] = work.rolled or roll_by_convention(work.tire)
    if work.settings:
        kept = {item.kind: item for item in vehicle.settings}
        typed = {item.kind: replace(kept.get(item.kind, item), now=item.now) for item in work.settings}
        changes["settings"] = tuple({**kept, **typed}.values())
    return replace(vehicle, **changes)


def _right_now(unit: DisplayUnit) -> Calibration:
    """Return the calibration of an instrument that is right, over the usual range of road speeds."""
    import pandas as pd

    factor = SPEED_UNIT_MPS[unit]
    low, high = (30.0, 70.0) if unit == "mph" else (50.0, 110.0)
    return Calibration(
        unit=unit,
        dial=Dial.straight(0.0, 1.0, np.zeros((2, 2)), used_mps=[low * factor, high * factor]),
        clock_offset_s=None,
        odometer_factor=None,
        scatter_mps=0.0,
        speed_source="recorded",
        trust=Trust("WEAK", (Finding("no_drive"),)),
        readings=pd.DataFrame({"used": np.zeros(0, bool)}),
        ground=pd.DataFrame({"time_s": [], "speed_mps": [], "piece": []}),
        steady_runs=0,
    )
