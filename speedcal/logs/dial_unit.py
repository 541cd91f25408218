"""The unit that somebody saw on the dial itself: then no other is suspected."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from speedcal.errors import ReadingsFormatError
from speedcal.finding import Finding

if TYPE_CHECKING:
    from speedcal.logs.readings import Readings

DIAL_UNIT_SEEN = "dial_unit_seen"
"""Code of the finding that says so."""


def with_dial_unit(readings: Readings, unit: str | None) -> Readings:
    """Return the readings with the unit that somebody saw on the dial, if anybody looked.

    Parameters
    ----------
    readings
        As read.
    unit
        ``mph`` or ``km/h``; None where nobody looked.

    Raises
    ------
    ReadingsFormatError
        The readings are in another unit.
    """
    if unit is None:
        return readings
    if readings.speed_unit != unit:
        raise ReadingsFormatError(
            "dial_unit_contradicts", source=readings.source, seen=unit, speed_unit=readings.speed_unit
        )
    others = tuple(finding for finding in readings.findings if finding.code != DIAL_UNIT_SEEN)
    return replace(readings, findings=(*others, Finding(DIAL_UNIT_SEEN, speed_unit=unit)))
