"""Names of :mod:`speedcal.schema` for the rooms that are not yet moved."""

from __future__ import annotations

from collections.abc import Iterable

from speedcal.schema import TableReader, nearest, parse_ratio

__all__ = ["TableReader", "nearest_name", "parse_ratio"]


def nearest_name(name: str, known: Iterable[str]) -> str:
    """Return a hint that names the known word closest to ``name``, or all of them when none is close."""
    near = nearest(name, known)
    return f"did you mean {near!r}?" if near is not None else "known are " + ", ".join(sorted(known))
