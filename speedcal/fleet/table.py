"""Long tables: one row a fix or a reading, and a column that names the vehicle; and the result as Parquet."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from importlib.util import find_spec
from typing import Any

from speedcal.fleet.sources import Found

_ENDINGS = frozenset({".csv", ".tsv", ".txt", ".parquet", ".pq"})


def is_table(path: str, column: str | None) -> bool:
    """Tell whether a source is a long table of many vehicles."""
    return False


def vehicles_of_table(path: str, column: str | None) -> Iterator[Found]:
    """Yield the vehicles of a long table."""
    yield from ()


def as_parquet(table: Sequence[Mapping[str, Any]]) -> bytes | None:
    """Return the rows of a result as Parquet; None where pyarrow is not installed."""
    if find_spec("pyarrow") is None:
        return None
    import pyarrow
    from pyarrow import parquet

    out = io.BytesIO()
    parquet.write_table(pyarrow.Table.from_pylist([dict(row) for row in table]), out)
    return out.getvalue()
