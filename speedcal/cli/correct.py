"""``speedcal correct``: which gear, scaling or setting cancels the error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._before import measured_before
from speedcal.cli._options import FILE, choice_options, emit, emit_diagnosed, result_options
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.vehicle import Criterion


@click.command()
@click.argument("job", type=FILE)
@result_options
@choice_options
@click.option("--planned-tire", help="Answer for this tire size, still to be fitted.")
@click.option("--planned-axle", help="Answer for these axle gears, still to be fitted, such as 45/11.")
def command(
    job: Path,
    as_json: bool,
    unit: DisplayUnit | None,
    speeds: tuple[float, ...] | None,
    criterion: Criterion | None,
    planned_tire: str | None,
    planned_axle: str | None,
) -> None:
    r"""Find what puts the instrument of JOB right: gears, ratio box, pulse scaler or module setting.

    Every choice is judged by the errors it would leave at the speeds that matter, those of [tolerance] when it names
    some; what to do first stands on top. JOB has as much of [vehicle] as is known; without a [before] drive the answer
    follows from axle, tire, gears and what the instrument expects alone, and says how sure it is.

    \b
    Examples:
      speedcal correct job.toml
      speedcal correct job.toml --speeds 30,50,70 --criterion never-low
      speedcal correct job.toml --planned-tire 35x12.50R17LT

    Wheels off the ground only on rated stands with the vehicle secured. Local rules on speedometers and
    odometers come first; a licensed shop where the law asks for one. The odometer keeps what it shows.
    """
    from speedcal.jobs import load_job
    from speedcal.vehicle import Vehicle, correct
    from speedcal.vehicle.forward import forecast

    loaded = load_job(job)
    vehicle, calibration = loaded.vehicle or Vehicle(), None
    shown = unit or loaded.unit or "mph"
    if loaded.before:
        calibration, vehicle, job_speeds = measured_before(job, unit)
    else:
        job_speeds = loaded.speeds_in(shown)
    speeds = speeds or job_speeds
    planned: dict[str, Any] = {
        key: value for key, value in (("tire", planned_tire), ("axle", planned_axle)) if value is not None
    }
    if planned:
        emit(
            forecast(vehicle, planned, calibration=calibration, unit=shown, speeds=speeds, criterion=criterion), as_json
        )
    else:
        found = correct(
            calibration,
            vehicle,
            speeds=speeds,
            criterion=criterion,
            unit=shown,
            limits=loaded.limits_in(calibration.unit if calibration else shown),
        )
        emit_diagnosed(found, as_json, found.diagnosis)
