"""Distance driven since the work, by hand arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from support.calibrations import make_calibration

from speedcal.conformity.distance import distance_since
from speedcal.errors import VehicleError
from speedcal.interval import Interval
from speedcal.vehicle import Work

WORK = Work(date="2031-05-20", odometer=48200, odometer_now=51400)


def test_the_odometers_own_factor_tells_the_distance() -> None:
    """3200 shown at 0.95: 3368.4; 1 % and tires 0.39 % make 1.074 %, reading to a mile 0.84: half width 36.2."""
    after = make_calibration(factor=1.03, odometer_factor=Interval.around(0.95, 0.0095))
    found = distance_since(WORK, after)
    assert found is not None
    assert (found.shown, found.told_by) == (3200, "odometer")
    assert found.driven.value == pytest.approx(3200 / 0.95)
    assert found.driven.half_width == pytest.approx(36.17, abs=0.1)
    assert "shown 3,200 miles: 3,330 to 3,400 miles were driven" in str(found)
    assert "against the law" in str(found)


def test_over_a_few_miles_the_reading_of_whole_miles_is_what_is_uncertain() -> None:
    """Ten shown: two readings cut at a mile, sqrt(2/12) each way, and 0.39 % of tires: 0.801 miles."""
    work = Work(odometer=48200, odometer_now=48210)
    found = distance_since(work, make_calibration(odometer_factor=Interval.around(1.0, 1e-5)))
    assert found is not None
    assert found.driven.half_width == pytest.approx(np.hypot(1.96 * np.sqrt(2 / 12), 0.0392), rel=1e-3)


def test_without_an_odometer_the_pointer_stands_in_with_what_they_may_differ() -> None:
    """1 % of the pointer, 3 % between the two, 0.39 % tires: 3.19 % of 3200/0.95."""
    found = distance_since(WORK, make_calibration(factor=0.95, u_factor=0.0095 / 1.959964))
    assert found is not None
    assert found.told_by == "pointer"
    assert found.driven.half_width == pytest.approx(0.0319 * 3200 / 0.95, rel=0.005)
    assert found.to_dict()["driven"]["low"] == pytest.approx(3200 / 0.95 - found.driven.half_width, abs=0.1)


def test_a_count_that_ran_back_is_refused_and_a_missing_one_says_nothing() -> None:
    """The count of an instrument that was changed cannot be used."""
    with pytest.raises(VehicleError) as caught:
        distance_since(Work(odometer=48200, odometer_now=300), make_calibration())
    assert caught.value.code == "odometer_shows_less"
    assert distance_since(Work(odometer=48200), make_calibration()) is None
    assert distance_since(None, make_calibration()) is None
