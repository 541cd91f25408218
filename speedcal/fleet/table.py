"""Long tables: one row a fix with what the instrument showed, and a column that names the vehicle; CSV or Parquet.

The table is read in pieces and its rows are put aside by vehicle, so it may be larger than the memory and in any order;
one vehicle at a time is then cut into its drives.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path, PurePath
from typing import Any

from speedcal.errors import FleetError, ReadingsFormatError, SpeedcalError
from speedcal.fleet.addresses import opened
from speedcal.fleet.drive import DriveFiles
from speedcal.fleet.exports import PARQUET, ending, text_head, vehicle_column
from speedcal.fleet.sources import Found
from speedcal.logs.writing.headers import read_heading

_ROWS = 100_000
"""Rows held at a time."""
_PAUSE_S = 600.0
"""A pause longer than this ends a drive: an engine is seldom left to idle for so long with nothing logged."""
_LONGEST_S = 3 * 3600.0
"""A drive is cut here: more of it makes its factor no better than the tires' state from day to day allows."""
_FEWEST_ROWS = 10
_NUMBERED = re.compile(r"\s*(\d{1,2})[./-](\d{1,2})[./-]\d{2,4}(?!\d)")
"""A date of which the order of day and month is open."""
_AS_TEXT = re.compile(r'="(.+)"')
"""A number that a spreadsheet is made to keep as text."""
_MONTHS = 12


def vehicles_of_tables(paths: Sequence[str], column: str | None, aside: Path) -> Iterator[Found]:
    """Yield the vehicles of long tables; one with tables of several forms comes once for each.

    A table that cannot be used is a row of its own, with the reason, unless it is the only one.

    Parameters
    ----------
    paths
        The tables; URLs too.
    column
        Header of the column that names the vehicle; None finds it.
    aside
        Empty folder for the rows of each vehicle and for its drives.

    Raises
    ------
    FleetError
        No column names the vehicle, several may, or the table cannot be read.
    """
    places: dict[tuple[str, tuple[str, ...]], Path] = {}
    witnesses: dict[tuple[str, ...], list[str]] = {}
    for path in paths:
        try:
            for header, rows in _pieces(path, column):
                _put_aside(header, rows, aside, places, witnesses)
        except SpeedcalError as error:
            if len(paths) == 1:
                raise
            name = PurePath(path).name
            yield Found(name, refused=((name, error),))
    for vehicle, names in sorted(places):
        yield _cut(vehicle, list(names), places[vehicle, names], witnesses.get(names))


def _pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    """Yield the header without the vehicle, and vehicle and cells of the rows, piece by piece."""
    try:
        yield from _parquet_pieces(path, column) if ending(path) in PARQUET else _text_pieces(path, column)
    except (OSError, ValueError) as problem:
        raise FleetError("table_not_read", source=path, reason=str(problem).split("\n")[0]) from None


def _parquet_pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    if find_spec("pyarrow") is None:
        raise FleetError("library_missing", source=path, library="pyarrow")
    from pyarrow import parquet

    with opened(path) as stream:
        table = parquet.ParquetFile(stream)
        header = list(table.schema_arrow.names)
        index = vehicle_column(path, header, column)
        for piece in table.iter_batches(batch_size=_ROWS):
            columns = [[_cell(value) for value in piece.column(i).to_pylist()] for i in range(len(header))]
            names = columns.pop(index)
            cells = (list(row) for row in zip(*columns, strict=True))
            yield _without(header, index), zip(names, cells, strict=True)


def _cell(value: Any) -> str:
    """Return a value as text; a number that is whole without a decimal point, as numbers of vehicles are written."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _text_pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    import pandas as pd

    header, _, delimiter, line, encoding = text_head(path)
    index = vehicle_column(path, header, column)
    pieces = pd.read_csv(
        path,
        sep=delimiter,
        header=None,
        names=[str(i) for i in range(len(header))],
        skiprows=line,
        dtype=str,
        keep_default_na=False,
        chunksize=_ROWS,
        encoding=encoding,
        encoding_errors="replace",
    )
    for piece in pieces:
        piece = piece.fillna("")  # a row that ends early
        remarks = piece["0"].str.startswith("#") & (piece.drop(columns="0") == "").all(axis=1)
        piece = piece[~remarks]
        names = piece.pop(str(index)).tolist()
        yield _without(header, index), zip(names, piece.to_numpy().tolist(), strict=True)


def _without(cells: Sequence[str], index: int) -> list[str]:
    return [*cells[:index], *cells[index + 1 :]]


def _put_aside(
    header: list[str],
    rows: Iterable[tuple[str, list[str]]],
    aside: Path,
    places: dict[tuple[str, tuple[str, ...]], Path],
    witnesses: dict[tuple[str, ...], list[str]],
) -> None:
    """Append the rows to the files of their vehicles; rows of nobody are left out.

    Of each form one row is remembered whose date can mean one day only: it tells the order in all others.
    """
    by_vehicle: dict[str, list[list[str]]] = {}
    for written, cells in rows:
        name = written.strip()
        as_text = _AS_TEXT.fullmatch(name)
        if name:
            by_vehicle.setdefault(as_text[1] if as_text else name, []).append(cells)
    if tuple(header) not in witnesses:
        found = next((cells for several in by_vehicle.values() for cells in _telling(header, several)), None)
        witnesses.update({tuple(header): found} if found else {})
    for vehicle, several in by_vehicle.items():
        place = places.setdefault((vehicle, tuple(header)), aside / f"{len(places):06d}.csv")
        with place.open("a", encoding="utf-8", newline="") as out:
            csv.writer(out).writerows(several)


def _telling(header: Sequence[str], rows: Sequence[list[str]]) -> Iterator[list[str]]:
    """Yield the rows whose date has a day above the twelfth, where dates are numbers only."""
    at = [i for i, name in enumerate(header) if read_heading(name).role in {"time", "date"}]
    at = [i for i in at if i < len(rows[0]) and _NUMBERED.match(rows[0][i])]
    for i in at:
        for cells in rows:
            date = _NUMBERED.match(cells[i])
            if date and max(map(int, date.groups())) > _MONTHS:
                yield cells


def _cut(vehicle: str, header: list[str], place: Path, witness: list[str] | None) -> Found:
    """Cut the rows of a vehicle into drives, each a table of its own with its times in UTC.

    ``witness``: a row of the same table, of whichever vehicle, whose date can mean one day only.
    """
    import numpy as np

    from speedcal.logs.tables.tabular import Table
    from speedcal.logs.times.clock_times import UnclearTimesError
    from speedcal.logs.times.time_column import times_in

    with place.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    headings = [read_heading(name) for name in header]
    seen = [*rows, witness] if witness else rows
    table = Table(header, seen, list(range(2, len(seen) + 2)), ",", 1)
    try:
        stamps = times_in(table, headings, None)
    except UnclearTimesError as unclear:
        return Found(vehicle, refused=(("", ReadingsFormatError(unclear.code, source=vehicle)),))
    if stamps.clock not in {"utc", "local"}:
        open_dates = [finding.values["found"] for finding in stamps.findings if finding.code == "date_unclear"]
        error = FleetError("dates_unclear", source=vehicle, found=open_dates[0]) if open_dates else None
        return Found(vehicle, refused=(("", error or FleetError("no_dates_in_table", source=vehicle)),))
    time_s = stamps.time_s[: len(rows)]
    order = np.argsort(time_s, kind="stable")
    order = order[np.isfinite(time_s[order])]
    time_s = time_s[order]
    keep = [i for i, heading in enumerate(headings) if heading.role not in {"time", "date"}]
    drives: list[DriveFiles] = []
    refused: list[tuple[str, SpeedcalError]] = []
    lost = np.flatnonzero(~np.isfinite(stamps.time_s[: len(rows)]))
    if len(lost):
        at = next(i for i, heading in enumerate(headings) if heading.role in {"time", "date"})
        found = rows[lost[0]][at]
        refused.append(("", FleetError("rows_without_time", source=vehicle, count=len(lost), found=found)))
    for part in np.split(np.arange(len(order)), _ends(time_s)):
        if len(part) >= _FEWEST_ROWS:
            name = _stamp(float(time_s[part[0]]))
            path = place.with_name(f"{place.stem}-{len(drives):05d}.csv")
            head = ["time", *(header[i] for i in keep)]
            body = ([_stamp(float(time_s[j])), *(rows[order[j]][i] for i in keep)] for j in part)
            path.write_text(_written(head, body), encoding="utf-8")
            drives.append(DriveFiles(vehicle, name, (str(path),), passing=True))
    place.unlink()
    if not drives and not refused:
        refused.append(("", FleetError("rows_no_drive", source=vehicle, count=len(rows))))
    return Found(vehicle, tuple(drives), tuple(refused))


def _ends(time_s: Any) -> Any:
    """Return where drives begin but for the first: after a pause, and after hours on the road."""
    import numpy as np

    begins = np.flatnonzero(np.diff(time_s) > _PAUSE_S) + 1
    pieces = zip(np.r_[0, begins], np.r_[begins, len(time_s)], strict=True)
    longer = [
        begin + int(np.searchsorted(time_s[begin:end], time_s[begin] + part * _LONGEST_S))
        for begin, end in pieces
        for part in range(1, int((time_s[end - 1] - time_s[begin]) // _LONGEST_S) + 1)
    ]
    return np.union1d(begins, np.array(longer, int))


def _stamp(time_s: float) -> str:
    return datetime.fromtimestamp(round(time_s, 3), UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _written(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([header, *rows])
    return out.getvalue()


def as_parquet(table: Sequence[Mapping[str, Any]]) -> bytes | None:
    """Return the rows of a result as Parquet; None where pyarrow is not installed."""
    if find_spec("pyarrow") is None:
        return None
    import pyarrow
    from pyarrow import parquet

    out = io.BytesIO()
    parquet.write_table(pyarrow.Table.from_pylist([dict(row) for row in table]), out)
    return out.getvalue()
