"""The one of several vehicles, devices or sessions in a file that is meant."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from speedcal.logs.source import Source
from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.tables.turns import turn_taking
from speedcal.logs.writing.headers import Heading

_MOST, _FEWEST_ROWS, _MOST_NAMED = 200, 3, 10
BETWEEN = " / "
"""Stands between the names where several columns tell the rows apart."""
EVERY = "all"
"""The answer that means all of them, parts of one drive."""


def one_session(source: Source, table: Table, headings: Sequence[Heading], wanted: str | None) -> Table:
    """Return the rows of the session wanted; the whole table where it holds one only.

    A column that names nearly every row anew numbers the rows and is none. Rows that name no session belong to none.
    Without a column of such a name the rows themselves may show that several take turns in them.

    Raises
    ------
    SpeedcalError
        The table holds several sessions and none is wanted, or not the one wanted.
    """
    named = {i: table.column(i) for i, heading in enumerate(headings) if heading.role == "session"}
    telling = [i for i, cells in named.items() if _tells(cells)]
    if not telling:
        named = {i: table.column(i) for i in turn_taking(table, headings)}
        telling = list(named)
    if not telling:
        return table
    keys = [BETWEEN.join(parts) for parts in zip(*(named[i] for i in telling), strict=True)]
    known = [not all(map(is_missing, parts)) for parts in zip(*(named[i] for i in telling), strict=True)]
    counts = Counter(key for key, is_known in zip(keys, known, strict=True) if is_known)
    column = BETWEEN.join(table.header[i] for i in telling)
    chosen = choose(source, counts, wanted, column=column, line=table.header_line)
    if chosen == EVERY:
        return table
    rows = [i for i, key in enumerate(keys) if key == chosen and known[i]]
    kept = {table.line[i] for i in rows}
    return replace(
        table,
        rows=[table.rows[i] for i in rows],
        line=[table.line[i] for i in rows],
        overlong=tuple(item for item in table.overlong if item[0] in kept),
    )


def _tells(cells: list[str]) -> bool:
    counts = Counter(cell for cell in cells if not is_missing(cell))
    return 1 < len(counts) <= _MOST and sum(counts.values()) >= _FEWEST_ROWS * len(counts)


def choose(
    source: Source, counts: Counter[str], wanted: str | None, *, column: str | None, line: int | None = None
) -> str:
    """Return the name of the session wanted among those there are, in any case of letters, or ``EVERY``; else ask.

    Two files may name one session differently: of several names, with ``;`` between, the one that is there is meant.
    """
    names = sorted(counts)
    if wanted is None and len(names) == 1:
        return names[0]
    whole = (wanted or "").strip().casefold()
    asked = {whole} if whole in map(str.casefold, names) else {part.strip() for part in whole.split(";")}
    found = [name for name in names if name.casefold() in asked]
    if len(found) == 1:
        return found[0]
    if not found and EVERY in asked:
        return EVERY
    code = "several_sessions" if wanted is None else "no_such_session"
    source.fail(code, line=line, column=column, found=wanted, names=names[:_MOST_NAMED], count=len(names))
