"""``speedcal correct``: which gear, scaling or setting cancels the error."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._drives import measured, refuse
from speedcal.cli._options import FILE, choice_options, emit_diagnosed, result_options
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.vehicle import Criterion
    from speedcal.vehicle.forward import Forecast


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
    follows from axle, tire, gears and what the instrument expects alone, and says how sure it is. What [work] says was
    done is fitted by now: then its road test comes first.

    \b
    Examples:
      speedcal correct job.toml
      speedcal correct job.toml --speeds 30,50,70 --criterion never-low
      speedcal correct job.toml --planned-tire 35x12.50R17LT

    Wheels off the ground only on rated stands with the vehicle secured. Local rules on speedometers and
    odometers come first; a licensed shop where the law asks for one. The odometer keeps what it shows.
    """
    from speedcal.jobs import load_job
    from speedcal.vehicle import Corrections, Vehicle, Work, correct
    from speedcal.vehicle.forward import forecast

    loaded = load_job(job)
    vehicle = loaded.vehicle or Vehicle()
    planned: dict[str, Any] = {
        key: value for key, value in (("tire", planned_tire), ("axle", planned_axle)) if value is not None
    }

    def found(calibration: Calibration | None) -> Corrections | Forecast:
        shown = calibration.unit if calibration else unit or loaded.unit or "mph"
        wanted = speeds or loaded.speeds_in(shown)
        if planned:
            work = Work.from_dict(planned)
            if loaded.work:  # which is done, and not on the drive before
                names = (*planned, *(["rolled"] if planned_tire else []))
                work = replace(loaded.work, **{name: getattr(work, name) for name in names})
            return forecast(vehicle, work, calibration=calibration, unit=shown, speeds=wanted, criterion=criterion)
        asked = correct(
            calibration, vehicle, speeds=wanted, criterion=criterion, unit=shown, limits=loaded.limits_in(shown)
        )
        return asked.after(loaded.work, is_driven=bool(loaded.after)) if loaded.work else asked

    def rest() -> tuple[dict[str, Any], str]:
        answer = found(known.before if known else None)
        return {"forecast" if planned else "corrections": answer.to_dict()}, str(answer)

    known, refused = measured(loaded.shown_in(unit), phases=("before",)) if loaded.before else (None, ())
    if refused:
        refuse(refused, rest, as_json)
    answer = found(known.before if known else None)
    emit_diagnosed(answer, as_json, answer.diagnosis if isinstance(answer, Corrections) else None)
