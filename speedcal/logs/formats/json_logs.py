"""JSON logs: one object a line, a list of objects, or lists somewhere inside an object; also long form and GeoJSON."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.table_readings import read_table
from speedcal.logs.formats.table_tracks import read_table_track
from speedcal.logs.source import Source
from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.long_form import long_table
from speedcal.logs.tables.place_column import with_places
from speedcal.logs.tables.tabular import Table, find_table
from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp

_RECORD = "\x1e"
"""Begins each text of a sequence (RFC 7464), as of GeoJSON (RFC 8142)."""
_DEEPEST = 12
_PLACES = ("longitude", "latitude", "altitude")
"""What the numbers of a GeoJSON position are, in their order."""
_FEWEST, _LOOKED_AT = 2, 20
_SESSION = "session id"
_UNIT = late_pattern(r'"(?:speed|dial)?[ _]?units?"\s*:\s*"([^"]{1,20})"', re.IGNORECASE)
"""Of all records, beside their list."""
_HEAD = 100_000
_SHAPE = late_pattern(r'"(?:Multi)?LineString"')
"""Of GeoJSON (RFC 7946)."""
_Named = tuple[tuple[str, ...], list[Mapping[str, Any]]]


def _rows(source: Source, wanted: str) -> Rows:
    """Return the list of objects in the file that holds what is wanted as rows under a header of their keys."""
    records = _records(source, wanted)
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


def _records(source: Source, wanted: str) -> list[Mapping[str, Any]]:
    text = source.text().replace(_RECORD, "").strip()
    try:
        return _chosen(list(_lists(json.loads(text), (), 0)), wanted)
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
                source.fail("file_damaged", line=number, what="json", reason=str(whole).partition(";")[0][:200])
            break  # a line that was cut off at the end
        if isinstance(found, Mapping):
            records.append(found)
    return records


def _lists(value: Any, path: tuple[str, ...], depth: int) -> Iterator[_Named]:
    """Yield the lists of objects, and objects of equally long lists turned round, with the way to each.

    A list whose objects hold lists with times of their own is one of drives.
    """
    if depth > _DEEPEST:
        return
    if isinstance(value, list):
        named = _turned({"names": value[0], "rows": value[1:]}) if value and isinstance(value[0], list) else []
        if named:
            yield path, named
            return
        own = [item for item in value if isinstance(item, Mapping)]
        inner = [found for i, item in enumerate(value) for found in _lists(item, (*path, _title(item, i)), depth + 1)]
        timed = [(way, records) for way, records in inner if len(records) >= _FEWEST and "time" in _roles(records)]
        if timed and sum(len(records) for _, records in timed) > len(own):
            yield from timed
        elif len(own) >= _FEWEST:
            yield path, own
        else:
            yield from inner
    elif isinstance(value, Mapping):
        turned = _timed_line(value) or _turned(value) or _by_time(value)
        if turned:
            yield path, turned
            return
        for key, item in value.items():
            yield from _lists(item, (*path, str(key)[:60]), depth + 1)


def _turned(value: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the records of an object that holds a list, or numbered values, for each quantity, or names and rows."""
    lists = {key: item for key, item in value.items() if isinstance(item, list) and len(item) >= _FEWEST}
    plain = all(not isinstance(part, (list, Mapping)) for item in lists.values() for part in item[:3])
    if len(lists) > 1 and len({len(item) for item in lists.values()}) == 1 and plain:
        return [dict(zip(lists, parts, strict=True)) for parts in zip(*lists.values(), strict=True)]
    for names in lists.values():
        if all(isinstance(name, str) for name in names):
            for rows in lists.values():
                if all(isinstance(row, list) and len(row) == len(names) for row in rows):
                    return [dict(zip(names, row, strict=True)) for row in rows]
    columns = {key: item for key, item in value.items() if isinstance(item, Mapping)}
    keys = list(next(iter(columns.values()), ()))
    if len(columns) == len(value) > 1 and len(keys) >= _LOOKED_AT and all(list(c) == keys for c in columns.values()):
        return [{name: column[key] for name, column in columns.items()} for key in keys]
    return []


def _by_time(value: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the records of an object of speeds by their times, or with a list of pairs of both, and its unit."""
    for name, item in (("", value), *value.items()):
        pairs = list(item.items()) if isinstance(item, Mapping) else item
        if isinstance(pairs, list) and len(pairs) >= _FEWEST and all(map(_is_time_and_speed, pairs)):
            unit = value.get("unit", value.get("units", name))
            return [{"time": time, f"speed {unit}": speed} for time, speed in pairs]
    return []


def _is_time_and_speed(pair: Any) -> bool:
    if not isinstance(pair, list | tuple) or len(pair) != len(("time", "speed")):
        return False
    stamp = parse_stamp(pair[0]) if isinstance(pair[0], str) else None
    return stamp is not None and stamp.kind != "number" and isinstance(pair[1], int | float)


def _timed_line(feature: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the records of a GeoJSON line with a list of times, and perhaps others, as long as it is."""
    shape, beside = feature.get("geometry"), feature.get("properties")
    if not isinstance(shape, Mapping) or not isinstance(beside, Mapping):
        return []
    places = shape.get("coordinates")
    if shape.get("type") == "MultiLineString" and isinstance(places, list):
        places = [place for line in places if isinstance(line, list) for place in line]
    if not isinstance(places, list) or len(places) < _FEWEST or not all(isinstance(place, list) for place in places):
        return []
    lists = {name: item for name, item in _lists_in(beside) if len(item) == len(places)}
    times = [name for name, item in lists.items() if all(parse_stamp(_text(part)) for part in item[:_LOOKED_AT])]
    named = next((name for name in times if "time" in name.lower()), None)
    if named is None:
        return []
    columns = {"time": lists.pop(named), **lists}
    return [
        {**dict(zip(_PLACES, place, strict=False)), **dict(zip(columns, parts, strict=True))}
        for place, parts in zip(places, zip(*columns.values(), strict=True), strict=True)
    ]


def _lists_in(beside: Mapping[str, Any]) -> Iterator[tuple[str, list[Any]]]:
    """Yield the lists of plain values among properties, one within the other for the lines of a shape joined."""
    for name, item in beside.items():
        if isinstance(item, Mapping):
            yield from _lists_in(item)
        elif isinstance(item, list):
            yield str(name), [part for some in item for part in (some if isinstance(some, list) else [some])]


def _title(item: Any, index: int) -> str:
    """Return what an object of a list calls itself, else its number."""
    if isinstance(item, Mapping):
        for key, value in item.items():
            named = str(key).lower() in {"id", "name", "title"} or read_heading(str(key)).role == "session"
            if named and isinstance(value, str | int) and str(value).strip():
                return _text(value)
    return str(index + 1)


def _roles(records: Sequence[Mapping[str, Any]]) -> set[str]:
    return {read_heading(name).role for record in records[:_LOOKED_AT] for name, _ in _flat(record, "", 0)}


def _chosen(found: list[_Named], wanted: str) -> list[Mapping[str, Any]]:
    """Return the list that holds what is wanted; lists of the same quantities become one with a column whose each is.

    A list without positions is looked at first for readings: those beside the fixes may be of the receiver.
    """
    roles = {way: _roles(records) for way, records in found}
    fit = [item for item in found if wanted in roles[item[0]]]
    if wanted == "speed":
        fit = [item for item in fit if "latitude" not in roles[item[0]]] or fit
    fit = fit or found
    if not fit:
        return []
    longest = max(fit, key=lambda item: len(item[1]))
    alike = [item for item in fit if roles[item[0]] == roles[longest[0]] and len(item[1]) >= _FEWEST]
    if len(alike) < 2:
        return [{_with_origin(key, longest[0]): value for key, value in record.items()} for record in longest[1]]
    parts = [[way[i] if i < len(way) else "" for way, _ in alike] for i in range(max(len(way) for way, _ in alike))]
    differing = [i for i, names in enumerate(parts) if len(set(names)) > 1]
    return [
        {_SESSION: " ".join(parts[i][n] for i in differing), **record}
        for n, (_, records) in enumerate(alike)
        for record in records
    ]


def _with_origin(key: str, way: tuple[str, ...]) -> str:
    """Return the name of a speed with the name of the list it stands in, which may say whose it is."""
    if not way or read_heading(key).role != "speed" or read_heading(key).origin:
        return key
    named = read_heading(f"{way[-1]} {key}")
    return named.name if named.role == "speed" and named.origin else key


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


def _table(source: Source, wanted: str, *, for_track: bool) -> Table:
    rows = _rows(source, wanted)
    if len(rows.cells) <= 1:
        source.fail("no_timed_track" if _SHAPE.search(source.text()) else "no_list_of_records")
    table = long_table(rows, find_table(rows), for_track=for_track)
    units = set(_UNIT.findall(source.text()[:_HEAD]))
    title = units.pop() if len(units) == 1 else ""
    header, body = with_places(rows.cells[0], rows.cells[1:]) or (rows.cells[0], rows.cells[1:])
    return table or Table(header, body, rows.line[1:], ",", 0, title=title)


def _read_track(source: Source, request: Request) -> Track:
    return read_table_track(source, _table(source, "latitude", for_track=True), request, kind="track_json")


def _read_readings(source: Source, request: Request) -> Readings:
    return read_table(source, _table(source, "speed", for_track=False), request, kind="json")


def _is_json(source: Source) -> bool:
    head = source.data[:4096].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe\x1e \t\r\n")
    if head[:1] == b"{":
        return head[1:].lstrip()[:1] in {b'"', b"}"}
    return head[:1] == b"[" and head[1:].lstrip()[:1] in {b"{", b"["}


FORMAT = LogFormat("json", _is_json, track=_read_track, readings=_read_readings)
