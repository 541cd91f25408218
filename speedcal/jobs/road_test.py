"""How the road test of a job is driven: by marks of its dial, or by GPS."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.jobs.pipeline import MeasuredJob
    from speedcal.vehicle import Vehicle, Work


def held_in(
    known: MeasuredJob | None, vehicle: Vehicle | None, work: Work | None, asked: DisplayUnit | None
) -> tuple[bool, DisplayUnit]:
    """Return whether its speeds are held by GPS, since the dial may show anything, and the unit that they are in.

    Marks are in the unit of the dial, speeds by GPS in the one that was asked for.
    """
    from speedcal.vehicle import says_what_changes

    by_gps = not says_what_changes(known.before if known else None, vehicle, work)
    dial = known.dial_unit if known else None
    return by_gps, (asked if by_gps else None) or dial or asked or "mph"
