"""``speedcal explain``: which tires, axle gears or gear teeth would explain the error."""

from __future__ import annotations

from pathlib import Path

import click

from speedcal.cli._before import measured_before
from speedcal.cli._options import FILE, emit_diagnosed, result_options
from speedcal.units import DisplayUnit


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
    from speedcal.vehicle import diagnose
    from speedcal.vehicle.diagnosed.explanations import explain

    calibration, vehicle, _ = measured_before(job, unit)
    causes = diagnose(calibration, vehicle)
    named = vehicle.tire or vehicle.tire_before or vehicle.axle
    parts = explain(calibration, vehicle, most=most) if named else None
    shown = {"diagnosis": causes.to_dict(), **(parts.to_dict() if parts else {"explanations": []})}
    emit_diagnosed(shown, as_json, causes, "\n".join([str(causes), *([str(parts)] if parts else [])]))
