"""``speedcal explain``: which tires, axle gears or gear teeth would explain the error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._drives import measured, refuse
from speedcal.cli._options import FILE, emit_diagnosed, result_options
from speedcal.errors import JobError
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration import Calibration
    from speedcal.vehicle import Vehicle
    from speedcal.vehicle.diagnosed.diagnosis import Diagnosis


@click.command()
@click.argument("job", type=FILE)
@result_options
@click.option("--most", type=click.IntRange(1, 200), default=10, show_default=True, help="How many to list.")
def command(job: Path, as_json: bool, unit: DisplayUnit | None, most: int) -> None:
    r"""Say what is wrong with the speedometer of JOB, and which parts would explain it.

    First the likely causes, in the drive and in the instrument, with what speaks against each and the one measurement
    that settles it. Then, where the job names a tire or an axle, the combinations of tires, axle gears and teeth. What
    the job states is believed, but not taken for certain: tags get lost and axles get swapped. The beliefs are listed
    with the answer.

    \b
    Example:
      speedcal explain job.toml

    Counting turns needs wheels off the ground: only on rated stands with the vehicle secured, never with the
    engine running. Local rules and licensed practice come first.
    """
    from speedcal.jobs import load_job
    from speedcal.vehicle import Vehicle

    loaded = load_job(job)
    if not loaded.before:
        raise JobError("no_drive_before", source=loaded.source.name)
    known, refused = measured(loaded.shown_in(unit), phases=("before",))
    vehicle = loaded.vehicle or Vehicle()
    before = known.before if known else None
    if before is None or refused:
        refuse(refused, lambda: _explained(before, vehicle, most)[1:] if before else None, as_json)
    causes, shown, text = _explained(before, vehicle, most)
    emit_diagnosed(shown, as_json, causes, text)


def _explained(calibration: Calibration, vehicle: Vehicle, most: int) -> tuple[Diagnosis, dict[str, Any], str]:
    """Return the causes, and with what the parts would explain ready for JSON and as text."""
    from speedcal.vehicle import diagnose
    from speedcal.vehicle.diagnosed.explanations import explain

    causes = diagnose(calibration, vehicle)
    named = vehicle.tire or vehicle.tire_before or vehicle.axle
    parts = explain(calibration, vehicle, most=most) if named else None
    shown = {"diagnosis": causes.to_dict(), **(parts.to_dict() if parts else {"explanations": []})}
    return causes, shown, "\n".join([str(causes), *([str(parts)] if parts else [])])
