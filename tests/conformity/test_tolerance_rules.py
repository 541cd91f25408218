"""Tolerance rules against the documents they come from, and rules of one's own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from speedcal.calibration.dial.dial import Dial
from speedcal.conformity import Tolerance, load_tolerance, tolerance_names
from speedcal.conformity.rules import class_speeds
from speedcal.errors import ToleranceError
from speedcal.units import KMH_MPS, MPH_MPS


def _band(rule: Tolerance, speed: float, unit_mps: float) -> tuple[float, float]:
    low, high = rule.band(speed * unit_mps)
    return low / unit_mps, high / unit_mps


@pytest.mark.published(
    "UN Regulation No. 39, 5.3/5.4 and Annex 3 (Annex 3 constants from memory); Lords Hansard 12 March 2001"
)
@pytest.mark.parametrize(
    ("true", "plus4", "plus6", "plus8", "five_percent_plus10"),
    [
        (40, 48, 50, 52, 52),
        (50, 59, 61, 63, 62.5),
        (80, 92, 94, 96, 94),
        (100, 114, 116, 118, 115),
        (120, 136, 138, 140, 136),
    ],
)
def test_un_r39_limit_table(true: float, plus4: float, plus6: float, plus8: float, five_percent_plus10: float) -> None:
    """Never below the true speed, at most 0.1 V2 plus a constant above it."""
    names = ("un_r39_type", "un_r39_cop_l1_l2", "un_r39_cop_mn", "un_r39_cop_l3_l5", "cop_pre2002")
    for name, high in zip(names, (plus4, plus4, plus6, plus8, five_percent_plus10), strict=True):
        assert _band(load_tolerance(name), true, KMH_MPS) == pytest.approx((true, high), abs=1e-9)


@pytest.mark.published("UN Regulation No. 39, 5.3 in miles per hour: 4 km/h = 2.485485 mph")
@pytest.mark.parametrize(("true", "high"), [(70, 79.4855), (49, 56.3855)])
def test_un_r39_in_miles_per_hour(true: float, high: float) -> None:
    """The same rule on a dial in mph."""
    assert _band(load_tolerance("un_r39_type"), true, MPH_MPS)[1] == pytest.approx(high, abs=5e-5)


@pytest.mark.published("UN Regulation No. 39, 5.2.5/5.3.5, classes of design speed from memory")
@pytest.mark.parametrize(
    ("top", "speeds"),
    [(40, [32]), (60, [40]), (70, [40, 56]), (120, [40, 80]), (130, [40, 80, 104]), (180, [40, 80, 120])],
)
def test_un_r39_test_speeds_follow_the_design_speed(top: float, speeds: list[float]) -> None:
    """80 % of the top speed is tested where the class says so: 60 gives 48, below 55; 120 gives 96, below 100."""
    found = [v / KMH_MPS for v in class_speeds("un_r39", top * KMH_MPS)]
    assert found == pytest.approx(speeds)
    rule = load_tolerance({"rule": "un_r39_type", "max_speed": top, "unit": "km/h"})
    assert [v / KMH_MPS for v in rule.speeds_mps] == pytest.approx(speeds)
    assert "from memory" in rule.to_dict()["note"]


@pytest.mark.published("49 CFR 393.82 (70 FR 48054)")
def test_us_393_82_is_five_mph_at_fifty_or_eight_kmh_at_eighty() -> None:
    """The two units are no exact conversions (8 km/h = 4.97097 mph), so the dial's unit decides."""
    rule = load_tolerance("us_393_82")
    assert _band(rule, 50, MPH_MPS) == pytest.approx((45, 55), abs=1e-9)
    metric = rule.in_unit("km/h")
    assert _band(metric, 80, KMH_MPS) == pytest.approx((72, 88), abs=1e-9)
    assert metric.in_unit("mph").name == "us_393_82"
    with pytest.raises(ToleranceError, match="at 50 mph only"):
        rule.at_speeds((30 * MPH_MPS,))


@pytest.mark.published("SAE J2976 (as quoted in a secondary text): 0.99 VA to 1.04 VA at 25, 45, 65 mph")
@pytest.mark.parametrize(("true", "low", "high"), [(25, 24.75, 26.0), (45, 44.55, 46.8), (65, 64.35, 67.6)])
def test_sae_j2976_limits(true: float, low: float, high: float) -> None:
    """One per cent low to four high, at the speeds the document names."""
    rule = load_tolerance("sae_j2976")
    assert _band(rule, true, MPH_MPS) == pytest.approx((low, high), abs=1e-9)
    assert [v / MPH_MPS for v in rule.speeds_mps] == pytest.approx([25, 45, 65])


@pytest.mark.published(
    "Japan, Safety Standards detail notice, art. 148 (as quoted): 10(V1-6)/11 to 100 V1/94, to 2006 100 V1/90"
)
@pytest.mark.parametrize(("name", "high"), [("jp_148", 42.553), ("jp_148_to_2006", 44.444)])
def test_jp_148_limits_the_true_speed_at_an_indicated_40(name: str, high: float) -> None:
    """30.909 to 42.553 km/h (44.444 for older vehicles); the lower limb is V1 = 1.1 V2 + 6 exactly."""
    rule = load_tolerance(name)
    assert rule.given == "indicated"
    low, top = _band(rule, 40, KMH_MPS)
    assert (low, top) == pytest.approx((30.909, high), abs=5e-4)
    assert 1.1 * low + 6 == pytest.approx(40, abs=1e-9)


@pytest.mark.published(
    "SAE J1226 (as quoted in a secondary text): 4 % of full scale is 3.4 mph of 85 and 6.0 mph of 150"
)
@pytest.mark.parametrize(("top", "high"), [(85, 3.4), (150, 6.0)])
def test_sae_j1226_is_a_share_of_the_dial(top: float, high: float) -> None:
    """Above 55 mph 0 to +4 % of full scale, below -1 to +3 %; without the top of the dial it is refused."""
    rule = load_tolerance({"rule": "sae_j1226_biased", "full_scale": top, "unit": "mph"})
    assert _band(rule, 70, MPH_MPS) == pytest.approx((70, 70 + high))
    assert _band(rule, 30, MPH_MPS) == pytest.approx((30 - top / 100, 30 + 3 * top / 100))
    with pytest.raises(ToleranceError, match="full_scale"):
        load_tolerance("sae_j1226_biased")


@pytest.mark.published("US Army TM 9-1829A (1944): 10 reads 9 to 11, 30 reads 30 to 32, 60 reads 60 to 63")
@pytest.mark.parametrize(("true", "low", "high"), [(10, 9, 11), (30, 30, 32), (60, 60, 63)])
def test_tm_9_1829a_bench_limits(true: float, low: float, high: float) -> None:
    """Limits at three speeds and nowhere else."""
    rule = load_tolerance("tm9_1829a")
    assert _band(rule, true, MPH_MPS) == pytest.approx((low, high))
    with pytest.raises(ToleranceError, match=r"does not apply at 45 mph\. It applies at 10, 30 and 60 mph only"):
        rule.at_speeds((45 * MPH_MPS,))


@pytest.mark.published(
    "NIST Handbook 44, 5.53 (from memory); StVZO 57(3) and SAE J2976 (secondary); Regulation 3821/85, Annex IB 3.2.5"
)
@pytest.mark.parametrize(
    ("name", "percent"),
    [
        ("odo_hb44", 4),
        ("odo_stvzo", 4),
        ("odo_j2976", 2.5),
        ("tacho_bench", 1),
        ("tacho_installed", 2),
        ("tacho_in_use", 4),
    ],
)
def test_odometer_limits(name: str, percent: float) -> None:
    """Limits on distance registered over distance travelled, alike both ways."""
    rule = load_tolerance(name)
    assert rule.quantity == "distance"
    assert rule.band(1.0) == pytest.approx((1 - percent / 100, 1 + percent / 100))


@pytest.mark.published(
    "Australian Design Rule 18 before 18/03 (as quoted by a motoring club): +-10 % above 40 km/h, odometer +-4 %"
)
def test_adr18_holds_above_forty_only() -> None:
    """Ten per cent either way above 40 km/h, nothing below."""
    rule = load_tolerance("adr18_pre2006")
    assert _band(rule, 80, KMH_MPS) == pytest.approx((72, 88))
    with pytest.raises(ToleranceError, match="above 40 km/h"):
        rule.at_speeds((30 * KMH_MPS,))


@pytest.mark.parametrize("name", tolerance_names())
def test_every_preset_carries_source_status_and_domain(name: str) -> None:
    """No rule without where it comes from; one from memory says so whenever it is shown."""
    rule = load_tolerance({"rule": name, "full_scale": 120, "unit": "mph"})
    shown = rule.to_dict()
    assert shown["source"]
    assert shown["limits_on"] in ("indicated", "true")
    assert shown["status"] in ("verified", "secondary", "from memory")
    assert shown["domain"]
    assert ("not verified" in str(rule)) == (rule.status == "from memory")
    assert rule.source in str(rule)


@given(st.floats(0.1, 80), st.sampled_from(["un_r39_type", "un_r39_cop_mn", "sae_j2976", "adr18_pre2006", "jp_148"]))
def test_limits_on_the_dial_say_the_same_as_the_limits_of_the_rule(speed: float, name: str) -> None:
    """A line exactly on a limit has slack zero, inside it positive, outside negative."""
    rule = load_tolerance(name)
    if not rule.limits_at(speed):
        return
    low, high = rule.band(speed)
    for at, signs in (
        (low, (0, 1)),
        (high, (1, 0)),
        ((low + high) / 2, (1, 1)),
        (high + 1, (1, -1)),
        (low - 1, (-1, 1)),
    ):
        if rule.given == "indicated" and at <= 0:
            continue
        factor = at / speed if rule.given == "true" else speed / at
        box = rule.shown_limits((speed,)).box(Dial.straight(0.0, factor, np.zeros((2, 2)), used_mps=[10.0, 30.0]))
        if rule.given == "true":
            slack = np.array([box.mean[0] - box.low[0], box.high[0] - box.mean[0]])
        else:  # at the least permitted true speed it shows no more than is given, at the greatest no less
            slack = np.array([box.high[0] - box.mean[0], box.mean[1] - box.low[1]])
        assert tuple(np.sign(np.where(np.abs(slack) < 1e-9, 0, slack)).astype(int)) == signs


def test_own_rule_adds_per_cent_and_absolute_and_may_forbid_reading_low() -> None:
    """2 % + 1 mph, never low: 50 may show 50 to 52; without never_low 48 to 52."""
    table = {"percent": 2, "absolute": 1, "unit": "mph", "speeds": [50]}
    assert _band(load_tolerance(table), 50, MPH_MPS) == pytest.approx((48, 52))
    strict = load_tolerance({**table, "never_low": True})
    assert _band(strict, 50, MPH_MPS) == pytest.approx((50, 52))
    assert strict.own_speeds
    assert str(strict).startswith("The rule of this job: shown at least true and at most true + 2 % + 1 mph")


def test_own_rule_may_differ_on_the_two_sides() -> None:
    """low_percent says how far it may read low; a negative one asks for reading high."""
    rule = load_tolerance({"low_percent": 1, "high_percent": 4})
    assert _band(rule, 100, MPH_MPS) == pytest.approx((99, 104))
    high_only = load_tolerance({"low_percent": -1, "high_percent": 4})
    assert _band(high_only, 100, MPH_MPS) == pytest.approx((101, 104))


@pytest.mark.parametrize(("unit", "unit_mps"), [("mph", 0.44704), ("km/h", 1 / 3.6)])
def test_the_domain_of_an_own_rule_is_in_its_unit(unit: str, unit_mps: float) -> None:
    rule = load_tolerance({"percent": 3, "unit": unit, "domain": [20, 60]})
    assert rule.domain_mps == pytest.approx((20 * unit_mps, 60 * unit_mps))
    assert rule.to_dict()["domain"] == [20, 60]
    assert load_tolerance({"percent": 3, "unit": unit}).to_dict()["domain"] == [0, None]


def test_never_low_alone_limits_one_side_only() -> None:
    """A rule may have one side."""
    low, high = load_tolerance({"never_low": True}).band(20.0)
    assert (low, high) == (20.0, np.inf)


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"rule": "un_r39"}, "did you mean 'un_r39_type'"),
        ({"rule": "un_r39_type", "percent": 3}, "has no key 'percent'"),
        ({"percent": 3, "speeeds": [30]}, "did you mean 'speeds'"),
        ({"percent": "three"}, "percent: 'three' should be a number"),
        ({"percent": -3}, "percent: -3 should be above 0"),
        ({"absolute": 3}, "absolute: has no unit"),
        ({"percent": 3, "unit": "kn"}, '"mph" or "km/h"'),
        ({"percent": 3, "unit": "mph", "speeds": []}, "should be a list of speeds"),
        ({"percent": 3, "unit": "mph", "speeds": [0]}, "should be a list of speeds"),
        ({"percent": 3, "unit": "mph", "domain": [60, 20]}, "the lower first"),
        ({"percent": 3, "never_low": 1}, "true or false"),
        ({"percent": 3, "confidence": 95}, "confidence: 95 should be above"),
        ({"percent": 3, "given": "shown"}, "given: 'shown' is not known"),
        ({"rule": "us_393_82", "max_speed": 100}, "do not depend on it"),
        ({}, "sets no limit"),
    ],
)
def test_a_table_that_cannot_be_used_says_what_to_write(table: dict[str, object], message: str) -> None:
    """Every mistake names the key, what was found and what is expected, and the file."""
    with pytest.raises(ToleranceError) as caught:
        load_tolerance(table, source="job.toml")
    assert message in str(caught.value)
    assert str(caught.value).startswith("job.toml: ")


def test_a_misspelt_rule_is_told_by_its_name() -> None:
    """A tolerance table without a rule is one of its own, but this one only has a letter too few."""
    with pytest.raises(ToleranceError, match="did you mean 'rule'"):
        load_tolerance({"rul": "un_r39_type"})


@pytest.mark.parametrize("key", ["speeds", "max_speed"])
def test_numbers_beside_a_named_rule_have_a_unit(key: str) -> None:
    """A rule written in km/h does not turn the 30 of a mph shop into 30 km/h."""
    table = {"rule": "un_r39_type", key: [30.0] if key == "speeds" else 110.0}
    with pytest.raises(ToleranceError) as refused:
        load_tolerance(table)
    assert refused.value.code == "unit_missing"
    if key == "speeds":
        assert load_tolerance(table, unit="mph").speeds_mps == pytest.approx([30 * 0.44704])
        assert load_tolerance({**table, "unit": "km/h"}).speeds_mps == pytest.approx([30 / 3.6])
