"""The words of a report: what the customer, the tech and the law need to read, and nothing that is not so."""

from dataclasses import replace

import pytest
from support.report_cases import make_calibration, make_facts

from speedcal.calibration.result import ANOTHER_DAY, BudgetLine
from speedcal.conformity import load_tolerance, verify
from speedcal.finding import Finding, Trust
from speedcal.interval import Interval
from speedcal.report import DriveFacts, ReportModel, build_model, words
from speedcal.report.depth import depth_of
from speedcal.report.detail import clock_shift, drive_detail, with_interval
from speedcal.report.judgement import percent
from speedcal.units import MPH_MPS
from speedcal.vehicle import Vehicle, Work, correct


def exact(factor: float, offset: float = 0.0, **more):  # type: ignore[no-untyped-def]
    """Return a calibration without any uncertainty."""
    return make_calibration(factor, offset=offset, **more)


def test_the_customers_sentence_says_what_the_dial_showed_and_shows() -> None:
    """Hand arithmetic: 1.1 x 60 = 66; after, 60.5 +- 0.6 rounds to 60 to 61."""
    before = exact(1.1)
    after = make_calibration(1.0, offset=0.5, u_offset=0.3)
    said = words.customer_sentence(before, after, "mph", change="the gear change", spoken_in="mph")
    assert said == "At a true 60 mph the dial showed 66; after the gear change it shows 60 to 61."


def test_the_sentence_is_said_in_the_other_unit_at_the_same_speed() -> None:
    """60 mph is 96.56 km/h; 1.1 x 96.56 = 106.2."""
    said = words.customer_sentence(exact(1.1), None, "mph", change="", spoken_in="km/h")
    assert said == "At a true 97 km/h the dial shows 106."


def test_a_range_is_not_narrower_than_the_interval() -> None:
    """66 +- 1.2: both rounded ends are said."""
    c = make_calibration(1.1, u_offset=0.6)
    assert words.shown_range(c, 60, "mph") == "65 to 67"
    assert words.shown_range(c, 60, "mph", decimals=1) == "64.8 to 67.2"


@pytest.mark.parametrize(
    ("low", "high", "speed"), [(25, 65, 60), (25, 58, 50), (20, 44, 40), (21, 28, 24), (61, 64, 62)]
)
def test_the_sentence_speaks_of_a_speed_that_was_driven(low: float, high: float, speed: float) -> None:
    """A usual speed where it was driven, else the middle of what was driven."""
    assert words.headline_speed([make_calibration(low=low, high=high)], "mph") == pytest.approx(speed, abs=0.6)


@pytest.mark.parametrize(
    ("work", "said"),
    [
        (None, "the work"),
        (Work(), "the work"),
        (Work(driven_gear=22), "the gear change"),
        (Work(drive_gear=8), "the gear change"),
        (Work.from_dict({"pulse_scaler": "10/11"}), "the new setting"),
        (Work.from_dict({"tire": "P225/70R16"}), "the tire change"),
        (Work.from_dict({"tire": "P225/70R16", "driven_gear": 22}), "the work"),
    ],
)
def test_the_work_is_named_by_what_was_changed(work: Work | None, said: str) -> None:
    """A sentence about a gear change must not be said of a setting."""
    assert words.change_words(work) == said


def test_what_is_left_says_when_the_dial_reads_low() -> None:
    """A dial that shows less than the truth is the dangerous side; it is named as such."""
    low = " ".join(words.left_over(exact(0.97), "mph"))
    assert "reads low" in low
    maybe = " ".join(words.left_over(make_calibration(1.001, u_offset=0.1 / MPH_MPS), "mph"))
    assert "may read low" in maybe
    assert "low" not in " ".join(words.left_over(exact(1.05), "mph"))


def test_what_is_left_is_said_at_usual_speeds_and_in_both_units() -> None:
    """Exactly 4 % high: 1.2 at 30, 2.0 at 50, 2.8 at 70 mph; 40 to 60 km/h are 1.6 to 2.4."""
    left = words.left_over(exact(1.04), "mph")
    assert "Error left, mph: at 30 +1.2 to +1.2; at 50 +2.0 to +2.0; at 70 +2.8 to +2.8." in left
    assert any("km/h" in line and "mph" in line for line in left if line.startswith("Between the speeds driven"))


def test_what_is_from_memory_in_the_budget_says_so() -> None:
    """The tires of another day are a size from memory and no part of the interval."""
    drive = make_calibration()
    other_day = BudgetLine(ANOTHER_DAY, "B", 0.002, 0.05, 0.0)
    detail = drive_detail(DriveFacts("before", replace(drive, budget=(*drive.budget, other_day))), "mph")
    assert detail.budget[-1][0] == ANOTHER_DAY
    assert detail.budget[-1][3] == "size from memory; not in this interval"


def test_choices_in_depth_carry_the_errors_of_the_corrections() -> None:
    """Two teeth more on 20 take a factor of 1.1 to 1.0; at 60 mph the error goes from +6 to 0."""
    vehicle = Vehicle.from_dict({"driven_gear": 20})
    depth = depth_of(correct(exact(1.1), vehicle, speeds=[30, 60]))
    driven = dict(depth.kinds)["Driven gear"]
    assert driven[0].name == "driven gear 22"
    assert driven[0].errors[1][:2] == ("0.0", "0.0 to 0.0")
    fitted = next(choice for choice in driven if "fitted now" in choice.summary)
    assert fitted.errors[1] == ("+6.0", "+6.0 to +6.0", "+9.7 km/h")  # 6 x 1.609344
    assert [speed.other for speed in depth.speeds] == ["48.3", "96.6"]


def test_the_odometer_is_told_apart_from_the_speed_it_may_be_taken_from() -> None:
    """Hand arithmetic: a factor of 1.096 counts 109.6 for 100."""
    measured = words.odometer_sentences(make_calibration(1.096, odometer=True), None, "mph")
    assert "109.2 to 110.0 for 100 true miles (measured)" in measured[0]
    inferred = words.odometer_sentences(None, make_calibration(1.0), "km/h")
    assert "100 true km (from the speed" in inferred[0]


@pytest.mark.published("49 USC 32703, 32704")
def test_the_law_reminder_names_the_law_and_offers_nothing() -> None:
    """Service may not change the mileage shown; the report offers no way to."""
    said = " ".join(words.ODOMETER_LAW)
    assert "49 USC 32703 and 32704" in said
    assert "left door frame" in said
    assert "from now on" in said


def test_the_cautions_name_who_reads_where_and_on_what() -> None:
    """A passenger, legal speeds, rated stands, local rules, licensed shop."""
    said = " ".join(words.CAUTIONS)
    for part in ("passenger", "legal speeds", "rated stands", "secured", "Local rules", "licensed shop"):
        assert part in said


def test_a_report_needs_a_drive() -> None:
    """Without any drive there is nothing to report; that is the caller's mistake."""
    with pytest.raises(ValueError, match="drive"):
        build_model(make_facts(before=None, after=None, drives=()))


def test_both_units_are_in_the_table() -> None:
    """30, 50 and 70 mph are 48.3, 80.5 and 112.7 km/h; the dial of factor 1.1 shows a tenth more in both."""
    model = build_model(make_facts(before=exact(1.1), after=None))
    assert [(r.true.text, r.true.other) for r in model.rows] == [("30", "48.3"), ("50", "80.5"), ("70", "112.7")]
    assert [(r.before.text, r.before.other) for r in model.rows if r.before] == [
        ("33.0", "53.1"),
        ("55.0", "88.5"),
        ("77.0", "123.9"),
    ]


def test_a_speed_that_was_not_driven_is_marked() -> None:
    """The demo calibrations end at 65 mph, so 70 is carried on along the line."""
    assert [row.outside for row in build_model(make_facts()).rows] == [False, False, True]


def test_a_job_in_kilometres_speaks_of_kilometres() -> None:
    """The table, the sentence and the offset are in km/h, with mph beside."""
    c = make_calibration(1.06, unit="km/h", low=40, high=110)
    model = build_model(make_facts(unit="km/h", before=c, after=None))
    assert model.sentence.startswith("At a true 100 km/h the dial shows 10")
    assert model.sentence_other.startswith("At a true 62 mph")
    assert [row.true.text for row in model.rows] == ["50", "80", "110"]


def test_a_weak_drive_says_so_before_any_number() -> None:
    """The reader sees the word before the number."""
    weak = make_calibration(trust=Trust("WEAK", (Finding("few_runs", count=1),)))
    model = build_model(make_facts(before=weak))
    assert model.warnings == ("Drive before: WEAK (readings in 1 steady run only",)
    assert build_model(make_facts()).warnings == ()


@pytest.mark.parametrize(
    ("changes", "words_said"),
    [
        ({"before": None}, "no drive before"),
        ({"after": None}, "no drive after"),
        ({}, "names no tolerance"),
    ],
)
def test_a_missing_part_is_named_with_what_would_bring_it(changes: dict[str, None], words_said: str) -> None:
    """Silence would look like a result."""
    assert words_said in " ".join(build_model(make_facts(**changes)).missing)


def judged(rule: str, **changes) -> ReportModel:  # type: ignore[no-untyped-def]
    facts = make_facts(**changes)
    tolerance = load_tolerance(rule, unit="mph")
    assert facts.after is not None
    return build_model(replace(facts, tolerance=tolerance, verification=verify(None, facts.after, tolerance)))


def test_the_verdict_carries_rule_source_status_and_decision_rule() -> None:
    """A verdict without its rule and its decision rule is worth nothing (ISO/IEC 17025:2017, 7.8.6)."""
    verdict = judged("us_393_82").judgement
    assert verdict is not None
    assert (verdict.word, verdict.mark) == ("PASS", "✓")
    assert "393.82" in verdict.rule + verdict.source
    assert "JCGM 106" in verdict.decision_rule
    check = verdict.checks[0]
    assert (check.at.text, check.at.other) == ("true 50 mph", "true 80.47 km/h")
    assert (check.permitted.text, check.permitted.other) == ("45.0 to 55.0 mph", "72.4 to 88.5 km/h")  # x 1.609344


def test_a_rule_from_memory_says_so_in_the_report() -> None:
    """A from-memory value is never shown as if it had been read."""
    verdict = judged("un_r39_cop_mn").judgement
    assert verdict is not None
    assert "FROM MEMORY" in verdict.source


def test_a_fail_and_an_open_verdict_read_differently_without_colour() -> None:
    """Word and sign carry it."""
    fail = judged("un_r39_type", after=make_calibration(0.9)).judgement
    assert fail is not None
    assert (fail.word, fail.mark) == ("FAIL", "✗")
    open_verdict = judged("un_r39_type", after=make_calibration(1.0, offset=0.0)).judgement
    assert open_verdict is not None
    assert (open_verdict.word, open_verdict.mark) == ("NOT PROVEN", "?")


@pytest.mark.parametrize(
    ("p", "text"), [(1.0, "over 99.9 %"), (0.9996, "over 99.9 %"), (0.5, "50.0 %"), (0.0, "under 0.1 %")]
)
def test_a_probability_is_never_written_as_a_certainty(p: float, text: str) -> None:
    """100 % and 0 % are not what was computed."""
    assert percent(p) == text


def test_what_to_fit_is_said_only_while_there_is_no_drive_after() -> None:
    """Before the work the choices matter; after it, what was done."""
    vehicle = Vehicle.from_dict({"driven_gear": 20, "drive_gear": 8})
    facts = make_facts(vehicle=vehicle, corrections=correct(make_calibration(1.096), vehicle))
    assert build_model(facts).to_fit is None
    fit = build_model(replace(facts, after=None, work=None)).to_fit
    assert fit is not None
    assert "riven gear 22" in fit.sentence
    assert any("fitted now" in row.remarks for row in fit.rows)


@pytest.mark.parametrize(
    ("shift", "text"),
    [
        (Interval(7.3, 6.1, 8.4), "7.30 (6.10 to 8.40) s"),
        (Interval(-3.0, -5.0, -1.0), "−3.0 (−5.0 to −1.0) s"),
        (Interval(36007.0, 36005.0, 36009.0), "+10:00 h and 7.0 (5.0 to 9.0) s"),
        (Interval(-19793.0, -19795.0, -19791.0), "−5:30 h and 7.0 (5.0 to 9.0) s"),
        (Interval(1936778407.0, 1936778405.0, 1936778409.0), "+10:00 h and 7.0 (5.0 to 9.0) s"),
    ],
)
def test_a_clock_offset_is_said_in_zone_and_seconds(shift: Interval, text: str) -> None:
    """Hand arithmetic: 36007 s = 10 h + 7 s; -19793 s = -5.5 h + 7 s; days since 1970 are left out."""
    assert clock_shift(shift) == text


def test_value_and_interval_are_rounded_together() -> None:
    """Two digits of the standard uncertainty: 0.011 keeps three decimals."""
    assert with_interval(Interval(1.0958333, 1.0738333, 1.1178333)) == "1.096 (1.074 to 1.118)"


def test_line_breaks_and_overrides_in_names_cannot_disturb_the_page() -> None:
    """A name is one line, in its own direction, whatever was typed."""
    model = build_model(make_facts(shop="A\nB\x00C\u202eD", customer="  two   words "))
    assert model.shop == "A B CD"
    assert model.customer == "two words"


def test_many_readings_are_not_listed_one_by_one_but_the_rejected_are() -> None:
    """Two thousand rows help nobody; the table beside the page has them."""
    facts = make_facts()
    many = make_calibration(count=2000, wrong=5)
    model = build_model(replace(facts, drives=(replace(facts.drives[0], calibration=many),), before=many, after=None))
    assert model.details[0].readings == ()
    assert len(model.details[0].rejected) == 5
    assert model.details[0].reasons == (("20 off the line that the other readings agree on", 5),)
    assert "1995 of 2000" in model.details[0].counts


def test_a_rule_from_memory_says_so_wherever_it_is_named() -> None:
    """Beside the verdict and in the picture; a rule that was read in a text is named alone."""
    memory, read = judged("un_r39_cop_mn"), judged("un_r39_type")
    assert memory.judgement is not None
    assert memory.judgement.rule.endswith("(limits from memory)")
    assert memory.allowed is not None
    assert memory.allowed.label.endswith("(from memory)")
    assert read.judgement is not None
    assert read.allowed is not None
    assert "memory" not in read.judgement.rule + read.allowed.label
