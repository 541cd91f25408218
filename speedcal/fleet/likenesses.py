"""Names of vehicles that may be one vehicle, written in two ways."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from speedcal.finding import Finding
from speedcal.fleet.rows import FleetRow


def with_likenesses(rows: Sequence[FleetRow]) -> list[FleetRow]:
    """Return the rows, those of nearly the same name told of each other; none are joined: 7 may be another than 07.

    Examples
    --------
    >>> from speedcal.fleet import FleetRow
    >>> from speedcal.fleet.likenesses import with_likenesses
    >>> [len(row.findings) for row in with_likenesses([FleetRow(name, 0) for name in ("AB-07", "ab 7", "AB 8")])]
    [1, 1, 0]
    """
    alike: dict[str, list[str]] = {}
    for row in rows:
        alike.setdefault(_plain(row.vehicle), []).append(row.vehicle)
    return [
        replace(row, findings=(*row.findings, Finding("named_alike", names=names)))
        if len(names := sorted(alike[_plain(row.vehicle)])) > 1
        else row
        for row in rows
    ]


def _plain(name: str) -> str:
    """Return a name without case, signs and zeros in front of its numbers."""
    words = re.sub(r"[\W_]+", " ", name.casefold()).strip()
    joined = re.sub(r"(?<!\d) | (?!\d)", "", words)
    return re.sub(r"(?<!\d)0+(?=\d)", "", joined) or name
