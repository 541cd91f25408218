"""Delimited tables as a log format."""

from __future__ import annotations

from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.model import Readings
from speedcal.logs.source import Source
from speedcal.logs.table import find_table, split_rows
from speedcal.logs.table_readings import read_table

_KINDS = {"\t": "table (tabs)", ";": "table (semicolons)", ",": "table (commas)", "|": "table (bars)", "": "table"}


def _read_readings(source: Source, request: Request) -> Readings:
    rows = split_rows(source)
    table = find_table(rows)
    if table is None:
        source.fail("no header row was found", remedy="Write a header such as 'time,indicated mph' above the readings")
    return read_table(source, table, request, kind=_KINDS[rows.delimiter])


def _is_text(source: Source) -> bool:
    head = source.data[:4096]
    return head[:2] in (b"\xff\xfe", b"\xfe\xff") or (b"\x00" not in head and not head.lstrip().startswith(b"<"))


FORMAT = LogFormat("table", _is_text, readings=_read_readings, certain=False)
