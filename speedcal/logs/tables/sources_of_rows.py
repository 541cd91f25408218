"""Rows of the dial among rows of what else showed a speed, where a column says which is which."""

from __future__ import annotations

from dataclasses import replace

from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.writing.headers import read_heading

_MOST = 6
_SHOWN, _OTHERS = frozenset({"instrument", "vehicle"}), frozenset({"satellite", "calculated"})


def of_the_dial(table: Table) -> tuple[Table, int]:
    """Return the table without the rows of a receiver, where others name the dial, and how many they were."""
    for index in range(len(table.header)):
        cells = table.column(index)
        names = set(cells)
        if not 1 < len(names) <= _MOST or any(map(is_missing, names)):
            continue
        origin = {name: read_heading(f"{name} speed").origin for name in names}
        if _OTHERS.isdisjoint(origin.values()) or _SHOWN.isdisjoint(origin.values()):
            continue
        kept = [i for i, cell in enumerate(cells) if origin[cell] not in _OTHERS]
        rows, line = [table.rows[i] for i in kept], [table.line[i] for i in kept]
        return replace(table, rows=rows, line=line), len(cells) - len(kept)
    return table, 0
