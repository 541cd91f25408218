"""The form of a job carries every key of the job file, and gives back what it was given."""

from __future__ import annotations

import pytest
from support.web_site import DEMO, Site

from speedcal.conformity import load_tolerance
from speedcal.conformity.rules import tolerance_names
from speedcal.statements import stated
from speedcal.web.pages.fields import field_of, fields, groups, read_form, show_form

NOT_IN_THE_FORM = {
    "tolerance": {"unit", "confidence", "name", "quantity", "given", "domain", "source", "note"},
}
"""The form judges in the unit of the job, the speed shown; an imported job keeps the others."""


@pytest.mark.parametrize("table", ["job", "vehicle", "work", "tolerance"])
def test_every_key_of_the_job_file_has_one_field(table: str) -> None:
    """And no field fills a key that does not exist."""
    filled = [key for f in fields() if f.table == table for key in f.names]
    assert sorted(filled) == sorted(set(stated(table).keys) - NOT_IN_THE_FORM.get(table, set()))
    assert all(f.title for f in groups())


def test_a_problem_is_said_at_its_field() -> None:
    """Keys that share a field, and tables in a table."""
    assert field_of("vehicle", "pulses_per_km") == "vehicle.expects"
    assert field_of("vehicle.settings.axle_ratio", "step") == "vehicle.settings"
    assert field_of("vehicle", "tread_mm") == "vehicle.tread_mm"


def test_every_rule_can_be_chosen_and_loaded() -> None:
    """The list of the form is that of the data file, rules on the odometer too."""
    choices = next(f for f in fields() if f.id == "tolerance.rule").choices
    offered = {name for name, _ in choices} - {"", "own"}
    rules = {
        name: load_tolerance({"rule": name, **({"full_scale": 120} if "j1226" in name else {})}, unit="mph")
        for name in tolerance_names()
    }
    assert offered == set(rules)
    from_memory = {name for name, rule in rules.items() if rule.status == "from memory"} & offered
    assert from_memory == {name for name, words in choices if "not verified" in words}


def test_the_demo_job_goes_through_the_form_unchanged() -> None:
    """Shown, sent back as it was shown: the same tables."""
    import tomllib

    document = tomllib.loads((DEMO / "job.toml").read_text("utf-8"))
    tables = {name: document[name] for name in ("job", "vehicle", "work", "tolerance")}
    sent, problems = read_form(show_form(tables), tables)
    assert problems == {}
    assert sent == tables


def test_what_the_form_has_no_field_for_stays() -> None:
    """A gear family of one's own: it came with an import and survives an edit."""
    tables = {"vehicle": {"gear_family": {"name": "mine", "driven": {"teeth": "15-25"}}}}
    texts = show_form(tables)
    sent, problems = read_form({**texts, "vehicle.label": "Truck"}, tables)
    assert (sent, problems) == ({"vehicle": {**tables["vehicle"], "label": "Truck"}}, {})


@pytest.mark.parametrize(
    ("text", "setting"),
    [
        ("turns_per_mile = 670", {"turns_per_mile": 670}),
        ("circumference_mm = 2400, step 5", {"circumference_mm": {"now": 2400, "step": 5}}),
        ("axle_ratio = step 0.01, low 2.5", {"axle_ratio": {"step": 0.01, "low": 2.5}}),
        ("diameter_in = 28.9, values 27 28.9 30.5", {"diameter_in": {"now": 28.9, "values": [27, 28.9, 30.5]}}),
    ],
)
def test_a_setting_is_written_with_what_the_module_takes(text: str, setting: dict[str, object]) -> None:
    """What came with an import is seen, and can be typed as it is shown."""
    tables = {"vehicle": {"settings": setting}}
    assert show_form(tables)["vehicle.settings"] == text
    assert read_form({"vehicle.settings": text}, {}) == (tables, {})
    assert read_form({"vehicle.settings": text.replace(",", "")}, {}) == (tables, {})


def test_a_figure_of_a_setting_that_is_none_is_said() -> None:
    _, problems = read_form({"vehicle.settings": "circumference_mm = 2400, step five"}, {})
    assert problems["vehicle.settings"].code == "not_a_number"


@pytest.mark.parametrize(
    ("text", "value"), [("3,73", 3.73), ("3.73", 3.73), ("41/11", "41/11"), ("4", 4), ("41 : 11", "41 : 11")]
)
def test_a_ratio_is_kept_as_teeth_or_as_a_number(text: str, value: object) -> None:
    """Teeth say more than the rounded number; decimal commas are understood."""
    assert read_form({"vehicle.axle": text}, {})[0]["vehicle"]["axle"] == value


@pytest.mark.parametrize(
    ("text", "speeds"), [("30, 45,60", [30, 45, 60]), ("30 45,5; 60", [30, 45.5, 60]), ("30\n45", [30, 45])]
)
def test_a_list_of_speeds_is_read_as_held_speeds_are(text: str, speeds: list[float]) -> None:
    """One reader: a comma between two speeds never becomes a decimal comma."""
    sent, problems = read_form({"tolerance.rule": "sae_j2976", "tolerance.speeds": text}, {})
    assert problems == {}
    assert sent["tolerance"]["speeds"] == speeds


def test_a_comma_that_may_mean_a_thousand_is_asked_about() -> None:
    """1,000 turns per mile are not one turn; 0,975 and 2,5 are plain."""
    assert read_form({"vehicle.expects": "1,000"}, {})[1]["vehicle.expects"].code == "comma_unclear"
    assert read_form({"vehicle.tread_mm": "2,5"}, {})[0]["vehicle"] == {"tread_mm": 2.5}
    assert read_form({"vehicle.transfer_ratio": "0,975"}, {})[0]["vehicle"] == {"transfer_ratio": 0.975}


@pytest.mark.parametrize(
    ("other", "text", "number"),
    [
        ("2,5", "1,000", 1),
        ("2.5", "1,000", 1000),
        ("2,5", "1.000", 1000),
        ("2.5", "1.000", 1),
        ("", "1.000", 1),
        ("", "1,234,567", 1234567),
        ("", "1.234,5", 1234.5),
        ("", "1,234.5", 1234.5),
        ("", "84 210", 84210),
        ("", "84'210.5", 84210.5),
    ],
)
def test_another_number_of_the_form_tells_what_a_separator_means(other: str, text: str, number: float) -> None:
    """Whoever writes 2,5 means one by 1,000 and a thousand by 1.000; groups that can mean one thing are read so."""
    sent, problems = read_form({"vehicle.tread_mm": other, "vehicle.expects": text}, {})
    assert problems == {}
    assert sent["vehicle"]["turns_per_mile"] == number


@pytest.mark.parametrize("text", ["1,23,4", "1.2.3", "1,234.567,8", "12,34,567", "84 21", "1 2", "nan", "0x10", "1e3"])
def test_what_groups_in_no_way_is_no_number(text: str) -> None:
    """It is asked about, never guessed."""
    assert read_form({"vehicle.expects": text}, {})[1]["vehicle.expects"].code == "not_a_number"


def test_a_bad_table_of_an_import_can_be_mended_in_the_form() -> None:
    """A table where a text should be gives way to what is typed, or goes; a gear family of one's own stays."""
    tables = {"vehicle": {"label": {"a": 1}, "gear_family": {"name": "mine"}}}
    assert read_form({**show_form(tables)}, tables)[0] == {"vehicle": {"gear_family": {"name": "mine"}}}
    sent, _ = read_form({"vehicle.label": "Truck", "vehicle.gear_family": "indexed housing"}, tables)
    assert sent == {"vehicle": {"label": "Truck", "gear_family": "indexed housing"}}


def test_one_of_several_keys_is_filled() -> None:
    """Changing turns per mile into pulses per km leaves one of them."""
    first, _ = read_form({"vehicle.expects": "1000", "vehicle.expects.key": "turns_per_mile"}, {})
    second, _ = read_form({"vehicle.expects": "2485", "vehicle.expects.key": "pulses_per_km"}, first)
    assert second == {"vehicle": {"pulses_per_km": 2485}}
    assert read_form({"vehicle.expects": "5", "vehicle.expects.key": "label"}, {})[0] == {
        "vehicle": {"turns_per_mile": 5}
    }


def test_figures_of_a_rule_of_our_own_go_when_a_named_rule_is_chosen() -> None:
    """And the other way round; without a rule nothing of it stays."""
    own, _ = read_form({"tolerance.rule": "own", "tolerance.high_percent": "4", "tolerance.never_low": "yes"}, {})
    assert own["tolerance"] == {"high_percent": 4, "never_low": True}
    assert show_form(own)["tolerance.rule"] == "own"
    either_way, _ = read_form({"tolerance.rule": "own", "tolerance.percent": "5"}, own)
    assert either_way["tolerance"] == {"percent": 5}
    named, _ = read_form({**show_form(own), "tolerance.rule": "sae_j2976"}, own)
    assert named["tolerance"] == {"rule": "sae_j2976"}
    assert read_form({**show_form(own), "tolerance.rule": ""}, own) == ({}, {})


@pytest.mark.parametrize(
    ("rule", "figure"),
    [("", "percent"), ("", "speeds"), ("sae_j2976", "percent"), ("sae_j2976", "never_low"), ("own", "max_speed")],
)
def test_a_figure_that_was_typed_is_not_dropped_for_the_rule_that_is_chosen(rule: str, figure: str) -> None:
    """A tech who typed what may be off, and chose no rule, got no verdict, and found the field empty."""
    own = {"tolerance.percent": "5"} if rule == "own" else {}
    _, problems = read_form({"tolerance.rule": rule, f"tolerance.{figure}": "45", **own}, {})
    assert {field: problem.code for field, problem in problems.items()} == {"tolerance.rule": "figures_of_another_rule"}


def test_readings_in_the_track_file_are_one_file(site: Site) -> None:
    """Ticked: the drive refers to its track for the readings, and the job folder holds it once."""
    base = site.new_job()
    answer = site.client.post(
        f"{base}/drives/new/before", data={"same": "yes"}, files={"track": ("a.gpx", b"<gpx/>")}, follow_redirects=False
    )
    drive = site.services.store.drive(answer.headers["location"].split("/")[-1])
    assert drive.readings_digest == drive.track_digest
    assert drive.is_complete


def test_the_guide_is_the_help_of_the_page(site: Site) -> None:
    """The same pages, searched by a word; a page that is not there is told as any other."""
    page = site.client.get("/help/job-file").text
    assert "<table>" in page
    assert "<code>tread_mm</code>" in page
    found = site.client.get("/help/files?q=tread_mm").text
    assert "<li>tread_mm · " in found, "without the marks of its table"
    assert site.client.get("/help/nothing").status_code == 404


def test_help_opens_on_what_the_reader_does(site: Site) -> None:
    """It opened on the formats of files, whoever asked."""
    base = site.new_job()
    opens = {"/jobs": "page", "/jobs/new": "settings", f"{base}/drives/new/before": "drive"}
    for address, topic in {**opens, f"{base}/films/new/before": "film"}.items():
        assert site.client.get(address).text.count(f'href="/help/{topic}"') == 2
    assert "what to note</h1>" in site.client.get("/help").text
