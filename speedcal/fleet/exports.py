"""What a source is: long tables of many vehicles, as telematics services export them, or drives."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path, PurePath, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from speedcal.errors import FleetError, ReadingsFormatError, SpeedcalError
from speedcal.fleet.addresses import opened, places_at
from speedcal.fleet.sources import JOB, is_log, stem_of_drive, without_results
from speedcal.logs.writing.headers import normal, read_heading

if TYPE_CHECKING:
    from speedcal.logs.source import Source

TEXT = frozenset({".csv", ".tsv", ".txt"})
PARQUET = frozenset({".parquet", ".pq"})
_NAMES = (
    r"vehicle|truck|tractor|trailer|car|bus|van",
    r"asset|machine|equipment|fleet",
    r"registration|license plate|licence plate|plate",
    r"vin",
    r"device|unit|logger|imei",
)
"""What a column that names the vehicle is called, in the order in which one is taken for it."""
_COMPRESSED = frozenset({".gz", ".bz2", ".zst"})
_LOOKED_INTO = 20
"""Files of a folder of which half have to name the vehicle in a column for all of them to be taken for such tables."""
_HEAD_BYTES = 65_536
_LINE_ENDS = {b"\xff\xfe": b"\n\0", b"\xfe\xff": b"\0\n"}
"""Of text in UTF-16, by its first two bytes."""
_POSITION = {"latitude", "longitude"}


def ending(path: str) -> str:
    """Return the ending of a file without that of its compression."""
    suffixes = [suffix.lower() for suffix in PurePosixPath(path).suffixes]
    return next((suffix for suffix in reversed(suffixes) if suffix not in _COMPRESSED), "")


def tables_in(path: str, column: str | None) -> list[str]:
    """Return the long tables that a source is or holds; none where it is or holds something else.

    Parameters
    ----------
    path
        A file or a folder; URLs too.
    column
        Header of the column that names the vehicle; None finds it.
    """
    if ending(path) in TEXT | PARQUET if "://" in path else not Path(path).is_dir():
        return [path] if _is_table(path, column) else []
    files: list[str] = []
    for file in places_at(path)[1].values() if "://" in path else _files_below(path):
        if ending(file) in TEXT | PARQUET:
            files.append(file)
        elif is_log(PurePath(file)) or PurePath(file).name == JOB:
            return []
    several = len({PurePath(file).parent for file in files}) > 1
    some = list(islice(files, _LOOKED_INTO))
    if _are_pairs(files) or not any(_is_table(file, column, several) for file in some):
        return []
    return files if 2 * sum(_is_table(file, column) for file in some) >= len(some) else []


def _files_below(folder: str) -> Iterator[str]:
    for place, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith((".", "_")))
        wanted = (name for name in without_results(sorted(files)) if not name.startswith((".", "_", "~")))
        yield from (os.path.join(place, name) for name in wanted)


def _are_pairs(files: Sequence[str]) -> bool:
    """Tell whether two files are one drive by their names."""
    return len({(PurePath(file).parent, stem_of_drive(PurePath(file))) for file in files}) < len(files)


def _is_table(path: str, column: str | None, several: bool = False) -> bool:
    """Tell whether a file is a long table; ``several``: only one in which several vehicles are seen."""
    kind = ending(path)
    if kind in PARQUET or (kind in TEXT and column is not None):
        return True
    if kind not in TEXT or ("://" not in path and not Path(path).exists()):
        return False
    try:
        header, rows, *_ = text_head(path)
    except (SpeedcalError, OSError, ValueError) as problem:
        if isinstance(problem, FleetError) and problem.code == "address_needs_library":
            raise
        return False
    named = named_columns(header)
    if not named or not {read_heading(name).role for name in header} >= _POSITION:
        return False
    at = header.index(named[0])
    return not several or len({row[at].strip() for row in rows if len(row) > at} - {""}) > 1


class Head(NamedTuple):
    """The beginning of a table of text."""

    header: list[str]
    rows: list[list[str]]
    delimiter: str
    line: int
    """Of the header."""
    encoding: str


def text_head(path: str) -> Head:
    """Return what the beginning of a table tells of it."""
    from speedcal.logs.source import Source, unpack
    from speedcal.logs.tables.delimited import split_rows
    from speedcal.logs.tables.tabular import find_table

    with opened(path) as stream:
        head = stream.read(_HEAD_BYTES)
    if len(head) == _HEAD_BYTES and head[:2] != b"\x1f\x8b":
        line_end = _LINE_ENDS.get(head[:2], b"\n")
        head = head[: head.rfind(line_end) + len(line_end)]
    source = unpack(Source(PurePosixPath(path).name, head, "", ReadingsFormatError), lambda _: "")
    table = find_table(split_rows(source)) or find_table(split_rows(_with_numbers(source)))
    if table is None:
        raise FleetError("no_vehicle_column", source=path)
    encoding = _encoding_of(source.data, source.text())
    return Head(table.header, table.rows, table.delimiter or ",", table.header_line, encoding)


def _with_numbers(source: Source) -> Source:
    """Return a text in which no row is a remark: the first column may hold numbers of vehicles, such as #07."""
    return replace(source, data=re.sub(r"(?m)^\s*#", "", source.text()).encode())


def _encoding_of(data: bytes, text: str) -> str:
    """Return the encoding in which bytes are the text as which they were read."""
    for name in ("utf-8-sig", "utf-16", "cp932"):
        try:
            if data.decode(name).replace("\r\n", "\n").replace("\r", "\n") == text:
                return name
        except UnicodeError:
            continue
    return "cp1252"


def why_no_table(path: str) -> FleetError:
    """Return why a file is no long table."""
    try:
        header = text_head(path).header if ending(path) in TEXT else []
    except (SpeedcalError, OSError, ValueError):
        header = []
    has_vehicle = bool(named_columns(header)) and not {read_heading(name).role for name in header} >= _POSITION
    return FleetError("no_positions_in_table" if has_vehicle else "no_vehicle_column", source=path)


def named_columns(header: Sequence[str]) -> list[str]:
    """Return the columns that may name the vehicle: those of the likeliest name."""
    for names in _NAMES:
        pattern = re.compile(rf"(?:{names})(?: ?(?:id|no\.?|nr\.?|number|name|code|#))?")
        found = [name for name in header if pattern.fullmatch(normal(name))]
        if found:
            return found
    return []


def vehicle_column(path: str, header: Sequence[str], column: str | None) -> int:
    """Return which column names the vehicle.

    Raises
    ------
    FleetError
        None does, or several may.
    """
    if column is not None:
        found = [name for name in header if name.strip().casefold() == column.strip().casefold()]
        if not found:
            raise FleetError("no_such_vehicle_column", source=path, found=column, columns=list(header[:30]))
    else:
        found = named_columns(header)
    if len(found) != 1:
        code = "several_vehicle_columns" if found else "no_vehicle_column"
        raise FleetError(code, source=path, columns=found or list(header[:30]))
    return list(header).index(found[0])
