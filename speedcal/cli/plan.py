"""``speedcal plan``: the road test that settles a tooth or a verdict."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._drives import measured, refuse
from speedcal.cli._options import (
    FILE,
    SPEED,
    emit_explained,
    explain_option,
    refuse_other,
    result_options,
    say,
    write_file,
)
from speedcal.errors import PlanError
from speedcal.finding import Finding
from speedcal.text.codes.command_messages import written
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.conformity import RoadTestPlan, Tolerance
    from speedcal.jobs import Job, MeasuredJob


@click.command()
@click.argument("job", type=FILE)
@click.option(
    "--speed-limit",
    type=SPEED,
    help="Legal speed on the road, in the unit of the dial. [65 mph or 100 km/h, and no faster than the drive before]",
)
@click.option("--lowest", type=SPEED, help="Lowest mark to hold. [25 mph or 40 km/h]")
@click.option("--question", type=click.Choice(["tooth", "tolerance"]), help="Which tooth, or is the tolerance met.")
@click.option("--assume", multiple=True, metavar="NAME=VALUE", help="Another value for an assumption; may be repeated.")
@click.option("--sheet", type=click.Path(path_type=Path, dir_okay=False), help="Write the sheet to fill in, as PDF.")
@click.option("--table", type=click.Path(path_type=Path, dir_okay=False), help="Write the table to type into, as CSV.")
@explain_option
@result_options
def command(
    job: Path,
    speed_limit: float | None,
    lowest: float | None,
    question: str | None,
    assume: tuple[str, ...],
    sheet: Path | None,
    table: Path | None,
    explain: bool,
    as_json: bool,
    unit: DisplayUnit | None,
) -> None:
    r"""Plan the road test for JOB: speeds to hold, how long, how many readings, in which order.

    The plan answers the tolerance of the job, or without one which tooth is right. With a drive before the work and the
    work itself in the job, marks of the dial are held; else speeds by GPS, since the dial may show anything.

    \b
    Examples:
      speedcal plan job.toml
      speedcal plan job.toml --speed-limit 65 --sheet sheet.pdf --table readings.csv

    The driver drives, a passenger writes. Legal speeds only, by the GPS, on a suitable road.
    Local rules on speedometers, odometers and road tests come first.
    """
    from speedcal.jobs import load_job
    from speedcal.report.road_test_sheet import render_sheet, render_template
    from speedcal.text.results.road_test import in_full

    loaded = load_job(job)
    known, refused = measured(loaded, phases=("before",)) if loaded.before else (None, ())

    def made() -> RoadTestPlan:
        return _plan(
            loaded,
            known,
            unit=unit,
            question=question,
            speed_limit=speed_limit,
            lowest=lowest,
            assumptions=dict(_assumption(text) for text in assume),
        )

    def rest() -> tuple[dict[str, Any], str]:
        without = made()
        return {"plan": without.to_dict()}, str(without)

    if refused:
        refuse(refused, rest, as_json, writes=bool(sheet or table))
    result = made()
    if sheet is not None:
        refuse_other(sheet, b"%PDF", PlanError)
        _write(sheet, render_sheet(result, number=loaded.number, shop=loaded.shop))
    if table is not None:
        empty = render_template(result).encode()
        if table.exists() and table.read_bytes() != empty:
            raise PlanError("file_exists", file=str(table))  # it may be the one that was filled in
        _write(table, empty)
    emit_explained(result, as_json, in_full(result) if explain else None)


def _plan(
    job: Job,
    known: MeasuredJob | None,
    *,
    unit: DisplayUnit | None,
    question: str | None,
    speed_limit: float | None,
    lowest: float | None,
    assumptions: dict[str, float],
) -> RoadTestPlan:
    """Plan the road test by what is known of the dial."""
    from speedcal.conformity import plan
    from speedcal.conformity.planner import usual_limit
    from speedcal.jobs.road_test import held_in

    before = known.before if known else None
    by_gps, shown = held_in(known, job.vehicle, job.work, unit or job.unit)
    result = plan(
        job.vehicle,
        speed_limit=speed_limit if speed_limit is not None else usual_limit(shown, before, job.tolerance),
        unit=shown,
        tolerance=None if question == "tooth" else _tolerance(job, question),
        calibration=before,
        work=job.work,
        lowest=lowest,
        assumptions=assumptions,
        by_gps=by_gps,
    )
    if unit not in (None, shown):
        result = replace(result, findings=(*result.findings, Finding("marks_of_the_dial", unit=shown)))
    return result


def _write(path: Path, data: bytes) -> None:
    write_file(path, data, PlanError)
    say([written(str(path))])


def _tolerance(job: Job, question: str | None) -> Tolerance | None:
    if job.tolerance is None and question == "tolerance":
        raise PlanError("no_tolerance", source=job.source.name)
    return job.tolerance


def _assumption(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise PlanError("assumption_unreadable", found=text) from None
