"""A fleet: many vehicles, each with its drives, in one list of those that are wrong."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from speedcal.errors import FleetError
from speedcal.fleet.discoveries import discoveries
from speedcal.fleet.drive import DriveFiles, given_up, measure_all
from speedcal.fleet.likenesses import with_likenesses, with_shared_drives
from speedcal.fleet.remembered import Remembered
from speedcal.fleet.result import FleetResult
from speedcal.fleet.rows import FleetRow, Limits
from speedcal.fleet.sources import (
    Found,
    Source,
    find_vehicles,
    merged,
    parted,
    refuse_originals,
    vehicles_at,
    with_column,
)
from speedcal.fleet.vehicle import Measured, make_rows, row_of_failure
from speedcal.fleet.what_to_do import is_about_the_dial
from speedcal.fleet.workers import Work, Workers
from speedcal.units import DisplayUnit
from speedcal.vehicle.advised.advice import Advice

Progress = Callable[[int, int], None]
"""Called with how many drives are done, and how many there are."""

_ASIDE = ".speedcal-rows-"
"""Hidden, for the results may lie among the drives."""
DRIVES_A_TASK = 8
_OUTCOMES_A_TASK = 128
"""Measured drives in a task that makes rows of them: to make a row takes some 4 ms a drive."""


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
    column: str | None = None,
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
    column
        Column that holds what the instrument showed, where it is not certain which does.
    remember
        Folder in which outcomes are kept by content, so that another run goes on where one stopped.
    progress
        Called after every batch.

    Raises
    ------
    FleetError
        There is no vehicle, the cluster cannot be reached, or ``remember`` holds files that results would go over.
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
    if kept is not None:
        refuse_originals(kept)
    with _aside(kept) as aside:
        vehicles = [with_column(one, column) for one in _found(*parted(source), vehicle, kept, aside)]
        with closing(Remembered(kept)) as memory, Workers(processes, scheduler) as workers:
            keys = _measured(vehicles, memory, unit, workers, progress)
            rows = _with_verdicts(_rows(vehicles, keys, memory, workers, limits, rate), rate)
            drives = [key for several in keys.values() for _, key in several]
            before = memory.compare_run(drives, [row.vehicle for row in rows if row.wrong])
    rows = with_shared_drives(with_likenesses(rows), keys)
    rows = [replace(row, is_new=row.wrong and before is not None and row.vehicle not in before) for row in rows]
    rows.sort(key=lambda row: (not row.wrong, -row.cost_m, row.vehicle))
    return FleetResult(tuple(rows), limits, rate, unit, compared=before is not None)


@contextmanager
def _aside(kept: Path | None) -> Iterator[Path]:
    """Give a folder for what lies in between, gone afterwards; what a crash left beside the results goes too."""
    if kept is not None:
        for left in kept.glob(f"{_ASIDE}*"):
            shutil.rmtree(left, ignore_errors=True)
    folder = Path(tempfile.mkdtemp(prefix=_ASIDE)) if kept is None else kept / f"{_ASIDE}{os.getpid()}"
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _found(
    paths: Sequence[str], given: Sequence[Found], column: str | None, results: Path | None, aside: Path
) -> list[Found]:
    from speedcal.fleet.archives import unpacked
    from speedcal.fleet.exports import tables_in, why_no_table
    from speedcal.fleet.table import vehicles_of_tables

    found = list(given)
    tables: list[str] = []
    for number, path in enumerate(paths):
        folder = unpacked(path, aside / f"archive{number}")
        files = tables_in(str(folder or path), column)
        tables += files
        if files:
            continue
        if "://" in path:
            found += vehicles_at(path)
        elif folder or Path(path).is_dir():
            inside = aside / f"inside{number}"
            found += find_vehicles(folder or Path(path), skip=results, passing=folder is not None, aside=inside)
        elif Path(path).exists():
            raise why_no_table(path)
        else:
            raise FleetError("source_missing", source=path)
    if tables:
        try:
            (aside / "rows").mkdir(parents=True)
            found += vehicles_of_tables(tables, column, aside / "rows")
        except OSError as error:
            raise FleetError(
                "folder_not_usable", source=str(aside.parent), reason=error.strerror or str(error)
            ) from None
    if not found:
        raise FleetError("no_vehicles", source=", ".join(paths))
    return merged(found)


def _measured(
    vehicles: Sequence[Found], memory: Remembered, unit: DisplayUnit | None, workers: Workers, progress: Progress | None
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

    measuring = Work(
        partial(measure_all, unit=unit), given_up, DRIVES_A_TASK, packed=DriveFiles.packed, may_end_process=True
    )
    for batch in workers.each(missing(), measuring):
        for files, key in memory.keep(batch):
            found[files.vehicle].append((files.name, key))
        if progress is not None:
            progress(sum(map(len, found.values())), total)
    return found


def _rows(
    vehicles: Sequence[Found],
    keys: Mapping[str, Sequence[tuple[str, str]]],
    memory: Remembered,
    workers: Workers,
    limits: Limits,
    rate: float,
) -> list[FleetRow]:
    """Return the rows of the vehicles in their order."""

    def measured() -> Iterator[Measured]:
        for one in vehicles:
            yield Measured(
                one.vehicle,
                len(one.drives) + len(one.refused),
                tuple((name, memory.outcome(key)) for name, key in keys[one.vehicle]),
                tuple((name, error.to_dict()) for name, error in one.refused),
                one.job,
            )

    judging = Work(
        partial(make_rows, limits=limits, rate=rate),
        row_of_failure,
        _OUTCOMES_A_TASK,
        weight=lambda one: max(len(one.outcomes), 1),
    )
    made = {row.vehicle: row for batch in workers.each(measured(), judging) for _, row in batch}
    return [made[one.vehicle] for one in vehicles]


def _with_verdicts(rows: Sequence[FleetRow], rate: float) -> list[FleetRow]:
    """Return the rows with who is wrong; what to do about those that are not falls away."""
    chances = np.array([np.nan if row.p_value is None else row.p_value for row in rows])
    wrong = discoveries(chances, rate)
    return [
        replace(row, wrong=True)
        if named
        else replace(row, advice=row.advice if row.p_value is None or is_about_the_dial(row) else Advice("keep_as_is"))
        for row, named in zip(rows, wrong, strict=True)
    ]
