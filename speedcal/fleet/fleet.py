"""A fleet: many vehicles, each with its drives, in one list of those that are wrong."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from speedcal.errors import FleetError
from speedcal.fleet.discoveries import discoveries
from speedcal.fleet.drive import DriveFiles
from speedcal.fleet.remembered import Remembered
from speedcal.fleet.rows import FleetRow, Limits, make_row
from speedcal.fleet.sources import Found, Source, find_vehicles, merged, parted, vehicles_at
from speedcal.fleet.workers import measure_all
from speedcal.interval import tidy
from speedcal.jobs.contents import JobContents
from speedcal.units import DisplayUnit
from speedcal.wording import words

Progress = Callable[[int, int], None]
"""Called with how many drives are done, and how many there are."""

_ASIDE = "speedcal-rows-"
COLUMNS = (
    "vehicle", "drives", "trust", "error_factor", "low", "high", "odometer_factor", "worst_finding", "reason",
    "odometer_low", "odometer_high", "error_percent", "judged_by", "wrong", "new", "p_value", "distance_m", "cost_m",
    "changed_from", "changed_to", "changed_percent", "trend_percent_a_year", "action", "part", "text",
)  # fmt: skip
"""Columns of ``fleet.csv``: one row a vehicle; ``low`` and ``high`` are of the error factor, ``text`` says the worst
finding or the reason in words."""


@dataclass(frozen=True)
class FleetResult:
    """All vehicles, the costliest first, and which of them are wrong.

    Examples
    --------
    >>> import speedcal
    >>> result = speedcal.fleet("data_demo")
    >>> [(row.vehicle, row.drives) for row in result.rows]
    [('data_demo', 2)]
    """

    rows: tuple[FleetRow, ...]
    limits: Limits
    rate: float
    """False discovery rate: the share of those called wrong that, on average, are not. 0 to 1."""
    unit: DisplayUnit | None
    compared: bool = False
    """Whether there was a run before this one."""

    @property
    def wrong(self) -> tuple[FleetRow, ...]:
        """The vehicles that are wrong, the costliest first."""
        return tuple(row for row in self.rows if row.wrong)

    @property
    def new(self) -> tuple[FleetRow, ...]:
        """Those of them that were not in the run before."""
        return tuple(row for row in self.wrong if row.is_new)

    @property
    def without_number(self) -> tuple[FleetRow, ...]:
        """The vehicles without a number."""
        return tuple(row for row in self.rows if row.calibration is None)

    @cached_property
    def display_unit(self) -> DisplayUnit:
        """Unit for people."""
        if self.unit is not None:
            return self.unit
        return next((row.calibration.unit for row in self.rows if row.calibration), "mph")

    def to_dict(self) -> dict[str, Any]:
        """Return the whole result, ready for JSON."""
        rule = self.limits.tolerance
        return {
            "speed_unit": self.display_unit,
            "vehicles": [row.to_dict() for row in self.rows],
            "wrong": [row.vehicle for row in self.wrong],
            "new": [row.vehicle for row in self.new] if self.compared else None,
            "changed": [row.vehicle for row in self.rows if row.changed],
            "without_number": [row.vehicle for row in self.without_number],
            "limits": {
                "low_percent": tidy(100 * self.limits.band[0] - 100, 4),
                "high_percent": tidy(100 * self.limits.band[1] - 100, 4),
                "rule": rule.to_dict() if rule else None,
            },
            "false_discovery_rate": self.rate,
        }

    def table(self) -> list[dict[str, Any]]:
        """Return one row a vehicle, with the columns :data:`COLUMNS`; numbers are numbers, None where there is none."""
        return [_cells(row) for row in self.rows]

    def write(self, folder: str | Path) -> tuple[Path, ...]:
        """Write the list as a table and as a page into a folder; the same result gives the same bytes.

        Parameters
        ----------
        folder
            Made when it is missing; nothing is written outside it.

        Returns
        -------
        tuple of Path
            ``fleet.csv``, ``fleet.html``, ``fleet.json``, and ``fleet.parquet`` where pyarrow is installed.

        Raises
        ------
        FleetError
            The folder cannot be written.
        """
        from speedcal.fleet.overview import render_page
        from speedcal.fleet.table import as_parquet

        table = self.table()
        contents = {
            "fleet.csv": _csv(table).encode(),
            "fleet.html": render_page(self).encode(),
            "fleet.json": (json.dumps(self.to_dict(), ensure_ascii=False, separators=(",", ":")) + "\n").encode(),
            "fleet.parquet": as_parquet(table),
        }
        folder = Path(folder)
        written = []
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, data in contents.items():
                if data is not None:
                    (folder / name).write_bytes(data)
                    written.append(folder / name)
        except OSError as error:
            raise FleetError("folder_not_usable", source=str(folder), reason=error.strerror or str(error)) from None
        return tuple(written)

    def __str__(self) -> str:
        return words().summary(self)


def fleet(
    source: Source | Sequence[Source],
    *,
    vehicle: str | None = None,
    scheduler: str | None = None,
    processes: int | None = None,
    percent: float = 1.0,
    rule: str | None = None,
    rate: float = 0.05,
    unit: DisplayUnit | None = None,
    remember: str | Path | None = None,
    progress: Progress | None = None,
) -> FleetResult:
    """Measure all drives of a fleet and list the vehicles that are wrong.

    A vehicle that fails is a row with its reason. Of those called wrong at most the share ``rate`` is not, on average.

    Parameters
    ----------
    source
        A folder of vehicles (a subfolder each, with drives as pairs of one stem), of job folders, or several of them;
        a long table with a column that names the vehicle. Vehicles may be given as such.
    vehicle
        Column of a long table that names the vehicle; None finds it by its header.
    scheduler
        Address of a dask cluster that runs already; None works on this machine.
    processes
        Processes on this machine; None takes one a processor where there is enough to do.
    percent
        What the distance counted, or a logged speed, may be off either way. [%]
    rule
        Name of a rule for the speed, or for the distance in place of ``percent``.
    rate
        False discovery rate, above 0 and below 1.
    unit
        Unit for people, and of readings whose file names none; None takes that of the readings.
    remember
        Folder in which outcomes are kept by content, so that another run goes on where one stopped.
    progress
        Called after every batch.

    Raises
    ------
    FleetError
        There is no vehicle, or the cluster cannot be reached.
    ToleranceError
        The rule is not known.
    ValueError
        ``percent``, ``rate`` or ``processes`` is out of range.

    Examples
    --------
    >>> import speedcal
    >>> (row,) = speedcal.fleet("data_demo").rows
    >>> row.vehicle, row.drives, row.trust
    ('data_demo', 2, 'TRUSTED')
    """
    if not percent > 0 or not 0 < rate < 1 or (processes is not None and processes < 1):
        raise ValueError("percent must be above 0, rate between 0 and 1, processes at least 1")
    from speedcal.conformity import load_tolerance

    limits = Limits(percent, load_tolerance(rule, unit=unit) if rule is not None else None)
    kept = Path(remember) if remember is not None else None
    with _aside(kept) as aside:
        vehicles = _found(*parted(source), vehicle, kept, aside)
        memory = Remembered(kept)
        try:
            keys = _measured(vehicles, memory, unit, processes=processes, scheduler=scheduler, progress=progress)
            rows = [make_row(one, [(n, memory.outcome(k)) for n, k in keys[one.vehicle]], limits) for one in vehicles]
            rows = _with_verdicts(rows, rate, {one.vehicle: one.job for one in vehicles})
            drives = [key for several in keys.values() for _, key in several]
            before = memory.compare_run(drives, [row.vehicle for row in rows if row.wrong])
        finally:
            memory.close()
    rows = [replace(row, is_new=row.wrong and before is not None and row.vehicle not in before) for row in rows]
    rows.sort(key=lambda row: (not row.wrong, -row.cost_m, row.vehicle))
    return FleetResult(tuple(rows), limits, rate, unit, compared=before is not None)


@contextmanager
def _aside(kept: Path | None) -> Iterator[Path]:
    """Give a folder for what lies in between, made when it is used and gone afterwards, also after a crash."""
    if kept is not None:
        for left in kept.glob(f"{_ASIDE}*"):
            shutil.rmtree(left, ignore_errors=True)
    folder = (Path(tempfile.gettempdir()) if kept is None else kept) / f"{_ASIDE}{os.getpid()}"
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _found(
    paths: Sequence[str], given: Sequence[Found], column: str | None, results: Path | None, aside: Path
) -> list[Found]:
    from speedcal.fleet.table import is_table, vehicles_of_tables

    tables = [path for path in paths if is_table(path, column)]
    found = list(given)
    for path in (path for path in paths if path not in tables):
        if "://" in path:
            found += vehicles_at(path)
        elif Path(path).is_dir():
            found += find_vehicles(Path(path), skip=results)
        elif Path(path).exists():
            raise FleetError("no_vehicle_column", source=path)
        else:
            raise FleetError("source_missing", source=path)
    if tables:
        try:
            aside.mkdir(parents=True)
        except OSError as error:
            raise FleetError(
                "folder_not_usable", source=str(aside.parent), reason=error.strerror or str(error)
            ) from None
        found += vehicles_of_tables(tables, column, aside)
    if not found:
        raise FleetError("no_vehicles", source=", ".join(paths))
    return merged(found)


def _measured(
    vehicles: Sequence[Found],
    memory: Remembered,
    unit: DisplayUnit | None,
    *,
    processes: int | None,
    scheduler: str | None,
    progress: Progress | None,
) -> dict[str, list[tuple[str, str]]]:
    """Measure the drives that are not remembered; return name and key of every drive by vehicle."""
    total = sum(len(one.drives) for one in vehicles)
    found: dict[str, list[tuple[str, str]]] = {one.vehicle: [] for one in vehicles}

    def missing() -> Iterator[DriveFiles]:
        for files in (files for one in vehicles for files in one.drives):
            key = memory.known(files, unit)
            if key is None:
                yield files
            else:
                found[files.vehicle].append((files.name, key))

    for batch in measure_all(missing(), unit, processes=processes, scheduler=scheduler):
        for files, key in memory.keep(batch):
            found[files.vehicle].append((files.name, key))
        if progress is not None:
            progress(sum(map(len, found.values())), total)
    return found


def _with_verdicts(rows: Sequence[FleetRow], rate: float, jobs: Mapping[str, JobContents | None]) -> list[FleetRow]:
    from speedcal.fleet.what_to_do import advise

    chances = np.array([np.nan if row.p_value is None else row.p_value for row in rows])
    judged = [replace(row, wrong=bool(wrong)) for row, wrong in zip(rows, discoveries(chances, rate), strict=True)]
    return [replace(row, advice=advise(row, jobs[row.vehicle])) for row in judged]


def _cells(row: FleetRow) -> dict[str, Any]:
    """Return the row of the table for one vehicle."""
    factor = row.calibration.error_factor.to_dict() if row.calibration else {}
    odometer = row.odometer_factor.to_dict() if row.odometer_factor else {}
    step = row.changed[-1] if row.changed else None
    reason, worst = row.reason, row.findings[0] if row.findings else None
    trend = row.course.trend_percent_a_year
    days = row.to_dict()["changes"][-1] if step else {}
    values = (
        row.vehicle, row.drives, row.trust or None, factor.get("value"), factor.get("low"), factor.get("high"),
        odometer.get("value"), worst.code if worst else None, reason["error"] if reason else None,
        odometer.get("low"), odometer.get("high"), tidy(row.error_percent.value, 3) if row.error_percent else None,
        row.judged_by or None, row.wrong, row.is_new, None if row.p_value is None else float(f"{row.p_value:.3g}"),
        tidy(row.distance_m, 0), tidy(row.cost_m, 0), days.get("from"), days.get("to"),
        tidy(step.percent.value, 3) if step else None, tidy(trend.value, 3) if trend else None,
        row.advice.action if row.advice else None, row.advice.part if row.advice else None,
        reason["text"] if reason else worst.text if worst else None,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _csv(table: Sequence[dict[str, Any]]) -> str:
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for cells in table:
        rows.writerow([_written(value) for value in cells.values()])
    return out.getvalue()


def _written(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value
