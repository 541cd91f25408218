"""The people of the shop: who signs in, who did what, what they have not seen yet, what is kept of old jobs."""

from __future__ import annotations

import csv
import html
import io
import re
import time
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from starlette.routing import Route
from support.web_site import DEMO, Site, open_site

from speedcal.jobs import load_job
from speedcal.text.pages.page_labels import HISTORY
from speedcal.web.app import create_app
from speedcal.web.kept import schema
from speedcal.web.pages import removal
from speedcal.web.settings import Settings

PASSCODE, TECH = "brass kettle tide", "heron lamp gravel"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Site]:
    """Start a service with a passcode and one tech."""
    with open_site(tmp_path, passcode=PASSCODE, keep_drives=90) as opened:
        sign_in(opened, PASSCODE)
        answer = opened.client.post("/people", data={"name": "Alex (invented)", "passcode": TECH})
        assert "Alex (invented)" in answer.text
        yield opened


def sign_in(site: Site, passcode: str, name: str = "") -> int:
    """Sign in anew and return the status."""
    site.client.cookies.clear()
    answer = site.client.post("/sign-in", data={"passcode": passcode, "name": name}, follow_redirects=False)
    return int(answer.status_code)


def done(site: Site, path: str) -> str:
    """Return the words of a page in one line."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", site.client.get(path).text)).split())


def owner_link(site: Site, base: str) -> str:
    """Make an owner's link and return its path."""
    page = site.client.post(f"{base}/links", data={"role": "owner"}).text
    return re.search(r'data-address="[^"]*(/o/[\w.-]+)"', page)[1]


def test_a_tech_signs_in_with_a_passcode_of_their_own(shop: Site) -> None:
    """In any case of the letters; passcodes of others and names of nobody do not open."""
    assert sign_in(shop, TECH, "alex (INVENTED)") == 303
    assert sign_in(shop, PASSCODE, "Alex (invented)") == 401
    assert sign_in(shop, TECH) == 401
    assert sign_in(shop, TECH, "Robin (invented)") == 401
    with shop.services.store.reading() as connection:
        assert TECH not in str(connection.execute(sa.select(schema.people)).all())


def test_only_the_passcode_of_the_shop_opens_the_list_of_people(shop: Site) -> None:
    """A tech can neither take others in nor remove them."""
    sign_in(shop, TECH, "Alex (invented)")
    assert shop.client.get("/people").status_code == 403
    assert shop.client.post("/people", data={"name": "x", "passcode": "long enough"}).status_code == 403
    assert shop.client.post("/people/remove", data={"name": "Alex (invented)"}).status_code == 403
    assert shop.client.get("/jobs").status_code == 200


@pytest.mark.parametrize("path", ["/people/remove", "/people"])
def test_a_tech_who_goes_or_gets_a_new_passcode_is_signed_out(shop: Site, path: str) -> None:
    """At once, on every device."""
    sign_in(shop, TECH, "Alex (invented)")
    cookie = dict(shop.client.cookies)
    sign_in(shop, PASSCODE)
    shop.client.post(path, data={"name": "Alex (invented)", "passcode": "another long one"})
    shop.client.cookies.clear()
    shop.client.cookies.update(cookie)
    assert shop.client.get("/jobs", follow_redirects=False).status_code == 303
    assert sign_in(shop, TECH, "Alex (invented)") == 401


@pytest.mark.parametrize(("name", "passcode"), [("", "long enough"), ("Robin", "short"), ("x" * 81, "long enough")])
def test_a_tech_needs_a_name_and_a_passcode(shop: Site, name: str, passcode: str) -> None:
    """A name of reasonable length, a passcode of eight characters."""
    assert shop.client.post("/people", data={"name": name, "passcode": passcode}).status_code == 422


def test_without_a_passcode_of_the_shop_there_are_no_techs(site: Site) -> None:
    """It would look safe and be open to everybody."""
    assert site.client.post("/people", data={"name": "Robin", "passcode": "long enough"}).status_code == 409


def test_who_did_what_is_written_down(shop: Site) -> None:
    """The tech by name, the shop, the owner; what was refused is not, and a deleted job leaves its name only."""
    sign_in(shop, TECH, "Alex (invented)")
    base = shop.new_job()
    link = owner_link(shop, base)
    shop.send(link)
    sign_in(shop, PASSCODE)
    shop.client.post(f"{base}/close", data={"closed": "yes"})
    assert shop.client.post(f"{base}/drives/new/before", data={}).status_code == 409
    told = done(shop, base).partition("Who did what")[2]
    for words in ("Alex (invented) saved the job", "Alex (invented) made a link", "The owner sent a drive",
                  "The shop closed the job or opened it again"):  # fmt: skip
        assert words in told
    assert "The shop sent a drive" not in told
    assert "Alex (invented) saved the job, A-17" in done(shop, "/people")
    shop.client.post(f"{base}/delete")
    told = done(shop, "/people")
    assert "The shop deleted the job, A-17" in told
    assert "saved the job" not in told


def test_everything_that_changes_something_is_written_down(tmp_path: Path) -> None:
    """Every form has its words; signing in, and the pieces of a film, are none."""
    routes = [route for route in create_app(Settings(data=tmp_path)).routes if isinstance(route, Route)]
    forms = {route.endpoint.page_name for route in routes if "POST" in (route.methods or ())}
    assert forms - set(HISTORY) == {"sign_in", "sign_out", "take_piece"}
    assert set(HISTORY) <= forms


def test_the_list_tells_what_came_in_until_the_shop_has_seen_it(shop: Site) -> None:
    """A drive of the owner, then a result; what the shop does itself is no news."""
    base = shop.new_job()
    shop.send(base)
    assert "new drive" not in done(shop, "/jobs")
    shop.send(owner_link(shop, base), data={"key": "0123456789"})
    assert "new drive" in done(shop, "/jobs")
    assert "A-17" in done(shop, "/jobs?state=news")
    shop.client.get(base)
    assert "new drive" not in done(shop, "/jobs")
    assert "No job matches" in done(shop, "/jobs?state=news")
    queue, job = shop.services.queue, base.rpartition("/")[2]
    while (run := queue.claim("w")) is not None:
        queue.finish(run, "done", {"sentence": "x"})
    queue.put(job)
    assert queue.finish(queue.claim("w"), "done", {"sentence": "x"})
    assert "new result" in done(shop, "/jobs")


def test_the_list_goes_page_by_page_and_month_by_month(site: Site) -> None:
    """No job is lost between pages; a month begins and ends in the zone of the shop."""
    store = site.services.store
    ids = [store.add_job({"job": {"number": f"N-{n}"}}) for n in range(103)]
    with store.writing() as connection:
        for at, job in ((datetime(2031, 4, 30, 23, 59), ids[0]), (datetime(2031, 5, 1), ids[1])):
            connection.execute(schema.jobs.update().where(schema.jobs.c.id == job).values(created=at.timestamp()))
    seen: list[str] = []
    path, pages = "/jobs?q=N-", 0
    while path:
        page = site.client.get(path).text
        seen += re.findall(r'class="title" href="/jobs/(\w+)"', page)
        following = re.search(r'href="([^"]+)">Earlier ones', page)
        path, pages = html.unescape(following[1]) if following else "", pages + 1
    assert pages == 3
    assert sorted(seen) == sorted(ids)
    assert "N-1" in done(site, "/jobs?month=2031-05")
    assert "N-0" not in done(site, "/jobs?month=2031-05")
    assert "N-0" in done(site, "/jobs?month=2031-04")
    for odd in ("page=0", "page=-1", "page=x", "page=99999", "month=2031-13", "month=x", "state=x"):
        assert site.client.get(f"/jobs?{odd}").status_code == 200


@pytest.mark.parametrize(("part", "other"), [("track", "readings"), ("readings", "track")])
def test_the_list_tells_which_part_of_a_drive_is_still_missing(site: Site, part: str, other: str) -> None:
    """Not that it waits for the drive; of a closed job, or one whose drive is whole, nothing of the kind."""
    store, half = site.services.store, {f"{part}_name": "a file", f"{part}_digest": "1" * 64}
    job = store.add_job({"job": {"number": "half"}})
    drive = store.add_drive(job, "before", half)
    page = done(site, "/jobs")
    assert f"{other} still missing" in page
    assert "waiting for the drive</span>" not in page
    store.change_drive(drive, {f"{other}_name": "its other", f"{other}_digest": "2" * 64})
    assert "still missing" not in done(site, "/jobs")
    store.change_drive(drive, {f"{other}_digest": ""})
    store.close_job(job, closed=True)
    assert "still missing" not in done(site, "/jobs")


def test_all_jobs_are_saved_in_one_file(site: Site, tmp_path: Path) -> None:
    """Each a folder that the command runs, two of one number apart, and a table of them that runs no formula."""
    first, _ = site.new_job(**{"vehicle.label": "=1+2, the first (invented)"}), site.new_job()
    site.send(first)
    packed = zipfile.ZipFile(io.BytesIO(site.client.get("/jobs/all.zip").content))
    packed.extractall(tmp_path / "out")
    rows = list(csv.DictReader(io.StringIO(packed.read("jobs.csv").decode("utf-8-sig"))))
    assert len({row["folder"] for row in rows}) == 2
    vehicles = [row["vehicle"] for row in rows if row["state"] != "waiting for the drive"]
    assert vehicles == ["'=1+2, the first (invented)"]
    for row in rows:
        load_job(tmp_path / "out" / row["folder"] / "job.toml")
    names = [name for name in packed.namelist() if name.endswith("before-1-track.gpx")]
    assert [packed.read(name) for name in names] == [(DEMO / "before.gpx").read_bytes()]


def test_the_list_tells_the_verdict_until_the_job_is_changed(site: Site) -> None:
    """Of its latest analysis; a change makes it open again, and the table of all jobs says the same."""
    base, queue = site.new_job(), site.services.queue
    job_id = base.rpartition("/")[2]
    assert "not proven" not in done(site, "/jobs")
    for word in ("fail", "not proven"):
        queue.put(job_id)
        run = queue.claim("w")
        assert run is not None
        queue.finish(run, "done", {"sentence": "", "verdict": word})
    assert "not proven" in done(site, "/jobs")
    packed = zipfile.ZipFile(io.BytesIO(site.client.get("/jobs/all.zip").content))
    assert [row["verdict"] for row in csv.DictReader(io.StringIO(packed.read("jobs.csv").decode("utf-8-sig")))] == [
        "not proven"
    ]
    with site.services.store.writing() as connection:
        connection.execute(schema.jobs.update().values(revision=schema.jobs.c.revision + 1))
    assert "not proven" not in done(site, "/jobs")


def test_files_of_old_drives_go_and_their_result_stays(shop: Site) -> None:
    """90 days after closing; an open job, and one closed lately, keep theirs."""
    store, originals = shop.services.store, shop.services.originals
    bases = [shop.new_job() for _ in range(3)]
    drives = [store.drive(shop.send(base).headers["location"].rpartition("/")[2]) for base in bases]
    for base in bases[:2]:
        shop.client.post(f"{base}/close", data={"closed": "yes"})
    with store.writing() as connection:
        connection.execute(schema.drives.update().values(look='{"errors": [], "fit": {}, "track": null}'))
        connection.execute(schema.runs.delete())
        for base, days in ((bases[0], 91), (bases[1], 89), (bases[2], 91)):
            mine = schema.jobs.c.id == base.rpartition("/")[2]
            connection.execute(schema.jobs.update().where(mine).values(updated=time.time() - days * 86400))
    removal.forget_old(shop.services)
    kept = [originals.path(drive.job_id, drive.track_digest).exists() for drive in drives]
    assert kept == [False, True, True]
    assert "files no longer kept" in done(shop, bases[0])
    assert "files no longer kept" not in done(shop, bases[1])
    shop.client.post(f"{bases[0]}/close", data={"closed": "no"})
    shop.client.post(f"{bases[0]}/again")
    assert shop.services.queue.waiting() == 0, "no analysis puts a poorer result in the place of the one there is"
