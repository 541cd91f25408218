"""A unit is not doubted for a factor that the stated parts make by themselves."""

from __future__ import annotations

import math
from dataclasses import replace

from speedcal.calibration.result import Calibration
from speedcal.interval import COVERAGE_FACTOR
from speedcal.vehicle.data import facts
from speedcal.vehicle.diagnosed.causes import expected_factor
from speedcal.vehicle.vehicle import Vehicle

_FAR = 2.0
"""Standard uncertainties up to which the parts as stated make the factor that a drive shows."""
_DOUBT = "unit_suspected"


def with_unit_borne_out(calibration: Calibration, vehicle: Vehicle) -> Calibration:
    """Return a drive without the doubt about its unit where the vehicle as stated should read that far off.

    A dial 1.4 times too fast looks like km/h taken for mph, until axle, gears and tires say that it has to, or that a
    ratio box does which sits the wrong way around.
    """
    if _DOUBT not in calibration.trust.codes:
        return calibration
    expected, u_expected = expected_factor(vehicle)
    instrument, factor = facts("explain")["instrument"], calibration.error_factor
    u = math.hypot(u_expected, instrument["u_gain"], factor.half_width / COVERAGE_FACTOR / factor.value)
    turned = [0.0] if vehicle.ratio_box is None else [0.0, -2 * math.log(vehicle.ratio_box)]
    away = math.log(factor.value / instrument["gain"]) - expected
    if min(abs(away - shift) for shift in turned) > _FAR * u:
        return calibration
    return replace(calibration, trust=calibration.trust.without({_DOUBT}))
