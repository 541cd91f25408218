"""Tires of two sizes on the driven axle: they come off before a part is chosen by what they show."""

from __future__ import annotations

from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.drivetrain import driving_tire
from speedcal.vehicle.vehicle import Vehicle

_ALIKE = 0.005
"""Relative change of what the axle rolls by a worn tire beside a new one, which is left out of account. Our own
judgment: 1 % from side to side."""


def unlike_tires(vehicle: Vehicle) -> list[Advice]:
    """Return fitting the same tires on both sides, where a spare of another size shifts the reading.

    A differential that works all the way wears, and a gear chosen on a spare is wrong without it.
    """
    fitted, mean = vehicle.rolled, driving_tire(vehicle)
    if fitted is None or mean is None:
        return []
    gain = mean.circumference_m.value / fitted.circumference_m.value
    if abs(gain - 1) < _ALIKE:
        return []
    why = Finding("tires_differ", tire=str(vehicle.tire or ""), percent=100 * (gain - 1))
    return [Advice("drive_again", part="same_tires", because=(why,))]
