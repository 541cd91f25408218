"""The words of a report: what the customer, the tech and the law need to read, and nothing that is not so."""

from collections import namedtuple
from dataclasses import replace

import pytest
from support.report_cases import make_calibration, make_facts

from speedcal.calibration.result import ANOTHER_DAY, BudgetLine
from speedcal.conformity import load_tolerance, verify
from speedcal.finding import Finding, Trust
from speedcal.interval import Interval
from speedcal.report import DriveFacts, ReportModel, build_model
from speedcal.report.for_tech import depth, drive_detail
from speedcal.text.pages import report_for_customer as words
from speedcal.text.pages import report_of_dial as dial_words
from speedcal.text.pages.told_speeds import headline_speed, table_speeds
from speedcal.text.results.calibration_summary import clock_shift
from speedcal.text.words.numbers import chance
from speedcal.units import MPH_MPS
from speedcal.vehicle import Vehicle, Work, correct
from speedcal.vehicle.advised.advice import Advice


def exact(factor: float, offset: float = 0.0, **more):  # type: ignore[no-untyped-def]
    """Return a calibration without any uncertainty."""
    return make_calibration(factor, offset=offset, u_offset=0.0, **more)


def test_the_customers_sentence_says_what_the_dial_showed_and_shows() -> None:
    """Hand arithmetic: 1.1 x 60 = 66; after, 60.5 +- 0.6 rounds to 60 to 61."""
    before = exact(1.1)
    after = make_calibration(1.0, offset=0.5, u_offset=0.3)
    said = dial_words.customer_sentence(before, after, "mph", change="the gear change", spoken_in="mph")
    assert said == "At a true 60 mph the dial showed 66; after the gear change it shows 60 to 61."
    left = dial_words.customer_sentence(before, after, "mph", change="", spoken_in="mph")
    assert left == "At a true 60 mph the dial showed 66; on the road test it shows 60 to 61."


@pytest.mark.parametrize(
    ("work", "said"),
    [
        ({"driven_gear": 22}, "the gear change"),
        ({"driven_gear": 22, "needle": -5}, "the work"),
        ({"ratio_box": "20/21"}, "fitting the ratio box"),
        ({"instrument_repaired": True}, "the repair"),
    ],
)
def test_the_sentence_names_what_was_done_where_it_was_one_thing(work: dict, said: str) -> None:
    assert words.change_words(Work.from_dict(work)) == said


def test_the_sentence_is_said_in_the_other_unit_at_the_same_speed() -> None:
    """60 mph is 96.56 km/h; 1.1 x 96.56 = 106.2."""
    said = dial_words.customer_sentence(exact(1.1), None, "mph", change="", spoken_in="km/h")
    assert said == "At a true 97 km/h the dial shows 106."


def test_a_range_is_not_narrower_than_the_interval() -> None:
    """66 +- 1.2: both rounded ends are said."""
    c = make_calibration(1.1, offset=0.0, u_offset=0.6)
    assert dial_words.shown_range(c, 60, "mph") == "65 to 67"
    assert dial_words.shown_range(c, 60, "mph", decimals=1) == "64.8 to 67.2"


@pytest.mark.parametrize(
    ("low", "high", "speed"), [(25, 65, 60), (25, 58, 50), (20, 44, 40), (14, 24, 20), (21, 28, 25), (61, 64, 62)]
)
def test_the_sentence_speaks_of_a_speed_that_was_driven(low: float, high: float, speed: float) -> None:
    """A usual speed where it was driven, else a multiple of five, else the middle of what was driven."""
    assert headline_speed([make_calibration(low=low, high=high)], "mph") == pytest.approx(speed, abs=0.6)


@pytest.mark.parametrize(
    ("low", "high", "speeds"),
    [(25, 65, (30, 50, 70)), (5, 18, (5, 10, 15)), (10, 44, (10, 25, 40)), (21, 29, (22, 26, 28))],
)
def test_the_table_of_a_slow_vehicle_has_speeds_that_it_reaches(
    low: float, high: float, speeds: tuple[int, ...]
) -> None:
    """A tractor is told nothing of 70 mph."""
    assert table_speeds([make_calibration(low=low, high=high)], "mph") == speeds


def test_the_table_has_the_speeds_that_were_chosen_for_the_job() -> None:
    """A job judged at 50, 80 and 120 km/h was told of 110; of many the ends and the middle are told."""
    c = make_calibration(low=20, high=80)
    chosen = load_tolerance({"rule": "un_r39_type", "speeds": [120, 50, 80]}, unit="km/h")
    assert table_speeds([c], "km/h", chosen) == (50, 80, 120)
    many = load_tolerance({"rule": "un_r39_type", "speeds": [40, 50, 60, 80, 100]}, unit="km/h")
    assert table_speeds([c], "km/h", many) == (40, 60, 100)
    assert table_speeds([c], "km/h", load_tolerance({"rule": "un_r39_type", "max_speed": 150}, unit="km/h")) == (
        50, 80, 110
    )  # fmt: skip


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


def test_a_drive_says_what_was_written_down_of_the_vehicle_that_day() -> None:
    """Odometer at the start, tires and their cold pressure stand beside the day of the drive."""
    noted = (("odometer", 51400.0), ("tire", "225/70R16"), ("cold_pressure_psi", 35.0))
    before = exact(1.1)
    facts = make_facts(before=before, after=None, drives=(DriveFacts("before", before, noted=noted),))
    assert build_model(facts).driven[0][1].endswith("; odometer 51,400 miles; tires 225/70R16; 35 psi cold")


def test_what_is_left_says_when_the_dial_reads_low() -> None:
    """A dial that shows less than the truth is the dangerous side; it is named as such."""
    low = " ".join(dial_words.left_over(exact(0.97), "mph"))
    assert "reads low" in low
    maybe = make_calibration(1.001, u_offset=0.1 / MPH_MPS)
    assert "may read low" in " ".join(dial_words.reads_low(maybe, "mph", is_tested=True))
    assert "off by −" in " ".join(dial_words.left_over(maybe, "mph"))  # the range says it there
    assert "low" not in " ".join(dial_words.left_over(exact(1.05), "mph"))


def test_what_is_left_is_said_over_the_speeds_driven() -> None:
    """Exactly 4 % high: 1.0 at 25, 2.6 at 65; the table beside it tells single speeds."""
    left = dial_words.left_over(exact(1.04), "mph")
    assert left == ("From 25 to 65 mph the dial is off by +1.0 to +2.6 mph.",)


@pytest.mark.parametrize(("offset", "said"), [(2.0, "2.0 mph high"), (-2.0, "2.0 mph low")])
def test_a_needle_is_said_to_sit_high_or_low(offset: float, said: str) -> None:
    """'Off' alone does not tell which way to set it over. It is known to 1.96 x 0.5 mph: 1.0 to 3.0."""
    after = make_calibration(1.0, offset=offset, u_offset=0.5)
    assert f"The needle sits {said} at every speed (1.0 to 3.0);" in " ".join(dial_words.left_over(after, "mph"))
    found = Finding("needle_offset", offset_mps=offset * MPH_MPS, unit="mph")
    assert found.text.startswith(f"The needle sits {said} at every speed;")


def test_the_likely_cause_is_told_until_something_was_done_about_it() -> None:
    """A needle 5 mph high at every speed; after the work the verdict says what is left."""
    before = exact(1.0, 5.0)
    found = correct(before, Vehicle(), speeds=[30, 50])
    model = build_model(make_facts(before=before, after=None, corrections=found))
    assert model.cause.startswith("Likely cause: the needle sits wrong on its shaft (")
    assert build_model(make_facts(before=before, after=exact(1.0), corrections=found)).cause == ""
    assert build_model(make_facts(before=before, after=None, corrections=None)).cause == ""


def test_what_is_not_in_the_interval_says_so() -> None:
    """The tires of another day are a usual size and no part of the interval."""
    drive = make_calibration()
    other_day = BudgetLine(ANOTHER_DAY, "B", 0.002, 0.05, 0.0)
    detail = drive_detail("before", replace(drive, budget=(*drive.budget, other_day)), "mph", has_date=True)
    assert detail.budget[-1][0] == "tires on another day"
    assert detail.budget[-1][3] == "a usual size; not in this range"


def test_one_reading_that_was_left_out_for_a_reason_is_one_reading() -> None:
    """Beside many that were left out for another one the printed page counts them."""
    drive = make_calibration()
    table = drive.readings.assign(reason=["no_speed", *["wrong"] * (len(drive.readings) - 1)], used=False)
    lines = drive_detail("before", replace(drive, readings=table), "mph", has_date=True).in_short()
    counts = [line.split(":")[0] for line in lines if "not used" in line]
    assert counts == [f"{len(table) - 1} readings not used", "1 reading not used"]


def test_a_reading_that_disagrees_stands_once_on_the_printed_page() -> None:
    """The finding names it by its line, and what was left out for another reason stands beside it."""
    drive = make_calibration()
    table = drive.readings.assign(line=range(2, len(drive.readings) + 2))
    table.loc[table.index[:2], ["reason", "used"]] = [["wrong", False], ["no_speed", False]]
    row = {"line": 2, "shown_mps": 30.0, "expected_mps": 20.0}
    found = Finding("wrong_readings", rows=[row], count=1, unit="mph")
    lines = drive_detail("before", replace(drive, readings=table, findings=(found,)), "mph", has_date=True).in_short()
    assert sum("line 2 " in line or line.startswith("Line 2,") for line in lines) == 1
    assert sum(line.startswith("Line 3,") for line in lines) == 1


def test_choices_in_depth_carry_the_errors_of_the_corrections() -> None:
    """Two teeth more on 20 take a factor of 1.1 to 1.0; at 60 mph the error goes from +6 to 0."""
    vehicle = Vehicle.from_dict({"driven_gear": 20})
    found = depth(correct(exact(1.1), vehicle, speeds=[30, 60]), ("mph", "km/h"))
    driven = dict(found.kinds)["Driven gear"]
    assert driven[0].name == "driven gear 22"
    assert driven[0].errors[1][:2] == ("0.0", "0.0 to 0.0")
    fitted = next(choice for choice in driven if "fitted now" in choice.summary)
    assert fitted.errors[1] == ("+6.0", "+6.0 to +6.0", "+9.7 km/h")  # 6 x 1.609344
    assert found.speeds == (("30 mph", "48.3 km/h"), ("60 mph", "96.6 km/h"))


def test_the_odometer_is_told_by_its_own_readings_alone() -> None:
    """Hand arithmetic: a factor of 1.096 counts 109.6 for 100; a pointer says nothing about an odometer."""
    measured = dial_words.odometer_sentences(make_calibration(1.096, odometer=True), None, "mph")
    assert measured == ("Before the work the odometer counted 109.2 to 110.0 for 100 true miles.",)
    short = replace(make_calibration(1.0), odometer_factor=Interval(1.08, 0.86, 1.3))
    (vague,) = dial_words.odometer_sentences(None, short, "mph")
    assert "long enough" in vague  # and not "86 to 130"
    (silent,) = dial_words.odometer_sentences(None, make_calibration(1.0), "km/h")
    assert "not read" in silent


@pytest.mark.published("49 USC 32703, 32704")
def test_the_law_reminder_names_the_law_and_offers_nothing() -> None:
    """Service may not change the mileage shown; the report offers no way to."""
    said = f"{words.ODOMETER_LAW} {words.ODOMETER_LAW_IN_FULL}"
    assert "49 USC 32703 and 32704" in said
    assert "left door frame" in said
    assert "from now on" in said


def test_the_cautions_name_who_reads_where_and_on_what() -> None:
    """A passenger, legal speeds, rated stands, local rules, licensed shop."""
    said = " ".join(words.CAUTIONS)
    for part in ("passenger", "Legal speeds", "rated stands", "secured", "Local rules", "licensed shop"):
        assert part in said


def test_a_report_needs_a_drive() -> None:
    """Without any drive there is nothing to report; that is the caller's mistake."""
    with pytest.raises(ValueError, match="drive"):
        build_model(make_facts(before=None, after=None, drives=()))


def test_figures_stand_in_the_unit_of_the_job_and_in_both_when_asked() -> None:
    """30, 50 and 70 mph are 48.3, 80.5 and 112.7 km/h; the dial of factor 1.1 shows a tenth more in both."""
    facts = make_facts(before=exact(1.1), after=None)
    model, both = build_model(facts), build_model(replace(facts, both_units=True))
    assert [(row.true, row.before) for row in model.rows] == [
        (("30 mph",), ("33.0 mph",)),
        (("50 mph",), ("55.0 mph",)),
        (("70 mph",), ("77.0 mph",)),
    ]
    assert [(row.true[1], row.before and row.before[1]) for row in both.rows] == [
        ("48.3 km/h", "53.1 km/h"),
        ("80.5 km/h", "88.5 km/h"),
        ("112.7 km/h", "123.9 km/h"),
    ]
    assert len(model.sentences) == 1
    assert both.sentences == (model.sentence, "At a true 97 km/h the dial showed 106 before the gear change.")


def test_a_speed_that_was_not_driven_is_marked() -> None:
    """The demo calibrations end at 65 mph, so 70 is carried on along the line."""
    assert [row.outside for row in build_model(make_facts()).rows] == [False, False, True]


def test_a_job_in_kilometres_speaks_of_kilometres() -> None:
    """The table and the sentence are in km/h, and nothing is in mph."""
    c = make_calibration(1.06, unit="km/h", low=40, high=110)
    model = build_model(make_facts(unit="km/h", before=c, after=None))
    assert model.sentence.startswith("At a true 100 km/h the dial showed 10")
    assert [row.true for row in model.rows] == [("50 km/h",), ("80 km/h",), ("110 km/h",)]
    assert "mph" not in " ".join((model.sentence, *model.left, *model.odometer))


def test_the_distance_truly_driven_since_the_work_is_reported_and_nothing_more() -> None:
    """3,200 miles shown at a factor of 0.95 are 3,368; the words of the law stand beside it."""
    work = Work(driven_gear=22, date="2031-05-20", odometer=48200, odometer_now=51400)
    after = make_calibration(0.95, odometer=True)
    said = build_model(make_facts(work=work, after=after)).odometer[0]
    assert "shown 3,200 miles" in said
    assert "against the law" in said
    assert not any("3,200" in line for line in build_model(make_facts(after=after)).odometer)


def test_a_weak_drive_says_so_before_any_number() -> None:
    """The reader sees the word before the number."""
    weak = make_calibration(trust=Trust("WEAK", (Finding("few_speeds", levels_mps=[], unit="mph"),)))
    model = build_model(make_facts(before=weak))
    assert model.warnings == ("Drive before: WEAK. No speed held; hold four of them.",)
    assert build_model(make_facts()).warnings == ()


@pytest.mark.parametrize(("within", "asks"), [(10, False), (0.1, True)])
def test_a_road_test_that_passed_leaves_no_question_about_the_drive_before(*, within: float, asks: bool) -> None:
    """Who reads PASS is not asked whether speeds were held weeks ago; who reads another verdict is."""
    weak = make_calibration(trust=Trust("WEAK", (Finding("few_speeds", levels_mps=[], unit="mph"),)))
    facts = make_facts(before=weak)
    verification = verify(None, facts.after, {"percent": within})
    assert (verification.verdict == "pass") is not asks
    (told,) = build_model(replace(facts, verification=verification)).warnings
    assert told.startswith("Drive before: WEAK.")
    assert ("hold four of them" in told) is asks


def test_a_log_that_may_be_of_gps_asks_its_question_beside_the_verdict_and_not_once_it_is_answered() -> None:
    """A page whose verdict is PASS hid the question among the details of the drive."""
    like_gps = (Finding("reads_as_gps", within=0.004),)
    log = replace(exact(1.0, count=600), findings=like_gps)
    before = exact(1.12, count=600)
    alone = build_model(make_facts(before=None, after=log, drives=(DriveFacts("after", log),)))
    assert alone.warnings == tuple(found.text for found in like_gps) == alone.details[0].findings
    both = (DriveFacts("before", before), DriveFacts("after", log))
    answered = build_model(make_facts(before=before, after=log, drives=both))
    assert answered.warnings == answered.details[1].findings == ()


def test_a_rider_is_told_that_bends_show_more() -> None:
    """What is left is that of driving straight; the page said so among the details only."""
    leaning = replace(exact(1.04), findings=(Finding("vehicle_leans", most=0.035),))
    assert dial_words.left_over(leaning, "mph")[-1] == "In bends it shows up to 3.5 % more."
    assert "bends" not in " ".join(dial_words.left_over(exact(1.04), "mph"))


@pytest.mark.parametrize(
    ("changes", "words_said"),
    [({"before": None}, "no drive before"), ({"after": None}, "no drive after"), ({}, "No rule was named")],
)
def test_a_missing_part_is_named_with_what_would_bring_it(changes: dict[str, None], words_said: str) -> None:
    """Silence would look like a result."""
    assert words_said in " ".join(build_model(make_facts(**changes)).missing)


def judged(rule: str, both_units: bool = False, **changes) -> ReportModel:  # type: ignore[no-untyped-def]
    facts = make_facts(**changes)
    tolerance = load_tolerance(rule, unit="mph")
    assert facts.after is not None
    return build_model(
        replace(facts, tolerance=tolerance, verification=verify(None, facts.after, tolerance), both_units=both_units)
    )


def test_the_verdict_carries_rule_source_status_and_decision_rule() -> None:
    """A verdict without its rule and its decision rule is worth nothing (ISO/IEC 17025:2017, 7.8.6)."""
    verdict = judged("us_393_82", both_units=True).verdict
    assert verdict is not None
    assert (verdict.word, verdict.mark) == ("PASS", "✓")
    assert "393.82" in verdict.rule + verdict.source
    assert "JCGM 106" in verdict.decision_rule
    check = verdict.checks[0]
    assert check.at == ("true 50 mph", "true 80.47 km/h")
    assert check.permitted == ("45.0 to 55.0 mph", "72.4 to 88.5 km/h")  # x 1.609344


def test_a_rule_that_nobody_read_in_its_document_says_so_wherever_it_is_named() -> None:
    """Beside the verdict and in the picture; a rule that was read in a text is named alone."""
    unread, read = judged("un_r39_cop_mn"), judged("un_r39_type")
    assert unread.verdict is not None
    assert unread.verdict.source.endswith("(not verified against the document).")
    assert unread.allowed is not None
    assert unread.allowed.label.endswith("(not verified)")
    assert read.verdict is not None
    assert read.allowed is not None
    assert "not verified" not in read.verdict.source + read.allowed.label


def test_a_result_that_is_no_pass_says_first_what_happens_next() -> None:
    """Not proven asks for readings, fail does not let the work be signed off, a pass needs nothing."""
    passed = judged("us_393_82")
    failed = judged("un_r39_type", after=make_calibration(0.9))
    open_ = judged("un_r39_type", after=make_calibration(1.0, offset=0.0))
    assert passed.next_steps == ()
    assert failed.next_heading == "FAIL: what happens next"
    assert "Do not sign the work off" in failed.next_steps[0]
    assert open_.next_heading == "NOT PROVEN: what happens next"
    assert open_.next_steps


def test_advice_leads_where_there_is_some(monkeypatch: pytest.MonkeyPatch) -> None:
    """In its order, and in place of what is said without it."""
    monkeypatch.setattr(Advice, "__str__", lambda entry: f"{entry.action} {entry.part}")
    vehicle = Vehicle.from_dict({"driven_gear": 20, "drive_gear": 8})
    advised = namedtuple("advised", "advice best")(
        (Advice("fit_driven_gear", part="driven_gear", value=22), Advice("reseat_needle", part="needle")), None
    )
    assert words.next_steps(advised, None) == ("Fit_driven_gear driven_gear", "Reseat_needle needle")  # type: ignore[arg-type]
    silent = replace(correct(make_calibration(1.096), vehicle), advice=())
    assert "riven gear 22" in words.next_steps(silent, None)[0]


def test_work_that_is_told_is_driven_next_and_not_advised_anew() -> None:
    """22 teeth for 20 take 1.096 to 0.996; what it leaves stands beside, and a note alone is no work."""
    vehicle = Vehicle.from_dict({"driven_gear": 20, "drive_gear": 8})
    found = correct(make_calibration(1.096), vehicle)
    (told,) = words.next_steps(found.after(Work.from_dict({"driven_gear": 22}), is_driven=False), None)
    assert told.startswith("Drive the road test of the work (driven gear 22)")
    assert "leaves at most 0.4 % error, " in told
    noted = found.after(Work.from_dict({"note": "cleaned"}), is_driven=False)
    assert noted.advice == found.advice
    both = found.after(Work.from_dict({"driven_gear": 22, "needle": -1}), is_driven=False)
    assert "leaves" not in words.next_steps(both, None)[0]


@pytest.mark.parametrize(
    ("scaler", "shown"), [("1.0753", "1.0753"), ("0.93", "0.93"), ("27/32", "27/32"), ("8/7", "8/7")]
)
def test_a_scaler_is_told_as_it_is_set(scaler: str, shown: str) -> None:
    """Decimals on its display in decimals, a ratio of its switches as a ratio."""
    assert words.done(Work.from_dict({"pulse_scaler": scaler}), None, "mph") == (f"Pulse scaler {shown}",)


def test_a_fail_and_an_open_verdict_read_differently_without_colour() -> None:
    """Word and sign carry it."""
    fail = judged("un_r39_type", after=make_calibration(0.9)).verdict
    assert fail is not None
    assert (fail.word, fail.mark) == ("FAIL", "✗")
    open_verdict = judged("un_r39_type", after=make_calibration(1.0, offset=0.0)).verdict
    assert open_verdict is not None
    assert (open_verdict.word, open_verdict.mark) == ("NOT PROVEN", "?")


@pytest.mark.parametrize(
    ("p", "text"),
    [(1.0, "over 99.9 %"), (0.9996, "over 99.9 %"), (0.5, "50 %"), (0.949, "94.9 %"), (0.0, "under 0.1 %")],
)
def test_a_probability_is_never_written_as_a_certainty(p: float, text: str) -> None:
    """100 % and 0 % are not what was computed, and what nearly passes is not rounded up to a pass."""
    assert chance(p) == text


def test_what_to_fit_is_said_only_while_there_is_no_drive_after() -> None:
    """Before the work the choices matter; after it, what was done."""
    vehicle = Vehicle.from_dict({"driven_gear": 20, "drive_gear": 8})
    facts = make_facts(vehicle=vehicle, corrections=correct(make_calibration(1.096), vehicle))
    assert build_model(facts).to_fit is None
    fit = build_model(replace(facts, after=None, work=None)).to_fit
    assert fit is not None
    assert "riven gear 22" in fit.sentence
    assert fit.rows[0][0] == "driven gear 22"


def test_what_is_advised_leads_the_choices_and_no_other_is_called_the_best() -> None:
    """1.126 x 19/22 is 2.8 % low, 19/21 is 1.9 % high: nearer to true is a drive gear of 7, and all but 21 read low."""
    vehicle = Vehicle.from_dict({"driven_gear": 19, "drive_gear": 8})
    calibration = make_calibration(1.126, u_offset=0.15)
    limits = load_tolerance("un_r39_type").allowed
    found = correct(calibration, vehicle, speeds=[30, 45, 60], limits=limits)
    assert next(a.value for a in found.advice if a.action == "fit_driven_gear") == 21
    fit = build_model(make_facts(vehicle=vehicle, corrections=found, after=None, work=None)).to_fit
    assert fit is not None
    (name, _, remarks), *others = fit.rows
    assert (name, remarks) == ("driven gear 21", "advised")
    assert [row[0] for row in others] == ["drive gear 7"]
    assert not any("best" in row[2] for row in fit.rows)


@pytest.mark.parametrize(
    ("shift", "text"),
    [
        (Interval(7.3, 6.1, 8.4), "7.3 (6.1 to 8.4) s"),
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
    assert str(Interval(1.0958333, 1.0738333, 1.1178333)) == "1.096 (1.074 to 1.118)"
    assert str(Interval(0.412, -0.918, 1.742)) == "0.41 (−0.92 to 1.74)"


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
    assert len(model.details[0].left_out) == 5
    assert model.details[0].reasons == (("disagrees with the other readings", 5),)
    assert "1995 of 2000" in model.details[0].counts


@pytest.mark.parametrize(("needle", "unit", "said"), [(4.0, "mph", "4 mph higher"), (-6.437, "km/h", "6.4 km/h lower")])
def test_a_needle_that_was_set_over_is_told_with_its_unit(needle: float, unit: str, said: str) -> None:
    assert words.done(Work(needle=needle), None, unit) == (f"Needle set {said}",)


def test_a_setting_is_told_with_the_number_it_had() -> None:
    """A module's number is a part like any gear: what it was stands beside what it is."""
    vehicle = Vehicle.from_dict({"tire": "225/70R16", "settings": {"circumference_mm": {"now": 2150, "step": 5}}})
    work = Work.from_dict({"tire": "235/70R16", "settings": {"circumference_mm": 2280}})
    (said,) = words.done(work, vehicle, "km/h")
    assert said.endswith("(before: tire 225/70R16, module circumference 2150 mm)")


def test_a_reading_that_is_left_out_is_told_apart_from_what_was_expected() -> None:
    """Both are 31 mph in whole numbers: 31.4 and 30.6."""
    rows = [{"line": 7, "shown_mps": 31.4 * MPH_MPS, "expected_mps": 30.6 * MPH_MPS}]
    said = Finding("wrong_readings", unit="mph", count=1, rows=rows).text
    assert "line 7 (31.4 mph, expected 30.6 mph)" in said


def test_one_is_no_plural_and_no_range() -> None:
    """'50 mph to 50 mph' and 'in 1 steady runs' stood in an answer about one held speed."""
    at = {"low_mps": 50 * MPH_MPS, "high_mps": 50.2 * MPH_MPS, "below_mps": 40 * MPH_MPS, "above_mps": 61 * MPH_MPS}
    said = Finding("one_speed", **at, unit="mph").text
    assert said == "nearly one speed only, 50 mph; add steady runs below 40 mph or above 61 mph."
    assert "50 mph to 53 mph" in Finding("one_speed", **{**at, "high_mps": 53 * MPH_MPS}, unit="mph").text
    assert "in 1 steady run\n" in str(replace(make_calibration(), steady_runs=1))
    assert "in 9 steady runs\n" in str(replace(make_calibration(), steady_runs=9))


def test_what_a_warning_says_is_not_said_again_by_a_step() -> None:
    """The reason against trust stands above; the step keeps what else speaks for it."""
    few = Finding("few_readings", count=6)
    before = make_calibration(1.1, trust=Trust("WEAK", (few,)))
    found = correct(before, Vehicle.from_dict({"driven_gear": 19}))
    again = Advice("drive_again", because=(Finding("too_uncertain"), few))
    model = build_model(make_facts(before=before, after=None, work=None, corrections=replace(found, advice=(again,))))
    assert "note twenty" in " ".join(model.warnings)
    assert "note twenty" not in " ".join(model.next_steps)
    assert "not precise enough" in " ".join(model.next_steps)
