"""JSON logs: one object a line, a list of objects, or lists somewhere inside an object; also long form and GeoJSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import tzinfo
from typing import Any

from speedcal.logs import limits
from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.long_form import long_table
from speedcal.logs.readings import Readings
from speedcal.logs.source import Source
from speedcal.logs.table_readings import read_table
from speedcal.logs.table_tracks import read_table_track
from speedcal.logs.tabular import Rows, Table
from speedcal.logs.track import Track

_DEEPEST = 12
_PLACES = ("longitude", "latitude", "altitude")
"""What the numbers of a GeoJSON position are, in their order."""
_FEWEST = 2


def _rows(source: Source) -> Rows:
    """Return the longest list of objects in the file as rows under a header of their keys."""
    records = _records(source)
    header: dict[str, int] = {}
    flat: list[dict[str, str]] = []
    cells = 0
    for record in records:
        row = {name: text for name, text in _flat(record, "", 0) if text != ""}
        for name in row:
            if name not in header:
                header[name] = len(header)
        cells += len(row)
        if len(header) > limits.MAX_COLUMNS:
            source.fail("too_many", what="columns", most=limits.MAX_COLUMNS)
        if len(flat) >= limits.MAX_POINTS or cells > limits.MAX_CELLS:
            source.fail("too_many", what="rows", most=limits.MAX_POINTS)
        flat.append(row)
    if len(header) * len(flat) > 4 * limits.MAX_CELLS:
        source.fail("too_many", what="cells", most=limits.MAX_CELLS)
    names = list(header)
    body = [[row.get(name, "") for name in names] for row in flat]
    return Rows([names, *body], list(range(len(body) + 1)), ",")


def _records(source: Source) -> list[Mapping[str, Any]]:
    text = source.text().strip()
    try:
        return _longest(json.loads(text), 0)
    except RecursionError:
        source.fail("file_damaged", what="json", reason="nested too deep")
    except ValueError as error:
        whole: Exception = error
    records: list[Mapping[str, Any]] = []
    for number, line in enumerate(text.split("\n"), 1):
        line = line.strip().rstrip(",")
        if not line or line in "[]":
            continue
        try:
            found = json.loads(line)
        except (ValueError, RecursionError):
            if number == 1 or len(records) < _FEWEST:
                source.fail("file_damaged", line=number, what="json", reason=str(whole)[:200])
            break  # a line that was cut off at the end
        if isinstance(found, Mapping):
            records.append(found)
    return records


def _longest(value: Any, depth: int) -> list[Mapping[str, Any]]:
    """Return the longest list of objects, or an object of equally long lists turned round."""
    if depth > _DEEPEST:
        return []
    if isinstance(value, list):
        own = [item for item in value if isinstance(item, Mapping)]
        if len(own) >= _FEWEST:
            return own
        return max((_longest(item, depth + 1) for item in value), key=len, default=[])
    if isinstance(value, Mapping):
        lists = {key: item for key, item in value.items() if isinstance(item, list) and len(item) >= _FEWEST}
        lengths = {len(item) for item in lists.values()}
        plain = all(not isinstance(part, (list, Mapping)) for item in lists.values() for part in item[:3])
        if len(lists) > 1 and len(lengths) == 1 and plain:
            return [dict(zip(lists, parts, strict=True)) for parts in zip(*lists.values(), strict=True)]
        found = max((_longest(item, depth + 1) for item in value.values()), key=len, default=[])
        return found or [value]
    return []


def _flat(value: Any, name: str, depth: int) -> Iterator[tuple[str, str]]:
    """Yield the values of an object under their names; a number beside its unit takes the unit into its name."""
    if depth > _DEEPEST:
        return
    if isinstance(value, Mapping):
        unit = value.get("unit", value.get("units"))
        if isinstance(unit, str) and "value" in value and depth:
            yield from _flat(value["value"], f"{name} {unit}", depth + 1)
            return
        for key, item in value.items():
            inner = str(key)[:60]
            if inner in {"geometry", "properties", "coords"} or not name:
                inner_name = "" if inner in {"geometry", "properties", "coords"} else inner
            else:
                inner_name = f"{name} {inner}"
            if inner == "coordinates" and isinstance(item, list):
                for part, number in zip(_PLACES, item, strict=False):
                    yield part, _text(number)
            else:
                yield from _flat(item, inner_name, depth + 1)
    elif isinstance(value, (str, int, float)) and not isinstance(value, bool):
        yield name, _text(value)


def _text(value: Any) -> str:
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return " ".join(str(value).split())[:200]


def _table(source: Source, rows: Rows, *, for_track: bool) -> Table:
    if len(rows.cells) <= 1:
        source.fail("no_table")
    table = long_table(rows, for_track=for_track)
    return table or Table(rows.cells[0], rows.cells[1:], rows.line[1:], ",", 0)


def _read_track(source: Source, zone: tzinfo | None) -> Track:
    return read_table_track(source, _table(source, _rows(source), for_track=True), zone, kind="track_json")


def _read_readings(source: Source, request: Request) -> Readings:
    return read_table(source, _table(source, _rows(source), for_track=False), request, kind="json")


def _is_json(source: Source) -> bool:
    head = source.data[:4096].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return head[:1] == b"{" or (head[:1] == b"[" and head[1:].lstrip()[:1] in {b"{", b"["})


FORMAT = LogFormat("json", _is_json, track=_read_track, readings=_read_readings)
