"""Lines that say whose the rows below them are, as ``Truck 2`` above each of several blocks."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

from speedcal.logs.source import Source
from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.sessions import EVERY, choose
from speedcal.logs.writing.headers import SPEED_UNIT, VEHICLE
from speedcal.logs.writing.patterns import late_pattern

_TITLE = late_pattern(
    rf"\W*(?P<name>{VEHICLE}\s?(?:id|no\.?|nr\.?|number)?\W{{0,3}}(?:[\w-]{{1,12}}\s)?[\w-]*\d[\w-]*)\W*(?:{SPEED_UNIT})?\W*",
    re.IGNORECASE,
)
_LONGEST, _FEWEST = 60, 2


def of_titled_vehicle(source: Source, rows: Rows, wanted: str | None) -> Rows:
    """Return the rows below the title of the vehicle wanted, with what stands above all titles.

    Raises
    ------
    SpeedcalError
        The titles name several vehicles and none is wanted, or not the one wanted.
    """
    names = {number: name for number, text in rows.text if (name := _named(text))}
    if len(set(names.values())) < _FEWEST:
        return rows
    whose: dict[int, str] = {}
    above = ""
    for number, _ in rows.text:
        whose[number] = above = names.get(number, above)
    counts = Counter(name for name in whose.values() if name)
    chosen = choose(source, counts, wanted, column="")
    if chosen == EVERY:
        return rows
    kept = {number for number, name in whose.items() if name in {"", chosen}}
    pairs = [(cells, number) for cells, number in zip(rows.cells, rows.line, strict=True) if number in kept]
    return replace(
        rows,
        cells=[cells for cells, _ in pairs],
        line=[number for _, number in pairs],
        text=tuple(line for line in rows.text if line[0] in kept),
    )


def _named(text: str) -> str:
    """Return the vehicle that is all of a line, empty where it is none."""
    found = None if len(text) > _LONGEST or text[:1].isdigit() else _TITLE.fullmatch(text)
    return " ".join(found["name"].split()) if found else ""
