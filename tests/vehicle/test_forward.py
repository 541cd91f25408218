"""Planning tires and axle gears before buying."""

from __future__ import annotations

import math

import pytest
from support.calibrations import make_calibration

from speedcal.conformity import verify
from speedcal.errors import VehicleError
from speedcal.vehicle import Vehicle, Work
from speedcal.vehicle.forward import forecast, gain_change, vehicle_after

NOW = {"tire": "265/70R17", "axle": "41/11", "drive_gear": 13, "driven_gear": 26, "gear_family": "indexed housing"}


def test_larger_tires_make_a_right_instrument_read_low_by_the_ratio_of_the_diameters() -> None:
    plan = forecast(Vehicle.from_dict(NOW), {"tire": "35x12.50R17LT"}, speeds=[60])
    assert plan.gain.value == pytest.approx(802.8 / 889.0, rel=1e-12)
    assert plan.corrections.keep.errors[0]["indicated"] == pytest.approx(60 * 802.8 / 889.0, abs=1e-4)
    assert not plan.is_measured
    # 26 x 0.903 = 23.48 teeth: 23 and 24 are the candidates
    assert {dict(c.parts)["teeth"] for c in plan.corrections.driven_gear[:2]} == {23, 24}


def test_axle_gears_that_compensate_the_tires_leave_the_instrument_right() -> None:
    vehicle = Vehicle.from_dict(NOW)
    plan = forecast(vehicle, {"tire": "35x12.50R17LT", "axle": "41/10"}, speeds=[60])
    assert plan.gain.value == pytest.approx(802.8 / 889.0 * 1.1, rel=1e-12)  # 41/10 over 41/11 is 11/10
    assert plan.corrections.keep.is_acceptable


@pytest.mark.parametrize(
    ("fitted", "work", "gain"),
    [
        ({}, {"driven_gear": 24}, 26 / 24),
        ({}, {"drive_gear": 15}, 15 / 13),
        ({}, {"drive_gear": 15, "driven_gear": 24}, 15 / 13 * 26 / 24),
        ({}, {"ratio_box": "21/20"}, 21 / 20),
        ({"ratio_box": "21/20"}, {"ratio_box": "20/21"}, (20 / 21) ** 2),
        ({"ratio_box": "21/20"}, {"ratio_box_turned": True}, (21 / 20) ** 2),
        ({}, {"pulse_scaler": "27/32"}, 27 / 32),
        ({"pulse_scaler": "27/32"}, {"pulse_scaler": "32/27"}, (32 / 27) ** 2),
        ({"pulses_per_turn": 8}, {"pulses_per_turn": 6}, 6 / 8),
        ({}, {"axle": "41/10"}, 1.1),
    ],
)
def test_each_part_turns_the_shaft_by_its_own_ratio(
    fitted: dict[str, str], work: dict[str, object], gain: float
) -> None:
    """What comes over what was; counted teeth and stated ratios of a box are exact."""
    change = gain_change(Vehicle.from_dict({**NOW, **fitted}), work)
    assert change.value == pytest.approx(gain, rel=1e-12)
    assert change.u_relative == 0


def test_a_box_found_the_wrong_way_round_and_turned_is_work_that_can_be_told() -> None:
    """Turned from 20/21 to 21/20 a dial that read 9.3 % low reads right, as foretold; the box is as the job says."""
    vehicle, work = Vehicle.from_dict({**NOW, "ratio_box": "21/20"}), Work.from_dict({"ratio_box_turned": True})
    before, after = (make_calibration(factor=f, u_factor=0.002) for f in ((20 / 21) ** 2, 1.0))
    assert verify(before, after, {"percent": 2}, vehicle=vehicle, work=work).predicted_agrees
    assert vehicle_after(vehicle, work) == vehicle
    assert not work.is_nothing
    assert "turned" in str(work)
    assert "16/22" in str(Work.from_dict({"ratio_box": "16/22"}))  # as it is ordered, not as 8/11
    another = gain_change(vehicle, {"ratio_box_turned": True, "ratio_box": "22/21"})
    assert another.value == pytest.approx(22 / 21 / (20 / 21), rel=1e-12)  # from the turned one, 20/21, to the new one
    with pytest.raises(VehicleError):
        gain_change(Vehicle.from_dict(NOW), work)  # the job knows of no box


def test_printed_axle_ratios_bring_the_rounding_of_both() -> None:
    """Half a hundredth to either side of each, uniform: 0.005 / sqrt(3)."""
    change = gain_change(Vehicle.from_dict({**NOW, "axle": "3.73"}), {"axle": "4.10"})
    rounded = 0.005 / math.sqrt(3)
    assert change.value == pytest.approx(4.10 / 3.73, rel=1e-12)
    assert change.u_relative == pytest.approx(math.hypot(rounded / 3.73, rounded / 4.10), rel=1e-9)


def test_the_offset_of_a_measured_instrument_stays_in_the_forecast() -> None:
    calibration = make_calibration(offset=1.0, factor=1.02, u_offset=0.4, u_factor=0.008)
    plan = forecast(Vehicle.from_dict(NOW), {"axle": "45/11"}, calibration=calibration, speeds=[50])
    assert plan.is_measured
    assert plan.corrections.keep.errors[0]["indicated"] == pytest.approx(1.0 + 1.02 * 45 / 41 * 50, abs=1e-4)


def test_the_gears_listed_are_for_the_gears_fitted_after_the_work() -> None:
    plan = forecast(Vehicle.from_dict(NOW), {"driven_gear": 24, "tire": "35x12.50R17LT"}, speeds=[60])
    fitted = [dict(c.parts)["teeth"] for c in plan.corrections.driven_gear if c.is_fitted]
    assert fitted == [24]


def test_work_that_is_planned_is_no_fault_to_look_for() -> None:
    """An instrument that is right now has no cause to be found, and nothing to be counted first."""
    plan = forecast(Vehicle.from_dict(NOW), {"tire": "35x12.50R17LT"})
    assert plan.corrections.diagnosis is None
    assert not any(entry.action == "check_count" for entry in plan.corrections.advice)
    assert "cause" not in str(plan)


def test_a_forecast_without_the_tires_of_now_asks_for_them() -> None:
    with pytest.raises(VehicleError, match=r"^tire in \[vehicle\] is not stated"):
        forecast(Vehicle.from_dict({"driven_gear": 26}), {"tire": "35x12.50R17LT"})
