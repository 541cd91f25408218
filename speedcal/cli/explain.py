"""``speedcal explain``: which tires, axle gears or gear teeth would explain the error."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import click

from speedcal.cli._before import measured_before
from speedcal.cli._options import emit, result_options
from speedcal.units import DisplayUnit


@click.command()
@click.argument("job", type=click.Path(path_type=Path))
@result_options
@click.option("--most", type=click.IntRange(1, 200), default=10, show_default=True, help="How many to list.")
def command(job: Path, as_json: bool, unit: str | None, most: int) -> None:
    r"""Rank what would explain the error of JOB: other tires, other axle gears, other gear teeth.

    What the job states is believed, but not taken for certain: tags get lost and axles get swapped. The beliefs are
    listed with the answer. Where several combinations fit, all are shown with the measurement that would settle it.

    \b
    Example:
      speedcal explain job.toml

    \b
    Counting turns needs wheels off the ground: only on rated stands with the vehicle secured, never with the
    engine running. Local rules and licensed practice come first.
    """
    from speedcal.vehicle.explain import explain

    calibration, vehicle, _ = measured_before(job, cast("DisplayUnit | None", unit))
    emit(explain(calibration, vehicle, most=most), as_json)
