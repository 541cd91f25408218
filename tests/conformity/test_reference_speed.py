"""Rules that demand a well known true speed: said when the drive does not know it so well."""

from dataclasses import replace

import pytest
from support.calibrations import make_calibration

import speedcal
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.conformity import load_tolerance, verify
from speedcal.conformity.pooling import pool
from speedcal.conformity.reference_speed import true_speed_percent

GROUND = "ground_speed"


def with_ground_share(share: float, *, u95_kmh: float) -> Calibration:
    """Return a dial that is right on average, known to ``u95_kmh`` everywhere, ``share`` of the variance GPS."""
    calibration = make_calibration(offset=2.0, u_offset=u95_kmh / 1.96, unit="km/h", speed_range=(35.0, 125.0))
    lines = (BudgetLine(GROUND, "B", 0.0, 0.0, share), BudgetLine("scatter of the readings", "A", 0.0, 0.0, 1 - share))
    return replace(calibration, budget=lines)


@pytest.mark.published("UN Regulation No. 39, 5.2.6 / 5.3.6: true speed to 0.5 %; from memory")
@pytest.mark.parametrize(("u95_kmh", "short"), [(0.199, False), (0.201, True)])
def test_half_a_per_cent_at_forty_is_a_fifth_of_a_kilometre_an_hour(u95_kmh: float, short: bool) -> None:
    """0.5 % of 40 km/h = 0.20 km/h; at 80 and 120 the same 0.201 km/h is 0.25 and 0.17 %, well inside."""
    found = verify(None, with_ground_share(1.0, u95_kmh=u95_kmh), "un_r39_type").findings
    said = [f.text for f in found if f.code == "reference_speed"]
    assert bool(said) is short
    if short:
        assert "±0.5 % at 40 km/h (95 %); the rule wants ±0.5 %" in said[0]
        assert "not verified" in said[0]
        assert "80 km/h" not in said[0]


def test_only_the_part_of_the_true_speed_counts() -> None:
    """A quarter of the variance is half the uncertainty: 0.8 km/h in all, 0.4 of it GPS, 1 % at 40 km/h."""
    assert true_speed_percent(with_ground_share(0.25, u95_kmh=0.8), 40 / 3.6) == pytest.approx(1.0, rel=1e-4)


def test_without_a_budget_all_of_the_uncertainty_is_the_bound() -> None:
    """0.8 km/h of 40 km/h is 2 %."""
    bare = replace(with_ground_share(0.25, u95_kmh=0.8), budget=())
    assert true_speed_percent(bare, 40 / 3.6) == pytest.approx(2.0, rel=1e-4)


def test_rules_that_demand_nothing_say_nothing() -> None:
    """49 CFR 393.82 and rules of one's own name no accuracy of the true speed."""
    poor = make_calibration(u_offset=3.0, unit="mph")
    for rule in ("us_393_82", {"percent": 10, "unit": "mph"}):
        assert not [f for f in verify(None, poor, rule).findings if f.code == "reference_speed"]


def test_a_measured_drive_has_the_line_this_rests_on() -> None:
    """The budget of a real drive, and of two pooled, says what the true speed contributes."""
    track = speedcal.read_track("data_demo/after.gpx")
    one = speedcal.calibrate(track, speedcal.read_readings("data_demo/after_notes.csv"))
    assert GROUND in {line.component for line in one.budget}
    pooled = pool([one, one])
    assert GROUND in {line.component for line in pooled.budget}
    assert true_speed_percent(pooled, 20.0) < true_speed_percent(one, 20.0)


def test_the_demand_stands_in_the_result_with_its_status() -> None:
    """For other programs: size, source, and that it is from memory."""
    assert load_tolerance("un_r39_type").to_dict()["reference"] == {
        "percent": 0.5,
        "source": "UN Regulation No. 39, 5.2.6 / 5.3.6",
        "status": "from memory",
    }
