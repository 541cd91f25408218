"""Human slips at the forms: nothing is counted twice, nothing typed is lost, nothing changes its meaning unseen."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from support.web_site import DEMO, Site

from speedcal.errors import FitError, JobError
from speedcal.finding import codes_of
from speedcal.jobs import load_job, measure_job
from speedcal.web.kept.folder import job_files, lay_out
from speedcal.web.work.look import look
from speedcal.web.work.look_task import look_task

LOOKED = {"track": {"start_s": 0}, "readings": {}, "fit": {}, "errors": [], "picture": "", "span": None}
UNREAD = {**LOOKED, "track": None, "readings": None, "fit": None}


@pytest.fixture
def base(site: Site) -> str:
    """Return the address of a job."""
    return site.new_job()


def drives_of(site: Site, base: str) -> list[Any]:
    """Return the drives of a job."""
    return site.services.store.drives(base.split("/")[-1])


def hidden(page: str, name: str) -> str:
    """Return the value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, f"no field {name}"
    return unescape(found[1])


def test_a_form_sent_twice_is_one_drive(site: Site, base: str) -> None:
    """Back and Send: the page is in the browser as it was, with its key."""
    address = f"{base}/drives/new/before"
    key = hidden(site.client.get(address).text, "key")
    assert key != hidden(site.client.get(address).text, "key")
    first = site.send(base, data={"key": key}).headers["location"]
    assert site.send(base, data={"key": key}).headers["location"] == first
    again = site.client.post(address, data={"key": key, "held": "30 40 50"}, follow_redirects=False)
    assert again.headers["location"] == first, "sent again with other readings, it is the same drive, changed"
    assert [drive.held for drive in drives_of(site, base)] == ["30 40 50"]


def test_a_form_used_again_for_another_track_is_another_drive(site: Site, base: str) -> None:
    """Nothing is lost: the first drive stays."""
    key = {"key": "0123456789abcdef"}
    for phase in ("before", "after"):
        files = {"track": ("a.gpx", (DEMO / f"{phase}.gpx").read_bytes())}
        site.client.post(f"{base}/drives/new/before", data=key, files=files)
    assert len(drives_of(site, base)) == 2


def test_the_same_files_under_another_name_are_one_drive(site: Site, base: str) -> None:
    """From two phones, on two days, from owner and shop."""
    first = site.send(base).headers["location"]
    files = {
        "track": ("copy of it.gpx", (DEMO / "before.gpx").read_bytes()),
        "readings": ("copy.csv", (DEMO / "before_notes.csv").read_bytes()),
    }
    second = site.client.post(f"{base}/drives/new/before", files=files, follow_redirects=False)
    assert second.headers["location"] == first


def test_the_same_files_sent_again_are_said_to_have_been_sent(site: Site, base: str, tmp_path: Path) -> None:
    """Once they were looked at; the form leads to the drive that is kept."""
    first = site.send(base).headers["location"]
    seen = looked_at(site, base, 0, [], tmp_path)
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, seen)
    again = site.send(base).headers["location"]
    assert again.partition("?")[0] == first
    assert "This drive was sent before" in site.client.get(again).text
    assert "This drive was sent before" not in site.client.get(first).text
    assert len(drives_of(site, base)) == 1


def looked_at(site: Site, base: str, number: int, others: list[Any], folder: Path) -> dict[str, Any]:
    """Look at a drive of a job as the worker does."""
    job = site.services.store.job(base.split("/")[-1])
    drive = drives_of(site, base)[number]
    task = look_task(job, drive, site.services.originals, folder, site.services.settings.limits)
    return look({**task, "others": others}, lambda _step, _part: None)


def test_a_look_measures_a_drive_as_its_job_does(site: Site, base: str, tmp_path: Path) -> None:
    """Notes in fives: both ask whether they are of the mark below the needle, which nobody has said."""
    notes = (DEMO / "before_notes.csv").read_text("utf-8")
    fives = re.sub(r"(?<=,)\d+(?=\n)", lambda shown: str(int(shown[0]) // 5 * 5), notes)
    files = {"track": ("a.gpx", (DEMO / "before.gpx").read_bytes()), "readings": ("a.csv", fives.encode())}
    site.client.post(f"{base}/drives/new/before", files=files)
    seen = looked_at(site, base, 0, [], tmp_path)
    drives, store = drives_of(site, base), site.services.store
    folder = lay_out(tmp_path / "job", job_files(store.job(drives[0].job_id), drives, site.services.originals))
    measured = measure_job(load_job(folder)).before
    assert {"rounded_down", "nearest_mark_taken"} & {*measured.trust.codes, *codes_of(measured.findings)}
    assert {**seen["fit"], "sources": []} == {**measured.to_dict(), "sources": []}


def test_a_drive_that_overlaps_another_is_refused_with_its_name(site: Site, base: str, tmp_path: Path) -> None:
    """A vehicle makes one drive at a time; a second after it counts. From first moment to last they are one drive."""
    site.send(base)
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    first, last = looked_at(site, base, 0, [], tmp_path / "one")["span"]
    names = [("the other one", [last - 60, last + 60]), ("a later one", [last + 1, last + 900])]
    others = [{"name": name, "span": span} for name, span in names]
    told = looked_at(site, base, 0, others, tmp_path / "two")["errors"]
    assert [(one["error"], one["part"]) for one in told] == [("drives_at_once", "twice")]
    assert "the other one" in told[0]["text"]
    assert "before.gpx (2031-05-" in told[0]["text"], "by the day it was driven, not the day it was sent"
    assert last - first > 600
    (tmp_path / "three").mkdir()
    same = [{"name": "the same", "span": [first, last + 1]}]
    assert looked_at(site, base, 0, same, tmp_path / "three")["errors"][0]["error"] == "duplicate_drive"


def test_a_refused_double_is_looked_at_again_when_the_other_goes(site: Site, base: str) -> None:
    """It may count now."""
    queue, store = site.services.queue, site.services.store
    first = site.send(base).headers["location"]
    site.client.post(f"{base}/drives/new/before", data={"held": "30 40"}, files={"track": ("b.gpx", b"<gpx/>")})
    double = {"error": "duplicate_drive", "text": "twice", "source": "", "line": None, "remedy": "", "part": "twice"}
    for found in (LOOKED, {**UNREAD, "errors": [double]}):
        run = queue.claim("w")
        queue.finish_look(run, 1, found)
    assert "Remove this one" in site.client.get(f"{base}/drives/{drives_of(site, base)[1].id}").text
    queue.finish(queue.claim("w"), "done", {})
    site.client.post(f"{first}/remove")
    assert queue.claim("w").drive_id == store.drives(base.split("/")[-1])[0].id


def test_a_double_that_only_the_analysis_of_the_job_finds_is_refused_by_name(site: Site, base: str) -> None:
    """The later one, whatever its place in the job; the job is reckoned again without it, and does not fail."""
    runner, queue, job = site.services.runner, site.services.queue, base.split("/")[-1]
    site.send(base)
    site.client.post(f"{base}/drives/new/before", data={"held": "30 40"}, files={"track": ("b.gpx", b"<gpx/>")})
    for _ in range(2):
        queue.finish_look(queue.claim("w"), 1, LOOKED)
    run, drives = queue.claim("w"), drives_of(site, base)
    told = JobError("duplicate_drive", first="before 1", second="before 2").to_dict()
    named = runner._by_name(told, drives)
    assert "before.gpx (" in named["text"]
    assert "b.gpx (" in named["text"]
    assert runner._refuse_double(run, named, drives)
    assert [drive.is_usable for drive in drives_of(site, base)] == [True, False]
    assert (queue.active(job).state, queue.active(job).drive_id) == ("queued", "")
    other = runner._by_name(JobError("job_without_drive").to_dict(), drives)
    assert not runner._refuse_double(run, other, drives)


@pytest.mark.parametrize("typed", [{"held": "30 40 50"}, {"time": "14:03:20", "speed": "30"}, {"pasted": "a,b\n1,2"}])
def test_the_unit_of_what_was_read_stays_when_that_of_the_job_changes(
    site: Site, base: str, typed: dict[str, str]
) -> None:
    """Typed under mph it stays mph, also when the form of the drive is sent again later."""
    address = site.client.post(f"{base}/drives/new/before", data=typed, follow_redirects=False).headers["location"]
    job = site.services.store.job(base.split("/")[-1])
    site.services.store.change_job(job.id, {**job.document, "job": {**job.document["job"], "unit": "km/h"}})
    page = site.client.get(address).text
    assert "<option selected>mph</option>" in page
    site.client.post(address, data={**typed, "unit": "mph", "zone": "-05:00"})
    drive = drives_of(site, base)[0]
    assert drive.options == {"unit": "mph", "zone": "-05:00"}
    assert "km/h" not in drive.typed


def test_the_owner_changes_nothing_once_the_road_test_is_in(site: Site, base: str) -> None:
    """The verdict rests on it; the shop still can."""
    job = base.split("/")[-1]
    link = site.services.auth.token(site.services.auth.add_link(job, "owner"))
    drive = site.send(base).headers["location"].split("/")[-1]
    own = f"/o/{link}/drives/{drive}"
    assert "Remove this drive" in site.client.get(own).text
    site.send(base, "after")
    assert "Remove this drive" not in site.client.get(own).text
    for way in ("/remove", "/swap", ""):
        answer = site.client.post(own + way, data={"held": "30 40 50"})
        assert answer.status_code == 409
        assert "road test is in" in answer.text
    assert site.services.store.drive(drive).held == ""
    assert site.client.post(f"{base}/drives/{drive}/remove", follow_redirects=False).status_code == 303


def test_two_people_change_one_drive(site: Site, base: str) -> None:
    """The second is told what the first has changed, and has what was typed; sent again it counts."""
    address = site.send(base).headers["location"]
    opened = [hidden(site.client.get(address).text, "seen") for _ in range(2)]
    site.client.post(address, data={"seen": opened[0], "held": "30 40 50"})
    told = site.client.post(address, data={"seen": opened[1], "held": "30 40 55"})
    assert told.status_code == 409
    assert "readings was before_notes.csv, is 30 40 50" in unescape(told.text)
    assert 'value="30 40 55"' in told.text
    assert drives_of(site, base)[0].held == "30 40 50"
    site.client.post(address, data={"seen": hidden(told.text, "seen"), "held": "30 40 55"})
    assert drives_of(site, base)[0].held == "30 40 55"


def test_swapped_files_are_offered_to_be_swapped(site: Site, base: str, tmp_path: Path) -> None:
    """Each can be read as the other; after the swap the drive is what it should have been."""
    track, readings = (DEMO / name for name in ("before.gpx", "before_notes.csv"))
    files = {"track": ("notes.csv", readings.read_bytes()), "readings": ("t.gpx", track.read_bytes())}
    sent = site.client.post(f"{base}/drives/new/before", files=files, follow_redirects=False)
    address = sent.headers["location"]
    seen = looked_at(site, base, 0, [], tmp_path)
    assert seen["swapped"]
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, seen)
    assert "Swap the two files" in site.client.get(address).text
    site.client.post(f"{address}/swap")
    drive = drives_of(site, base)[0]
    assert (drive.track_name, drive.readings_name) == ("t.gpx", "notes.csv")


def test_files_in_their_places_are_not_offered_to_be_swapped(site: Site, base: str, tmp_path: Path) -> None:
    """Also not when one is broken."""
    files = {"track": ("t.gpx", (DEMO / "before.gpx").read_bytes()), "readings": ("notes.csv", b"time,speed\nx,y\n")}
    site.client.post(f"{base}/drives/new/before", files=files)
    seen = looked_at(site, base, 0, [], tmp_path)
    assert seen["errors"]
    assert not seen["swapped"]


TRACK = ("a.gpx", (DEMO / "before.gpx").read_bytes())
TWO_SPEEDS = "time,speed 1 mph,speed 2 mph\n" + "".join(f"10:{33 + n}:00,{30 + n},{31 + n}\n" for n in range(9))


@pytest.mark.parametrize(
    ("data", "files", "field", "words"),
    [
        (
            {"time": ["14:03:20", "14:04:20", "1o:05"], "speed": ["30", "fast", "40"]},
            {},
            "speed-2",
            "&#39;fast&#39; is not a number",
        ),
        ({"time": ["14:03:20", "14:04:20", "1o:05"], "speed": ["30", "40", "40"]}, {}, "time-3", "is not a time"),
        ({"pasted": "time,dial\n14:03,30\n14:04,fast\n", "unit": "mph"}, {}, "pasted", "&#39;fast&#39; is not"),
        ({"held": "30 40"}, {"track": TRACK}, "held", "too few"),
        ({}, {"track": ("a.gpx", b"\x89PNG\r\n\x1a\n" + bytes(99))}, "track", "The file is a picture"),
        ({}, {"readings": ("r.csv", b"time,dial\n14:03,30\n14:04,40\n")}, "unit", "does not state its unit"),
        ({}, {"readings": ("r.csv", TWO_SPEEDS.encode())}, "column", "Several columns"),
        ({"column": "needle"}, {"readings": ("r.csv", TWO_SPEEDS.encode())}, "column", "There is no column"),
        ({"zone": "Mars"}, {"readings": ("r.csv", b"time,dial mph\n2031-05-17 14:03,30\n")}, "zone", "is not known"),
    ],
)
def test_what_is_found_in_a_file_is_marked_where_it_is_mended(
    site: Site, base: str, tmp_path: Path, data: dict, files: Any, field: str, words: str
) -> None:
    """The row, the file, the option; mended there and sent again, the drive is read again."""
    sent = site.client.post(f"{base}/drives/new/before", data=data, files=files or None, follow_redirects=False)
    address = sent.headers["location"]
    seen = looked_at(site, base, 0, [], tmp_path)
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, seen)
    page = site.client.get(address).text
    wrong = re.search(rf'id="{field}-wrong">([^<]*)', page)
    assert wrong, page
    assert words in wrong[1]
    mark = rf'<(?:input|textarea|select) id="{field}"[^>]*aria-describedby="{field}-wrong[^>]*aria-invalid="true"'
    assert re.search(mark, page)
    assert f'href="#{field}"' in page or 'href="#rows"' in page
    kept = [(drive.track_digest, drive.readings_digest) for drive in drives_of(site, base)]
    site.client.post(address, data={**data, "held": data.get("held", ""), "offset": "1"})
    assert [(drive.track_digest, drive.readings_digest) for drive in drives_of(site, base)] == kept
    assert drives_of(site, base)[0].look is None


def test_a_column_is_chosen_among_those_of_the_file(site: Site, base: str, tmp_path: Path) -> None:
    """Nobody has to type a heading from memory."""
    files = {"readings": ("r.csv", TWO_SPEEDS.encode())}
    address = site.client.post(f"{base}/drives/new/before", files=files, follow_redirects=False).headers["location"]
    seen = looked_at(site, base, 0, [], tmp_path)
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, seen)
    offered = re.findall(r"<option >(speed . mph)</option>", site.client.get(address).text)
    assert offered == ["speed 1 mph", "speed 2 mph"]
    (tmp_path / "again").mkdir()
    site.client.post(address, data={"column": "speed 1 mph"})
    assert looked_at(site, base, 0, [], tmp_path / "again")["errors"] == []


@pytest.mark.parametrize(
    ("data", "files", "field"),
    [
        ({"held": "30 4o 50"}, None, "held"),
        ({"held": "30 40", "offset": "an hour"}, None, "offset"),
        ({"held": "30 40", "offset": "-3,600"}, None, "offset"),
        ({"held": "30 40"}, {"track": ("a.gpx", b"")}, "track"),
        ({"held": "30 40", "zone": "x" * 600}, None, "zone"),
    ],
)
def test_a_slip_is_marked_at_its_field(site: Site, base: str, data: dict, files: Any, field: str) -> None:
    """In words that name no field of a program."""
    page = site.client.post(f"{base}/drives/new/before", data=data, files=files).text
    mark = re.search(
        rf'<(?:input|textarea) id="{field}"[^>]*aria-describedby="{field}-wrong[^>]*aria-invalid="true"', page
    )
    assert mark, page
    assert f'id="{field}-wrong"' in page
    assert page.count("aria-invalid") == 1


def test_the_place_in_the_queue(site: Site, base: str) -> None:
    """Looks come first; what is being worked on counts."""
    queue, others = site.services.queue, [site.new_job() for _ in range(2)]
    for other in others:
        queue.put(other.split("/")[-1])
    queue.put(base.split("/")[-1])
    assert site.client.get(f"{base}/status.json").json()["ahead"] == 2
    assert "2 analyses are before it." in site.client.get(base).text
    assert "Saved. You may close this page" in site.client.get(base).text  # no drive was received
    queue.claim("w")
    assert site.client.get(f"{base}/status.json").json()["ahead"] == 2
    queue.claim("w")
    queue.claim("w")
    assert site.client.get(f"{base}/status.json").json()["ahead"] == 0


def fields_of(page: str) -> list[tuple[str, str]]:
    """Return the hidden fields of a page."""
    return [
        (name, unescape(value)) for name, value in re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page)
    ]


@pytest.mark.parametrize(
    ("path", "data", "files", "kept"),
    [
        ("/edit", {"job.customer": 'Long typed "name"', "job.note": "two\nlines"}, None, "Long typed &#34;name&#34;"),
        (
            "/drives/new/before",
            {"time": ["14:03:20", "14:04"], "speed": ["30", "<40>"]},
            {"track": ("a.gpx", b"<gpx/>")},
            "&lt;40&gt;",
        ),
    ],
)
def test_a_session_that_ended_costs_the_passcode_and_nothing_typed(
    site: Site, base: str, path: str, data: dict, files: Any, kept: str
) -> None:
    """Also after a wrong passcode; nothing is carried out before the right one."""
    before = site.services.store.job(base.split("/")[-1]).document
    site.services.auth.set_passcode("brass kettle tide")
    asked = site.client.post(base + path, data=data, files=files)
    assert asked.status_code == 401
    wrong = site.client.post("/sign-in", data={**dict(fields_of(asked.text)), "passcode": "wrong one"})
    assert wrong.status_code == 401
    came_in = site.client.post("/sign-in", data={**dict(fields_of(wrong.text)), "passcode": "brass kettle tide"})
    assert f'action="{base}{path}"' in came_in.text
    sent: dict[str, list[str]] = {}
    for name, value in fields_of(came_in.text):
        sent.setdefault(name, []).append(value)
    form = site.client.post(base + path, data=sent)
    assert form.status_code == 200
    assert f'value="{kept}"' in form.text
    assert site.services.store.job(base.split("/")[-1]).document == before
    assert drives_of(site, base) == []


def test_the_page_of_a_drive_waits_for_the_drive_only(site: Site, base: str) -> None:
    """What was understood is shown before the whole job is reckoned."""
    address = site.send(base).headers["location"]
    status = f"{base}/status.json?drive={address.split('/')[-1]}"
    assert f'data-status="{status}"' in site.client.get(address).text
    assert site.client.get(status).json()["active"]
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, LOOKED)
    assert not site.client.get(status).json()["active"]
    assert site.client.get(f"{base}/status.json").json()["active"]


def test_a_typed_row_that_cannot_be_read_is_left_out_by_its_number_in_the_form(
    site: Site, base: str, tmp_path: Path
) -> None:
    """One of six: the others are taken, and what is said counts rows as the form does."""
    times, speeds = [f"14:0{n}:20" for n in range(6)], ["30", "40", "fast", "50", "45", "35"]
    site.client.post(f"{base}/drives/new/before", data={"time": times, "speed": speeds})
    seen = looked_at(site, base, 0, [], tmp_path)
    assert seen["errors"] == []
    assert seen["readings"]["count"] == 5
    (told,) = [found["text"] for found in seen["readings"]["findings"] if found["code"] == "rows_unreadable"]
    assert "1 row is left out" in told
    assert "row 3: 'fast' is not a number" in told


def refuse(site: Site, version: int = 1) -> None:
    """Have the drive that waits found to be one that needs a change."""
    told = {**FitError("few_fixes", count=3).to_dict(), "part": "match", "field": "track"}
    site.services.queue.finish_look(site.services.queue.claim("w"), version, {**UNREAD, "errors": [told]})


def test_a_drive_that_is_not_used_is_the_first_thing_shop_and_owner_read(site: Site, base: str) -> None:
    """Also where the parts alone give a result; the list of jobs tells it, until the drive is mended or removed."""
    link = site.services.auth.token(site.services.auth.add_link(base.split("/")[-1], "owner"))
    drive = site.send(base).headers["location"]
    fit = {"errors": [{"ground": 30.0}]}  # how far the dial is off; nothing that is wrong with the drive
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, {**LOOKED, "fit": fit})
    assert "a drive needs a change" not in site.client.get("/jobs").text
    site.client.post(drive, data={"held": "30 40 50"})
    refuse(site, version=2)
    for page in (site.client.get(base).text, site.client.get(f"/o/{link}").text):
        assert "is not used: the track has 3 usable fixes, too few to tell a speed." in unescape(page)
        assert page.index("is not used") < page.index("Upload" if "Upload" in page else "What you sent")
    assert "a drive needs a change" in site.client.get("/jobs").text
    site.client.post(f"{drive}/remove")
    assert "a drive needs a change" not in site.client.get("/jobs").text
    assert "is not used" not in site.client.get(base).text


def test_what_to_do_about_two_files_that_do_not_match_is_told_once(site: Site, base: str) -> None:
    """At the field stands what is wrong, on top the advice too."""
    drive = site.send(base).headers["location"]
    refuse(site)
    page = unescape(site.client.get(drive).text)
    assert page.count("too few to tell a speed") == 2
    assert page.count("one GPS point a second") == 1


def test_the_owner_is_not_asked_for_a_drive_before_the_work_after_it(site: Site, base: str) -> None:
    """The road test is in; a drive of the owner would be taken for one before the work."""
    link = site.services.auth.token(site.services.auth.add_link(base.split("/")[-1], "owner"))
    assert "How it works" in site.client.get(f"/o/{link}").text
    site.send(base)
    assert "Send another drive" in site.client.get(f"/o/{link}").text
    site.send(base, "after")
    assert "Send another drive" not in site.client.get(f"/o/{link}").text
