"""What two vehicles have in common and should not: nearly the same name, or the same drive."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
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


def with_shared_drives(rows: Sequence[FleetRow], drives: Mapping[str, Iterable[tuple[str, str]]]) -> list[FleetRow]:
    """Return the rows, those that share a drive told of it: a log lies in the wrong folder.

    Parameters
    ----------
    drives
        Name and key of every drive, by vehicle; the same files have the same key.
    """
    owners: dict[str, list[str]] = {}
    for vehicle, several in drives.items():
        for key in {key for _, key in several}:
            owners.setdefault(key, []).append(vehicle)
    return [_told_of_shared(row, drives[row.vehicle], owners) for row in rows]


def _told_of_shared(row: FleetRow, drives: Iterable[tuple[str, str]], owners: Mapping[str, Sequence[str]]) -> FleetRow:
    lost = {name for name, _ in row.refused}  # empty logs are all alike
    shared = [(name, key) for name, key in drives if len(owners[key]) > 1 and name not in lost]
    if not shared:
        return row
    vehicles = sorted({other for _, key in shared for other in owners[key]} - {row.vehicle})
    finding = Finding("drives_of_two_vehicles", names=sorted(name for name, _ in shared), vehicles=vehicles)
    return replace(row, findings=(finding, *row.findings))


def _plain(name: str) -> str:
    """Return a name without case, signs and zeros in front of its numbers."""
    words = re.sub(r"[\W_]+", " ", name.casefold()).strip()
    joined = re.sub(r"(?<!\d) | (?!\d)", "", words)
    return re.sub(r"(?<!\d)0+(?=\d)", "", joined) or name
