"""``speedcal report``: run a job and write the page, the picture and the numbers."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli._options import FILE
from speedcal.cli._screen import tell
from speedcal.errors import SpeedcalError
from speedcal.text.codes.command_messages import DRAWING, READING, WITHOUT_IT, WITHOUT_THESE, written
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.jobs import Job, JobResult
    from speedcal.report import Paper


@click.command()
@click.argument("job", type=FILE)
@click.option("--out", "folder", type=FILE, required=True, help="Folder to write; made if missing.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of report.pdf."
)
@click.option("--both-units", is_flag=True, help="Give every figure of the report in the other unit besides.")
@click.option("--json", "as_json", is_flag=True, help="Write the whole result as JSON to standard output too.")
@click.option("--unit", type=click.Choice(["mph", "km/h"]), help="Unit for people; otherwise that of the job.")
def command(job: Path, folder: Path, paper: Paper, both_units: bool, as_json: bool, unit: DisplayUnit | None) -> None:
    r"""Run JOB and write its report into a folder.

    JOB is the TOML file of a job, or the folder with a job.toml in it. Written are report.html, report.pdf (one page),
    before_after.png (and .svg, .pdf), result.json and readings_aligned.csv. Originals stay as they are.

    \b
    Example:
      speedcal report data_demo/job.toml --out result

    A passenger writes the readings down, the driver drives. Keep to the speed limit, on a suitable road.
    Wheels off the ground only on rated stands, with the vehicle secured.
    Local rules on speedometers and odometers come first; a licensed shop where the law asks for one.
    """
    from speedcal.jobs import load_job

    loaded = load_job(job).shown_in(unit)
    try:
        result, paths = _run(loaded, folder, paper, both_units)
    except SpeedcalError as error:
        if not as_json:
            _tell_the_rest(loaded, error)
        raise
    for path in paths:
        click.echo(written(str(path)), err=True)
    if as_json:
        click.echo(json.dumps(result.to_dict(), indent=2, ensure_ascii=False))
    else:
        tell(result.summary())


def _tell_the_rest(job: Job, error: SpeedcalError) -> None:
    """Say what is known without the drives that are refused; the last refusal is left to be told."""
    from speedcal.jobs.remaining import remaining

    result, refusals = remaining(job, error)
    for further in refusals[1:]:
        tell(f"speedcal: {further}", err=True)
    if result is not None:
        tell("\n".join([WITHOUT_THESE if refusals[1:] else WITHOUT_IT, result.summary()]))


def _run(job: Job, folder: Path, paper: Paper, both_units: bool) -> tuple[JobResult, tuple[Path, ...]]:
    """Run a job and write its result, with a progress bar where a person watches."""
    if not sys.stderr.isatty():
        result = job.run()
        return result, result.write(folder, paper=paper, both_units=both_units)
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(READING, total=1.0)
        result = job.run(progress=lambda step, part: bar.update(task, description=step, completed=0.6 * part))
        bar.update(task, description=DRAWING)
        return result, result.write(folder, paper=paper, both_units=both_units)
