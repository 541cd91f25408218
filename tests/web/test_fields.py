"""The form of a job carries every key of the job file, and gives back what it was given."""

from __future__ import annotations

import pytest
from support.web_site import DEMO, Site

from speedcal.conformity import load_tolerance
from speedcal.conformity.rules import tolerance_names
from speedcal.vehicle.vehicle import VEHICLE_KEYS, WORK_KEYS
from speedcal.web.fields import groups, in_words_of_the_form, read_form, show_form

FIELDS = [f for group in groups() for f in group.fields]


def keys_of(table: str) -> set[str]:
    """Return the keys of a table that the form can fill."""
    return {key for f in FIELDS if f.table == table for key in ([k for k, _ in f.keys] or [f.key])}


@pytest.mark.parametrize(("table", "keys"), [("vehicle", VEHICLE_KEYS), ("work", WORK_KEYS)])
def test_every_key_of_the_job_file_has_a_field(table: str, keys: tuple[str, ...]) -> None:
    """And no field fills a key that does not exist."""
    assert keys_of(table) == set(keys)


def test_every_speed_rule_can_be_chosen_and_loaded() -> None:
    """The list of the form is that of the data file; rules for odometers are not in it."""
    choices = next(f for f in FIELDS if f.id == "tolerance.rule").choices
    offered = {name for name, _ in choices} - {"", "own"}
    rules = {
        name: load_tolerance({"rule": name, **({"full_scale": 120} if "j1226" in name else {})}, unit="mph")
        for name in tolerance_names()
    }
    assert offered == {name for name, rule in rules.items() if rule.quantity == "speed"}
    from_memory = {name for name, rule in rules.items() if rule.status == "from memory"} & offered
    assert from_memory == {name for name, words in choices if "from memory" in words}


def test_the_demo_job_goes_through_the_form_unchanged() -> None:
    """Shown, sent back as it was shown: the same tables."""
    import tomllib

    document = tomllib.loads((DEMO / "job.toml").read_text("utf-8"))
    tables = {name: document[name] for name in ("job", "vehicle", "work", "tolerance")}
    sent, problems = read_form(show_form(tables), tables)
    assert problems == {}
    assert sent == tables


def test_what_the_form_has_no_field_for_stays() -> None:
    """A setting with its step, a gear family of one's own: they came with an import and survive an edit."""
    tables = {
        "vehicle": {
            "settings": {"circumference_mm": {"now": 2400, "step": 5}, "turns_per_mile": 670},
            "gear_family": {"name": "mine", "driven": {"teeth": "15-25"}},
        }
    }
    texts = show_form(tables)
    assert texts["vehicle.settings"] == "turns_per_mile = 670"
    sent, problems = read_form({**texts, "vehicle.label": "Truck"}, tables)
    assert (sent, problems) == ({"vehicle": {**tables["vehicle"], "label": "Truck"}}, {})


@pytest.mark.parametrize(
    ("text", "value"), [("3,73", 3.73), ("3.73", 3.73), ("41/11", "41/11"), ("4", 4), ("41 : 11", "41 : 11")]
)
def test_a_ratio_is_kept_as_teeth_or_as_a_number(text: str, value: object) -> None:
    """Teeth say more than the rounded number; decimal commas are understood."""
    assert read_form({"vehicle.axle": text}, {})[0]["vehicle"]["axle"] == value


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
    named, _ = read_form({**show_form(own), "tolerance.rule": "sae_j2976"}, own)
    assert named["tolerance"] == {"rule": "sae_j2976"}
    assert read_form({**show_form(own), "tolerance.rule": ""}, own)[0] == {}


def test_keys_in_sentences_become_the_labels_of_the_form() -> None:
    """What the command calls by its key is found on the page by its label."""
    assert (
        in_words_of_the_form("name its teeth as ratio_box_teeth, not x_y")
        == "name its teeth as “Teeth a ratio box can have”, not x_y"
    )


def test_readings_in_the_track_file_are_one_file(site: Site) -> None:
    """Ticked: the drive refers to its track for the readings, and the job folder holds it once."""
    base = site.new_job()
    answer = site.client.post(
        f"{base}/drives/new/before", data={"same": "yes"}, files={"track": ("a.gpx", b"<gpx/>")}, follow_redirects=False
    )
    drive = site.services.store.drive(answer.headers["location"].split("/")[-1])
    assert drive.readings_digest == drive.track_digest
    assert drive.is_complete
