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
from pathlib import Path, PurePosixPath
from typing import Any

from speedcal.errors import FleetError, ReadingsFormatError, SpeedcalError
from speedcal.fleet.drive import DriveFiles
from speedcal.fleet.sources import Found
from speedcal.logs.headers import normal, read_heading

_TEXT = frozenset({".csv", ".tsv", ".txt"})
_PARQUET = frozenset({".parquet", ".pq"})
_ROWS = 100_000
"""Rows held at a time."""
_HEAD_BYTES = 65_536
_NAMES = (r"vehicle|truck|car|bus|van", r"vin", r"device|unit|logger")
"""What a column that names the vehicle is called, in the order in which one is taken for it."""
_PAUSE_S = 600.0
"""A pause longer than this ends a drive: an engine is seldom left to idle for so long with nothing logged."""
_LONGEST_S = 3 * 3600.0
"""A drive is cut here: more of it makes its factor no better than the tires' state from day to day allows."""
_FEWEST_ROWS = 10


def is_table(path: str, column: str | None) -> bool:
    """Tell whether a source is a long table of many vehicles, or a folder of such tables."""
    if "://" not in path and Path(path).is_dir():
        if (Path(path) / "job.toml").is_file():
            return False
        files = _files(path)
        return bool(files) and all(is_table(file, column) for file in files)
    ending = _ending(path)
    if ending in _PARQUET or (ending in _TEXT and column is not None):
        return True
    if ending not in _TEXT or ("://" not in path and not Path(path).exists()):
        return False
    try:
        header, _, _ = _text_head(path)
    except (SpeedcalError, OSError, ValueError):
        return False
    has_fixes = {"latitude", "longitude"} <= {read_heading(name).role for name in header}
    return has_fixes and bool(_named_columns(header))


def _ending(path: str) -> str:
    suffixes = [suffix.lower() for suffix in PurePosixPath(path).suffixes]
    return next((suffix for suffix in reversed(suffixes) if suffix not in {".gz", ".bz2", ".zst"}), "")


def _files(folder: str) -> list[str]:
    """Return the files of a folder of tables; nothing when there are other things in it."""
    found = sorted(path for path in Path(folder).iterdir() if not path.name.startswith((".", "_")))
    tables = [path for path in found if path.is_file() and _ending(path.name) in _TEXT | _PARQUET]
    return [str(path) for path in tables] if len(tables) == len(found) else []


def vehicles_of_tables(paths: Sequence[str], column: str | None, aside: Path) -> Iterator[Found]:
    """Yield the vehicles of long tables.

    Parameters
    ----------
    paths
        Tables, or folders of them; URLs too.
    column
        Header of the column that names the vehicle; None finds it.
    aside
        Empty folder for the rows of each vehicle and for its drives.

    Raises
    ------
    FleetError
        No column names the vehicle, several may, or a table cannot be read.
    """
    places: dict[str, Path] = {}
    headers: dict[Path, list[str]] = {}
    for path in paths:
        local = "://" not in path and Path(path).is_dir()
        for file in _files(path) if local else [path]:
            for header, rows in _pieces(file, column):
                _put_aside(header, rows, aside, places, headers)
    for vehicle in sorted(places):
        yield _cut(vehicle, headers[places[vehicle]], places[vehicle])


def _pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    """Yield the header without the vehicle, and vehicle and cells of the rows, piece by piece."""
    try:
        yield from _parquet_pieces(path, column) if _ending(path) in _PARQUET else _text_pieces(path, column)
    except (OSError, ValueError) as problem:
        raise FleetError("table_not_read", source=path, reason=str(problem).split("\n")[0]) from None


def _parquet_pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    if find_spec("pyarrow") is None:
        raise FleetError("library_missing", source=path, library="pyarrow")
    from pyarrow import parquet

    with _opened(path) as stream:
        table = parquet.ParquetFile(stream)
        header = list(table.schema_arrow.names)
        index = _vehicle_column(path, header, column)
        for piece in table.iter_batches(batch_size=_ROWS):
            columns = [[_cell(value) for value in piece.column(i).to_pylist()] for i in range(len(header))]
            names = columns.pop(index)
            cells = (list(row) for row in zip(*columns, strict=True))
            yield _without(header, index), zip(names, cells, strict=True)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _text_pieces(path: str, column: str | None) -> Iterator[tuple[list[str], Iterable[tuple[str, list[str]]]]]:
    import pandas as pd

    header, delimiter, line = _text_head(path)
    index = _vehicle_column(path, header, column)
    pieces = pd.read_csv(
        path,
        sep=delimiter,
        header=None,
        names=[str(i) for i in range(len(header))],
        skiprows=line,
        dtype=str,
        keep_default_na=False,
        chunksize=_ROWS,
        encoding="utf-8-sig",
        comment="#",
    )
    for piece in pieces:
        names = piece.pop(str(index)).tolist()
        yield _without(header, index), zip(names, piece.to_numpy().tolist(), strict=True)


def _text_head(path: str) -> tuple[list[str], str, int]:
    """Return header, delimiter and line of the header, by the beginning of the table."""
    from speedcal.logs.source import Source, unpack
    from speedcal.logs.tabular import find_table, split_rows

    with _opened(path) as stream:
        head = stream.read(_HEAD_BYTES)
    if len(head) == _HEAD_BYTES and head[:2] != b"\x1f\x8b":
        head = head[: head.rfind(b"\n") + 1]
    source = unpack(Source(PurePosixPath(path).name, head, "", ReadingsFormatError), lambda _: False)
    table = find_table(split_rows(source))
    if table is None:
        raise FleetError("no_vehicle_column", source=path)
    return table.header, table.delimiter or ",", table.header_line


def _opened(path: str) -> Any:
    if "://" not in path:
        return Path(path).open("rb")
    if find_spec("fsspec") is None:
        raise FleetError("library_missing", source=path, library="fsspec")
    import fsspec

    return fsspec.open(path, "rb")


def _named_columns(header: Sequence[str]) -> list[str]:
    """Return the columns that may name the vehicle: those of the likeliest name."""
    for names in _NAMES:
        pattern = re.compile(rf"(?:{names})[ _]?(?:id|no|number|name)?")
        found = [name for name in header if pattern.fullmatch(normal(name))]
        if found:
            return found
    return []


def _vehicle_column(path: str, header: Sequence[str], column: str | None) -> int:
    if column is not None:
        found = [name for name in header if name.strip().casefold() == column.strip().casefold()]
        if not found:
            raise FleetError("no_such_vehicle_column", source=path, found=column, columns=list(header[:30]))
    else:
        found = _named_columns(header)
    if len(found) != 1:
        code = "several_vehicle_columns" if found else "no_vehicle_column"
        raise FleetError(code, source=path, columns=found or list(header[:30]))
    return list(header).index(found[0])


def _without(cells: Sequence[str], index: int) -> list[str]:
    return [*cells[:index], *cells[index + 1 :]]


def _put_aside(
    header: list[str],
    rows: Iterable[tuple[str, list[str]]],
    aside: Path,
    places: dict[str, Path],
    headers: dict[Path, list[str]],
) -> None:
    """Append the rows to the files of their vehicles; rows of nobody are left out."""
    by_vehicle: dict[str, list[list[str]]] = {}
    for vehicle, cells in rows:
        if vehicle.strip():
            by_vehicle.setdefault(vehicle.strip(), []).append(cells)
    for vehicle, several in by_vehicle.items():
        place = places.setdefault(vehicle, aside / f"{len(places):06d}.csv")
        known = headers.setdefault(place, header)
        if known != header:
            raise FleetError("headers_differ", source=vehicle, columns=header, others=known)
        with place.open("a", encoding="utf-8", newline="") as out:
            csv.writer(out).writerows(several)


def _cut(vehicle: str, header: list[str], place: Path) -> Found:
    """Cut the rows of a vehicle into drives, each a table of its own with its times in UTC."""
    import numpy as np

    from speedcal.logs.clock_times import UnclearTimesError
    from speedcal.logs.tabular import Table
    from speedcal.logs.time_column import read_times

    with place.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    headings = [read_heading(name) for name in header]
    table = Table(header, rows, list(range(2, len(rows) + 2)), ",", 1)
    try:
        stamps = read_times(table, headings, None)
    except UnclearTimesError as unclear:
        return Found(vehicle, refused=(("", ReadingsFormatError(unclear.code, source=vehicle)),))
    if stamps.clock not in {"utc", "local"}:
        return Found(vehicle, refused=(("", FleetError("no_dates_in_table", source=vehicle)),))
    order = np.argsort(stamps.time_s, kind="stable")
    order = order[np.isfinite(stamps.time_s[order])]
    time_s = stamps.time_s[order]
    keep = [i for i, heading in enumerate(headings) if heading.role not in {"time", "date"}]
    drives: list[DriveFiles] = []
    for part in np.split(np.arange(len(order)), _ends(time_s)):
        if len(part) >= _FEWEST_ROWS:
            name = _stamp(float(time_s[part[0]]))
            path = place.with_name(f"{place.stem}-{len(drives):05d}.csv")
            head = ["time", *(header[i] for i in keep)]
            body = ([_stamp(float(time_s[j])), *(rows[order[j]][i] for i in keep)] for j in part)
            path.write_text(_written(head, body), encoding="utf-8")
            drives.append(DriveFiles(vehicle, name, (str(path),), passing=True))
    place.unlink()
    return Found(vehicle, tuple(drives))


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
