"""The form of a job: two people at it, a change of unit, notes, and jobs that came in with bad values."""

from __future__ import annotations

import io
import re
import zipfile
from html import unescape
from typing import Any

import pytest
from support.web_site import DEMO, FORM, Site


@pytest.fixture
def base(site: Site) -> str:
    """Return the address of a job with numbers in the unit of the dial."""
    return site.new_job(**RULE)


RULE = {"tolerance.rule": "sae_j2976", "tolerance.speeds": "30 45 60", "work.odometer": "84210"}


def seen(page: str) -> str:
    """Return the hidden field that says what the form shows."""
    found = re.search(r'name="seen" value="([^"]*)"', page)
    assert found
    return unescape(found[1])


def document(site: Site, base: str) -> dict[str, Any]:
    """Return the tables of a job."""
    return site.services.store.job(base.split("/")[-1]).document


def save(site: Site, base: str, **texts: str) -> Any:
    """Send the form of the job."""
    return site.client.post(f"{base}/edit", data={**FORM, **RULE, **texts}, follow_redirects=False)


def test_the_second_of_two_people_sees_what_changed(site: Site, base: str) -> None:
    """What was left alone follows the first, what was typed stays as typed; the next save keeps both."""
    opened = seen(site.client.get(f"{base}/edit").text)
    assert save(site, base, seen=opened, **{"job.customer": "First", "vehicle.tire": "265/70R17"}).status_code == 303
    told = save(site, base, seen=opened, **{"job.customer": "Second"})
    assert told.status_code == 409
    page = unescape(re.sub("</?(bdi|a)\\b[^>]*>", "", told.text))
    assert "Customer was An invented customer, is First" in page
    assert "Tire fitted now was empty, is 265/70R17" in page
    assert document(site, base)["job"]["customer"] == "First"
    for value in ("Second", "265/70R17"):
        assert f'value="{value}"' in told.text
    again = save(site, base, seen=seen(told.text), **{"job.customer": "Second", "vehicle.tire": "265/70R17"})
    assert again.status_code == 303
    assert document(site, base)["job"]["customer"] == "Second"
    assert document(site, base)["vehicle"]["tire"] == "265/70R17"


def test_two_who_make_the_same_change_do_not_disturb_each_other(site: Site, base: str) -> None:
    """The doubled request of one person is the common case."""
    opened = seen(site.client.get(f"{base}/edit").text)
    for _ in range(2):
        assert save(site, base, seen=opened, **{"vehicle.tire": "265/70R17"}).status_code == 303


def test_two_saves_at_the_same_moment_do_not_overwrite_each_other(
    site: Site, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second finds that the job is no longer what it read."""
    store, change = site.services.store, site.services.store.change_job

    def late(job_id: str, tables: dict[str, Any], *, seen: dict[str, Any]) -> bool:
        change(job_id, {**seen, "job": {"number": "in between"}})
        return change(job_id, tables, seen=seen)

    monkeypatch.setattr(store, "change_job", late)
    assert save(site, base, **{"job.customer": "Second"}).status_code == 409
    assert document(site, base)["job"] == {"number": "in between"}


def test_what_means_something_else_in_a_new_unit_is_shown_before_it_is_saved(site: Site, base: str) -> None:
    """Speeds of the rule and the odometer; not the gears. Changed along or not, the second save counts."""
    told = save(site, base, **{"job.unit": "km/h"})
    page = " ".join(unescape(told.text).split())
    assert told.status_code == 409
    assert "30 45 60 mph so far, then 30 45 60 km/h" in page
    assert "84210 mi so far, then 84210 km" in page
    assert page.count(" so far, then ") == 2
    assert document(site, base)["job"]["unit"] == "mph"
    changed = {"job.unit": "km/h", "unit_seen": "km/h", "tolerance.speeds": "50 70 100"}
    assert save(site, base, **changed).status_code == 303
    assert document(site, base)["tolerance"]["speeds"] == [50, 70, 100]


def test_a_new_unit_with_nothing_to_show_is_saved(site: Site) -> None:
    """Back and forth."""
    base = site.new_job()
    answer = site.client.post(f"{base}/edit", data={**FORM, "job.unit": "km/h"}, follow_redirects=False)
    assert answer.status_code == 303


def test_held_speeds_of_an_older_store_keep_their_unit(site: Site, base: str) -> None:
    """They were kept without one, and meant that of the job."""
    store, job = site.services.store, base.split("/")[-1]
    drive = store.add_drive(job, "before", {"held": "30 40 50", "options": {"zone": "-05:00"}})
    save(site, base, **{"job.unit": "km/h", "unit_seen": "km/h"})
    assert store.drive(drive).options == {"zone": "-05:00", "unit": "mph"}


def test_who_sees_a_note_is_said(site: Site) -> None:
    """Notes of the shop are found in the list and stand on no page of owner and customer."""
    base = site.new_job(**{"job.note": "for everybody", "job.shop_note": "owes us for the cable"})
    form = unescape(site.client.get(f"{base}/edit").text)
    for field, hint in (("job.note", "Customers see it"), ("job.shop_note", "Customers do not see it")):
        assert f'id="{field}-hint">{hint}' in form
    assert "owes us" in site.client.get(base).text
    assert base in site.client.get("/jobs?q=cable").text
    for role, door in (("owner", "o"), ("customer", "c")):
        token = site.services.auth.token(site.services.auth.add_link(base.split("/")[-1], role))
        assert "owes us" not in site.client.get(f"/{door}/{token}").text


def test_a_text_that_is_too_long_is_marked_at_its_field(site: Site) -> None:
    """And kept."""
    answer = site.client.post("/jobs/new", data={**FORM, "job.customer": "x" * 501})
    assert answer.status_code == 422
    assert "x" * 501 in answer.text
    assert re.search(r'id="job.customer"[^>]*aria-invalid="true"', answer.text)
    assert "longer than 500 characters" in answer.text


def imported(site: Site, job_file: str) -> Any:
    """Import a job folder with this job file and the demo drive."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as out:
        out.writestr("demo/job.toml", job_file)
        for name in ("before.gpx", "before_notes.csv"):
            out.write(DEMO / name, f"demo/{name}")
    return site.client.post("/import", files={"zip": ("demo.zip", packed.getvalue())}, follow_redirects=False)


DRIVE = '[before]\ntrack = "before.gpx"\nreadings = "before_notes.csv"\n'


@pytest.mark.parametrize(
    ("tables", "words", "field", "mended"),
    [
        ('[job]\nunit = "furlongs"\n', "furlongs", "job.unit", {}),
        ("[job]\nunit = 5\nnumber = [1, 2]\n", "5", "job.unit", {}),
        ('[vehicle]\naxle = "steep"\n', "steep", "vehicle.axle", {"vehicle.axle": "41/11"}),
        ("[vehicle.label]\na = 1\n", "", "vehicle.label", {"vehicle.label": "Truck"}),
        ("[vehicle]\nsettings = 5\n", "", "vehicle.settings", {}),
        ('[tolerance]\nrule = "no such rule"\n', "no such rule", "tolerance.rule", {}),
        ('[work]\nodometer = "far"\n', "far", "work.odometer", {}),
    ],
)
def test_a_job_with_bad_values_is_shown_with_the_reason_and_can_be_mended(
    site: Site, tables: str, words: str, field: str, mended: dict[str, str]
) -> None:
    """Every page works, the field is named and marked, and a good value puts it right."""
    answer = imported(site, tables + DRIVE)
    assert answer.status_code == 303, answer.text
    base = answer.headers["location"]
    for path in ("", "/edit", "/delete", "/export.zip", "/drives/new/before", "/record/after"):
        assert site.client.get(base + path).status_code == 200, path
    page = unescape(site.client.get(base).text)
    assert "cannot be analyzed as it stands" in page
    assert words in page
    assert f'href="{base}/edit#{field}"' in page
    assert re.search(rf'id="{field}"[^>]*aria-invalid="true"', site.client.get(f"{base}/edit").text)
    saved = site.client.post(f"{base}/edit", data={**FORM, **mended}, follow_redirects=False)
    assert saved.status_code == 303, saved.text
    assert "cannot be analyzed" not in site.client.get(base).text


@pytest.mark.parametrize(
    ("job_file", "words"),
    [
        ('vehicle = "a truck"\n', "vehicle"),
        ('[before]\ntrack = "before.gpx"\nheld = [30, "x"]\n', "held"),
        ('[before]\ntrack = "before.gpx"\nreadings = "before_notes.csv"\nunit = "furlongs"\n', "furlongs"),
        ("before = 5\n", "before"),
    ],
)
def test_what_no_form_could_show_is_refused_with_the_reason(site: Site, job_file: str, words: str) -> None:
    """Nothing is dropped in silence."""
    answer = imported(site, job_file)
    assert answer.status_code == 422
    assert words in unescape(answer.text)
    assert site.services.store.find_jobs() == []


def test_what_came_with_a_drive_stays_when_the_form_changes_it(site: Site) -> None:
    """Day and odometer have no field on the page; how it was read and where has, and shows what the job said."""
    base = imported(site, DRIVE + 'date = "2026-05-04"\nodometer = 84210\nrounding = "down"\n').headers["location"]
    (drive,) = site.services.store.drives(base.split("/")[-1])
    form = site.client.get(f"{base}/drives/{drive.id}").text
    assert '<option value="down" selected>' in form
    told = {"zone": "-05:00", "rounding": "down", "terrain": "rolling", "read_from": ""}
    site.client.post(f"{base}/drives/{drive.id}", data=told)
    kept = site.services.store.drive(drive.id).options
    assert kept == {"date": "2026-05-04", "odometer": 84210} | {k: v for k, v in told.items() if v}


def test_what_is_wrong_in_several_tables_is_told_at_once(site: Site) -> None:
    """A word among the speeds hid a tire that is none; what a table misses because it was not read is not told."""
    wrong = {"vehicle.tire": "big ones", "vehicle.driven_gear": "19.5", "tolerance.rule": "own"}
    answer = site.client.post(
        "/jobs/new", data={**FORM, **wrong, "tolerance.never_low": "yes", "tolerance.speeds": "30 fast"}
    )
    assert answer.status_code == 422
    assert re.findall(r'<li><a href="#([^"]+)">', answer.text) == [
        "vehicle.tire",
        "vehicle.driven_gear",
        "tolerance.speeds",
    ]
    assert "<title>Not saved yet: New job" in answer.text, "what a screen reader says first"
