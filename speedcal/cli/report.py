"""``speedcal report``: run a job and write the page, the picture and the numbers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from errno import ENOTDIR
from os import strerror
from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli._drives import refuse, said_of_the_job
from speedcal.cli._options import FILE, emit
from speedcal.cli._waiting import progress_bar
from speedcal.text.codes.command_messages import DRAWING, READING, written
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.jobs.pipeline import Progress
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
    from speedcal.errors import JobError
    from speedcal.jobs import analyse_job, load_job, measure_usable

    if folder.exists() and not folder.is_dir():  # said before a minute is spent on measuring
        raise JobError("result_not_written", source=str(folder), reason=strerror(ENOTDIR))
    loaded = load_job(job).shown_in(unit)
    with _progress() as tell_step:
        known, refused = measure_usable(loaded, progress=tell_step)
    if known is None or refused:
        refuse(refused, lambda: said_of_the_job(known), as_json, writes=True)
    with _progress() as tell_step:
        result = analyse_job(known, progress=tell_step)
        tell_step(DRAWING, 1.0)
        paths = result.write(folder, paper=paper, both_units=both_units)
    for path in paths:
        click.echo(written(str(path)), err=True)
    emit(result, as_json, result.summary())


@contextmanager
def _progress() -> Iterator[Progress]:
    """Give what is told how far the job is."""
    with progress_bar(READING) as move:
        yield lambda step, part: move(description=step, completed=0.6 * part)
