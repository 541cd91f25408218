"""A road test after which nothing had been done: the drive before it tells of the same instrument."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from speedcal.conformity.pooling import consistency, pool
from speedcal.conformity.tolerance import Tolerance

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Vehicle, Work


def kept_by_both(
    before: Calibration | None,
    after: Calibration,
    rule: Tolerance,
    *,
    vehicle: Vehicle | None,
    work: Work | None,
    speeds: Sequence[float],
) -> bool:
    """Tell whether nothing was done, and two drives that agree say together that it stays as it is.

    Parameters
    ----------
    speeds
        True speeds that were judged, in the unit of the drives.
    """
    from speedcal.vehicle import Vehicle as AnyVehicle
    from speedcal.vehicle import correct

    if before is None or not (work is None or (work.is_nothing and not work.note)):
        return False
    if consistency([before, after])[0]:
        return False
    limits = rule.in_unit(after.unit).for_choices
    advice = correct(pool([before, after]), vehicle or AnyVehicle(), speeds=speeds or None, limits=limits).advice
    return advice[0].action == "keep_as_is"
