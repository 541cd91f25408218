"""``speedcal fleet``: many vehicles in one list."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from speedcal.cli._options import FILE, Number, database_option, emit, result_options
from speedcal.cli._waiting import progress_bar
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.fleet.sources import Found


@click.command()
@click.argument("source", nargs=-1, required=True)
@click.option("--out", "folder", type=FILE, required=True, help="Folder for the result.")
@click.option("--scheduler", metavar="ADDRESS", help="A dask cluster that runs already, such as tcp://10.0.0.5:8786.")
@click.option("--processes", type=click.IntRange(1), help="Processes on this machine; otherwise one a processor.")
@click.option("--vehicle", metavar="COLUMN", help="Column of a long table that names the vehicle.")
@click.option("--column", metavar="NAME", help="Column that holds what the instrument showed, if it is not certain.")
@click.option(
    "--percent",
    type=Number(0, 50, min_open=True),
    default=1.0,
    show_default=True,
    help="What the distance counted, or a logged speed, may be off.",
)
@click.option("--rule", metavar="NAME", help="Rule for the speed shown, or for the distance; see speedcal guide rules.")
@click.option(
    "--false-alarms",
    type=Number(0, 50, min_open=True),
    default=5.0,
    show_default=True,
    help="Per cent of those called wrong that may be right, on average.",
)
@database_option
@result_options
def command(
    source: tuple[str, ...],
    folder: Path,
    scheduler: str | None,
    processes: int | None,
    vehicle: str | None,
    column: str | None,
    percent: float,
    rule: str | None,
    false_alarms: float,
    database: str,
    as_json: bool,
    unit: DisplayUnit | None,
) -> None:
    r"""Measure all drives of many vehicles and list those that count their miles wrong.

    SOURCE is a folder with one subfolder a vehicle, and in it the drives as pairs of one name (day0.gpx, day0.csv); a
    folder of job folders; a long table with a column that names the vehicle; a zip of these; or the data folder of the
    upload page.
    Written are fleet.html, fleet.csv and fleet.json (fleet.parquet where pyarrow is installed). A run that was
    stopped goes on where it was. A vehicle that fails is a row with its reason.

    \b
    Examples:
      speedcal fleet drives --out result
      speedcal fleet month.parquet --vehicle truck --rule us_393_82 --out result
      speedcal fleet /data/drives --out /data/result --scheduler tcp://10.0.0.5:8786
    """
    from speedcal.fleet import fleet

    with progress_bar("measuring drives", total=None) as move, _sources(source, database) as several:
        result = fleet(
            several,
            vehicle=vehicle,
            scheduler=scheduler,
            processes=processes,
            percent=percent,
            rule=rule,
            rate=false_alarms / 100,
            unit=unit,
            column=column,
            remember=folder,
            progress=lambda done, total: move(completed=done, total=total),
        )
    for path in result.write(folder):
        click.echo(f"wrote {path}", err=True)
    emit(result, as_json)


@contextmanager
def _sources(source: tuple[str, ...], database: str) -> Iterator[list[str | Path | Found]]:
    """Give what is to be looked into; of the upload page the jobs, laid out for as long as it takes."""
    from speedcal.fleet.sources import is_page

    pages = [path for path in source if is_page(Path(path))]
    with tempfile.TemporaryDirectory(prefix="speedcal-jobs-") as aside:
        found: list[str | Path | Found] = [path for path in source if path not in pages]
        for number, path in enumerate(pages):
            from speedcal.web.kept.month import page_vehicles

            found += page_vehicles(Path(path), Path(aside) / str(number), database=database)
        yield found
