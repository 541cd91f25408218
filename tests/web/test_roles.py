"""The three roles: what each may do, and that none gets further."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.web_site import DEMO, Site, open_site

from speedcal.errors import SpeedcalError
from speedcal.web.answers import environment
from speedcal.web.app import create_app, make_services
from speedcal.web.pages import drives, removal
from speedcal.web.settings import Settings

PASSCODE = "brass kettle tide"


@pytest.fixture
def guarded(site: Site) -> Site:
    """Return a service with a passcode, nobody signed in."""
    site.services.auth.set_passcode(PASSCODE)
    return site


def sign_in(site: Site, passcode: str = PASSCODE, **more: str) -> int:
    """Sign in and return the status."""
    data = {"passcode": passcode, **more}
    return site.client.post("/sign-in", data=data, follow_redirects=False).status_code


@pytest.mark.parametrize(
    "path", ["/jobs", "/jobs/new", "/import", "/jobs/x", "/jobs/x/export.zip", "/jobs/x/files/report.html"]
)
def test_the_shop_signs_in_first(guarded: Site, path: str) -> None:
    """Every page of the shop leads to the passcode and from there back."""
    answer = guarded.client.get(path, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?next={path}")
    assert guarded.client.get(path, headers={"accept": "application/json"}, follow_redirects=False).status_code == 401


@pytest.mark.parametrize(
    "path", ["/jobs/new", "/import", "/jobs/x/delete", "/jobs/x/links", "/jobs/x/drives/new/before"]
)
def test_nothing_is_written_for_who_is_not_signed_in(guarded: Site, path: str) -> None:
    """401, also for a cookie that was made up."""
    for cookie in ({}, {"cookie": "speedcal=made-up"}):
        assert guarded.client.post(path, headers=cookie, follow_redirects=False).status_code == 401


def test_signing_in_and_out(guarded: Site) -> None:
    """The cookie is out of reach of scripts and of other sites, and is worthless after signing out."""
    assert sign_in(guarded, "wrong passcode") == 401
    answer = guarded.client.post("/sign-in", data={"passcode": PASSCODE, "next": "/jobs/new"}, follow_redirects=False)
    assert answer.headers["location"] == "/jobs/new"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()
    assert guarded.client.get("/jobs").status_code == 200
    kept = dict(guarded.client.cookies)
    guarded.client.post("/sign-out", follow_redirects=False)
    guarded.client.cookies.update(kept)
    assert guarded.client.get("/jobs", follow_redirects=False).status_code == 303


@pytest.mark.parametrize(
    "then", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:x", "/a\nb", ""]
)
def test_signing_in_leads_nowhere_else(guarded: Site, then: str) -> None:
    """The way back is an address of this service."""
    answer = guarded.client.post("/sign-in", data={"passcode": PASSCODE, "next": then}, follow_redirects=False)
    assert answer.headers["location"] == "/jobs"


def test_guessing_is_slowed_down(guarded: Site) -> None:
    """The sixth try in a row is told to wait, even with the right passcode."""
    assert [sign_in(guarded, "wrong passcode") for _ in range(6)] == [401] * 5 + [429]
    answer = guarded.client.post("/sign-in", data={"passcode": PASSCODE})
    assert int(answer.headers["retry-after"]) > 800


@pytest.mark.parametrize(
    "settings",
    [
        {"host": "0.0.0.0"},  # noqa: S104 - it must refuse
        {"host": "192.168.1.5"},
        {"host": "workshop.lan"},
        {"host_names": ("workshop.lan",)},
        {"host": "::"},
    ],
)
def test_it_does_not_start_for_others_without_a_passcode(tmp_path: Path, settings: dict) -> None:
    """Neither bound to a network nor told a name others use; with a passcode it starts."""
    with pytest.raises(SpeedcalError, match="no passcode"), open_site(tmp_path, **settings):
        pass
    services = make_services(Settings(data=tmp_path / "data"))
    services.auth.set_passcode(PASSCODE)
    services.store.close()
    with open_site(tmp_path, **settings) as site:
        assert site.client.get("/jobs", follow_redirects=False).status_code == 303


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "::1", "localhost"])
def test_on_this_machine_no_passcode_is_needed(tmp_path: Path, host: str) -> None:
    """Who sits at it is the shop."""
    with open_site(tmp_path, host=host) as site:
        assert site.client.get("/jobs").status_code == 200


@pytest.fixture
def links(guarded: Site) -> tuple[str, str, str]:
    """Return a job with one drive, and the doors of its owner and its customer."""
    sign_in(guarded)
    base = guarded.new_job()
    assert guarded.send(base).status_code == 303
    job = base.split("/")[-1]
    made = [guarded.services.auth.token(guarded.services.auth.add_link(job, role)) for role in ("owner", "customer")]
    guarded.client.cookies.clear()
    return base, f"/o/{made[0]}", f"/c/{made[1]}"


def test_the_owner_sends_and_sees_drives_before_the_work_only(guarded: Site, links: tuple[str, str, str]) -> None:
    """No road test, no other page of the shop."""
    _base, owner, _customer = links
    answer = guarded.send(owner)
    assert answer.status_code == 303
    assert guarded.client.get(answer.headers["location"]).status_code == 200
    assert guarded.client.get(f"{owner}/record/before").status_code == 200
    assert guarded.send(owner, "after").status_code == 404
    for path in ("/edit", "/export.zip", "/delete", "/links"):
        assert guarded.client.get(owner + path).status_code == 404
        assert guarded.client.post(owner + path).status_code == 404


def test_the_owner_does_not_reach_drives_of_other_jobs_or_of_the_road_test(
    guarded: Site, links: tuple[str, str, str]
) -> None:
    """The id of a drive alone opens nothing."""
    base, owner, _ = links
    sign_in(guarded)
    other = guarded.send(guarded.new_job()).headers["location"].split("/")[-1]
    after = guarded.send(base, "after").headers["location"].split("/")[-1]
    guarded.client.cookies.clear()
    for drive in (other, after):
        for path in (f"{owner}/drives/{drive}", f"{owner}/drives/{drive}/picture.svg"):
            assert guarded.client.get(path).status_code == 404
        assert guarded.client.post(f"{owner}/drives/{drive}/remove").status_code == 404
        assert guarded.services.store.drive(drive) is not None


def test_the_customer_reads_and_nothing_else(guarded: Site, links: tuple[str, str, str]) -> None:
    """No form on the page, no upload behind it, no files but the report's."""
    _, _, customer = links
    page = guarded.client.get(customer)
    assert page.status_code == 200
    assert "<form" not in page.text
    assert re.search(r'<p class="quiet">Job <bdi>', page.text), "no shop is named, so nothing stands before the number"
    for path in (
        "/drives/new/before",
        "/record/before",
        "/status.json",
        "/files/result.json",
        "/files/readings_aligned.csv",
    ):
        assert guarded.client.get(customer + path).status_code == 404
    assert guarded.send(customer).status_code == 404


def test_a_door_is_not_opened_by_the_link_of_another(guarded: Site, links: tuple[str, str, str]) -> None:
    """An owner's link under the customer's address and the other way round."""
    _, owner, customer = links
    assert guarded.client.get(owner.replace("/o/", "/c/")).status_code == 404
    assert guarded.client.get(customer.replace("/c/", "/o/")).status_code == 404


def test_the_shop_ends_a_link(guarded: Site, links: tuple[str, str, str]) -> None:
    """From its page, and the link tells no more than one that never was."""
    base, owner, _ = links
    sign_in(guarded)
    page = guarded.client.get(base).text
    assert f"http://localhost{owner}" in page
    actions = re.findall(r'action="([^"]+/revoke)"', page)
    for action in actions:
        guarded.client.post(action)
    guarded.client.cookies.clear()
    ended, never = guarded.client.get(owner), guarded.client.get("/o/x.y")
    assert (ended.status_code, ended.text) == (404, never.text)


def test_a_closed_job_takes_nothing_more(guarded: Site, links: tuple[str, str, str]) -> None:
    """Until the shop opens it again."""
    base, owner, _ = links
    sign_in(guarded)
    guarded.client.post(f"{base}/close", data={"closed": "yes"})
    assert guarded.send(owner).status_code == 409
    guarded.client.post(f"{base}/close", data={"closed": "no"})
    assert guarded.send(owner).status_code == 303


def test_deleting_a_job_removes_its_originals_and_its_links(guarded: Site, links: tuple[str, str, str]) -> None:
    """Nothing with the content of the files is left in the data folder."""
    base, owner, customer = links
    sign_in(guarded)
    assert "2 drives" not in guarded.client.get(f"{base}/delete").text
    guarded.client.post(f"{base}/delete")
    root = guarded.services.originals.root
    content = (DEMO / "before.gpx").read_bytes()
    assert not [p for p in root.rglob("*") if p.is_file() and p.stat().st_size == len(content)]
    assert not list((root / "originals").iterdir())
    for path in (base, owner, customer):
        assert guarded.client.get(path).status_code == 404


def test_a_deletion_that_a_crash_interrupted_is_finished_at_the_next_start(tmp_path: Path) -> None:
    """The row goes first; what is left of the files goes when the service starts again."""
    with open_site(tmp_path) as site:
        base = site.new_job()
        site.send(base)
        job = base.split("/")[-1]
        site.services.store.delete_job(job)
        assert (site.services.originals.root / "originals" / job).exists()
    with open_site(tmp_path) as site:
        assert not (site.services.originals.root / "originals" / job).exists()
        assert site.services.store.doomed() == []


@pytest.fixture
def base(site: Site) -> Iterator[str]:
    """Return the address of a job."""
    return site.new_job()


def test_nothing_typed_is_lost_when_a_part_is_refused(site: Site, base: str) -> None:
    """An empty track next to typed rows: the rows are kept, and the refusal is said on a page that can load again."""
    data = {"time": ["14:03:20", "14:05", "oops"], "speed": ["30", "40", ""], "zone": "-05:00"}
    sent = site.client.post(
        f"{base}/drives/new/before", data=data, files={"track": ("a.gpx", b"")}, follow_redirects=False
    )
    assert sent.status_code == 303
    for _ in range(2):
        page = site.client.get(sent.headers["location"]).text
        assert "The file is empty" in page
        for value in ("14:03:20", "14:05", "oops", "-05:00"):
            assert f'value="{value}"' in page
    assert len(site.services.store.drives(base.split("/")[-1])) == 1
    site.client.post(sent.headers["location"], data=data)
    assert "The file is empty" not in site.client.get(sent.headers["location"]).text


def test_held_speeds_with_a_slip_come_back_as_typed(site: Site, base: str) -> None:
    """The word that is no speed is named."""
    answer = site.client.post(f"{base}/drives/new/before", data={"held": "30 4o 50"})
    assert answer.status_code == 422
    assert "4o" in answer.text
    assert 'value="30 4o 50"' in answer.text


def test_readings_given_twice_are_refused_and_both_come_back(site: Site, base: str) -> None:
    """Typed rows and held speeds."""
    answer = site.client.post(f"{base}/drives/new/before", data={"time": "14:03", "speed": "30", "held": "30 40"})
    assert answer.status_code == 422
    assert 'value="14:03"' in answer.text
    assert 'value="30 40"' in answer.text


def test_an_empty_form_is_told_what_to_do(site: Site, base: str) -> None:
    """Nothing is kept."""
    answer = site.client.post(f"{base}/drives/new/before", data={"held": " "})
    assert answer.status_code == 422
    assert site.services.store.drives(base.split("/")[-1]) == []


def test_a_part_is_replaced_and_the_others_stay(site: Site, base: str) -> None:
    """First the track, then the readings, then other readings."""
    address = site.client.post(
        f"{base}/drives/new/before", files={"track": ("a.gpx", b"<gpx/>")}, follow_redirects=False
    ).headers["location"]
    drive = address.split("/")[-1]
    site.client.post(address, data={"held": "30 40"})
    first = site.services.store.drive(drive)
    assert (first.track_name, first.held, first.version) == ("a.gpx", "30 40", 2)
    site.client.post(address, files={"readings": ("r.csv", b"time,speed\n")})
    second = site.services.store.drive(drive)
    assert (second.track_digest, second.readings_name, second.held) == (first.track_digest, "r.csv", "")
    site.client.post(address, data={"held": ""})
    assert site.services.store.drive(drive).version == 3, "a form sent without a change changes nothing"


def test_a_drive_of_a_job_that_is_deleted_meanwhile_is_refused_in_words(
    site: Site, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The upload was under way when the shop deleted the job."""

    def gone(*_args: object, **_more: object) -> str:
        raise KeyError("job")

    monkeypatch.setattr(site.services.store, "add_drive", gone)
    answer = site.send(base)
    assert answer.status_code == 404
    assert "deleted meanwhile" in answer.text


def test_an_analysis_can_be_asked_for_again(site: Site, base: str) -> None:
    """After a failure that was not the fault of the files; without a usable drive nothing is queued."""
    store, queue, job = site.services.store, site.services.queue, base.split("/")[-1]
    address = site.send(base).headers["location"]
    site.client.post(f"{base}/again")
    run = queue.claim("w")
    queue.finish_look(run, 1, {"track": {}, "readings": {}, "fit": {}, "errors": [], "picture": ""})
    first = queue.claim("w")
    assert (first.drive_id, queue.claim("w")) == ("", None)
    queue.finish(
        first, "failed", {"error": "analysis_broke", "text": "broke", "source": "", "line": None, "remedy": ""}
    )
    assert "Analyze again" in site.client.get(base).text
    site.client.post(f"{base}/again")
    assert queue.active(job).state == "queued"
    assert store.drive(address.split("/")[-1]).is_usable


def test_a_removed_drive_can_be_put_back_and_its_originals_go_later(
    site: Site, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked for first; the files stay for a while, and those another drive shares stay for good."""
    job, store = base.split("/")[-1], site.services.store
    first = site.send(base).headers["location"]
    shared = site.client.post(
        f"{base}/drives/new/before",
        data={"held": "30 40 50"},
        files={"track": ("a.gpx", (DEMO / "before.gpx").read_bytes())},
        follow_redirects=False,
    ).headers["location"]
    assert "Remove before.gpx?" in re.sub("</?bdi>", "", site.client.get(f"{first}/remove").text)
    site.client.post(f"{first}/remove")
    assert [drive.id for drive in store.drives(job)] == [shared.split("/")[-1]]
    assert site.client.get(first).status_code == 404
    assert f'action="{first}/restore"' in site.client.get(base).text
    site.client.post(f"{first}/restore")
    assert len(store.drives(job)) == 2
    assert site.client.post(f"{first}/restore").status_code == 404
    site.client.post(f"{first}/remove")
    folder = site.services.originals.root / "originals" / job
    assert len(list(folder.iterdir())) == 2
    later = time.time() + 31 * 86400
    monkeypatch.setattr(removal.time, "time", lambda: later)
    removal.forget_removed(site.services)
    assert [file.name for file in folder.iterdir()] == [store.drives(job)[0].track_digest]
    assert f"{first}/restore" not in site.client.get(base).text


def test_the_same_drive_sent_twice_under_one_key_is_one(site: Site, base: str) -> None:
    """As the recorder does when it did not hear the answer."""
    key = {"key": "0123456789abcdef"}
    answers = [site.send(base, data=key, headers={"accept": "application/json"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd",
        "..\\..\\x.gpx",
        "<script>alert(1)</script>.gpx",
        "\u202egpx.exe",
        "a" * 2000,
        "'\"&<>.gpx",
        "C:\\drive.gpx",
        "\u0000.gpx",
    ],
)
def test_a_hostile_file_name_is_a_label_and_nothing_else(site: Site, base: str, name: str) -> None:
    """It is shown escaped and never becomes a path."""
    answer = site.client.post(f"{base}/drives/new/before", files={"track": (name, b"<gpx/>")}, follow_redirects=False)
    assert answer.status_code == 303
    page = site.client.get(answer.headers["location"])
    assert page.status_code == 200
    assert "<script>alert" not in page.text
    root = site.services.originals.root.parent
    assert {p.name for p in root.rglob("*") if p.is_file()} >= {"jobs.sqlite", "secret.key"}
    assert not [p for p in root.rglob("*") if any(sign in p.name for sign in "<>'\"\\&")]


@pytest.mark.parametrize("field", ["job.number", "job.customer", "job.shop", "job.note", "vehicle.label", "work.note"])
def test_hostile_words_are_shown_as_words(site: Site, field: str) -> None:
    """In the form, in the list, on the job, for owner and customer."""
    hostile = '"><script>alert(1)</script><img src=x onerror=alert(1)>{{7*7}}\u202e'
    base = site.new_job(**{field: hostile})
    job = base.split("/")[-1]
    doors = [
        f"/{d}/{site.services.auth.token(site.services.auth.add_link(job, r))}"
        for d, r in (("o", "owner"), ("c", "customer"))
    ]
    for path in (base, f"{base}/edit", f"{base}/delete", "/jobs?q=%22%3E%3Cscript%3E", *doors):
        page = site.client.get(path).text
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert 'onerror=alert(1)>"' not in page
    assert "{{7*7}}" in site.client.get(f"{base}/edit").text


def test_a_hostile_job_number_does_not_break_the_name_of_the_zip(site: Site) -> None:
    """The header carries a plain name and the full one, encoded."""
    base = site.new_job(**{"job.number": 'a"\r\nSet-Cookie: x=1; /../é'})
    header = site.client.get(f"{base}/export.zip").headers["content-disposition"]
    assert header.startswith('attachment; filename="a-Set-Cookie-x-1.zip"; filename*=UTF-8')
    assert "\r" not in header
    assert "%C3%A9.zip" in header


def test_what_the_form_of_a_job_cannot_use_is_named_and_nothing_is_lost(site: Site) -> None:
    """Slips in single fields by the form, facts that are none by the rooms that own them."""
    for data, words in (
        ({"vehicle.driven_gear": "twenty"}, "should be a number"),
        ({"vehicle.tire": "round and black"}, "round and black"),
        ({"tolerance.rule": "own"}, "at least one figure"),
        ({"work.driven_gear": "999"}, "999"),
    ):
        answer = site.client.post("/jobs/new", data={"job.number": "KEEP-ME", **data})
        assert answer.status_code == 422
        assert words in answer.text
        assert 'value="KEEP-ME"' in answer.text
    assert site.services.store.find_jobs() == []


def test_fifty_starts_and_stops_leave_no_file_and_no_thread_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service gives back what it takes."""
    import os
    import threading

    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with open_site(tmp_path) as site:
        site.client.get("/jobs")
    files, threads = len(os.listdir("/proc/self/fd")), threading.active_count()
    for _ in range(50):
        with open_site(tmp_path) as site:
            site.client.get("/jobs")
    assert len(os.listdir("/proc/self/fd")) <= files + 2
    assert threading.active_count() <= threads + 2


def test_the_app_is_made_without_touching_the_disk(tmp_path: Path) -> None:
    """Only starting it opens the store."""
    create_app(Settings(data=tmp_path / "data"))
    assert not (tmp_path / "data").exists()


def test_the_page_lists_no_choice_that_is_worse_than_what_is_fitted() -> None:
    """Of many the best four, the advised and the fitted one; where that is the best, one neighbor stands beside it."""
    worth_a_row = environment().filters["worth_a_row"]
    rows = [{"teeth": teeth, "fitted": teeth == 26} for teeth in (28, 27, 29, 26, 30, 25)]
    assert [row["teeth"] for row in worth_a_row(rows, [])] == [28, 27, 29, 26]
    assert [row["teeth"] for row in worth_a_row(rows[3:], [])] == [26, 30]
    assert worth_a_row(rows[4:], []) == rows[4:]
    many = [{"teeth": teeth, "fitted": teeth == 20} for teeth in (28, 27, 29, 26, 30, 25, 31, 20, 19)]
    assert [row["teeth"] for row in worth_a_row(many, [25])] == [28, 27, 29, 26, 25, 20]
