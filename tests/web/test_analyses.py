"""What comes of the files that are sent: a result, or one message. Who computes it is tested with the runner."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from support.web_site import DEMO, FORM, Site, analysed_at_hand, open_site

from speedcal.web.settings import Limits


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Start a service that analyses in this process."""
    with analysed_at_hand(), open_site(tmp_path_factory.mktemp("analyses"), workers=1) as opened:
        yield opened


@dataclass(frozen=True)
class Noted:
    """A job with the noted drive before the work, and the pages of the drive and of the job."""

    base: str
    drive: str
    job: str


@pytest.fixture(scope="module")
def noted(site: Site) -> Noted:
    """Hand in the demo drive before the work."""
    base = site.new_job(**{"job.number": "Gears"})
    address = site.send(base).headers["location"]
    site.settle(base)
    return Noted(base, site.client.get(address).text, site.client.get(base).text)


@pytest.mark.parametrize(
    "content",
    [
        b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]><gpx>&b;</gpx>',
        b"<gpx>" + b"<a>" * 200_000,
        os.urandom(100_000),
        b"\x0e\x10\xff\xff" + b"\xff" * 5000,
        b"$GPRMC," + b"9" * 1_000_000,
    ],
    ids=["entities", "depth", "noise", "broken FIT", "endless line"],
)
def test_a_hostile_track_costs_one_message(site: Site, content: bytes) -> None:
    """The drive needs a change, says which file, and the service goes on."""
    base = site.new_job()
    answer = site.client.post(
        f"{base}/drives/new/before",
        data={"held": "30 40 50 60"},
        files={"track": ("hostile.gpx", content)},
        follow_redirects=False,
    )
    site.understand(answer.headers["location"])
    page = site.client.get(answer.headers["location"]).text
    assert "This needs a change" in page
    assert "hostile.gpx" in page
    assert "Traceback" not in page
    assert 'value="30 40 50 60"' in page


def test_speeds_held_in_order_have_no_clock_to_be_matched(site: Site, noted: Noted) -> None:
    """The nine of the demo drive: the page says where each stands, and names no clock; beside notes it does.

    What holds for track and answer is said once.
    """
    base = site.new_job()
    sent = site.client.post(
        f"{base}/drives/new/before",
        data={"held": "42 64 30 53 76 36 71 47 59", "unit": "mph"},
        files={"track": ("before.gpx", (DEMO / "before.gpx").read_bytes().replace(b"Z</time>", b"</time>"))},
        follow_redirects=False,
    )
    site.understand(sent.headers["location"])
    pages = [" ".join(page.split()) for page in (site.client.get(sent.headers["location"]).text, noted.drive)]
    assert "stands at the steady speed it was matched to" in pages[0]
    assert "<dt>Times</dt><dd>no times: speeds held one after the other</dd>" in pages[0]
    assert "the two clocks were matched" not in pages[0]
    assert pages[0].count("The times carry no zone") == 1
    assert "the two clocks were matched" in pages[1]
    assert "<dt>Times</dt><dd>times of day without a date</dd>" in pages[1]


def test_a_track_beyond_the_limit_of_fixes_is_told(tmp_path: Path) -> None:
    """The demo drive has more than ten."""
    few = Limits(track_points=10, readings_rows=5, free_disk_bytes=0)
    with analysed_at_hand(), open_site(tmp_path, workers=1, limits=few) as narrow:
        base = narrow.new_job()
        address = narrow.send(base).headers["location"]
        narrow.understand(address)
        page = narrow.client.get(address).text
    assert "this page takes 10 at the most" in page
    assert "this page takes 5 at the most" in page


def _opened_by(site: Site, base: str, role: str) -> str:
    """Return what a link shows to whom it was made for."""
    site.client.post(f"{base}/links", data={"role": role})
    address = re.findall(rf"http://[^/]+(/{role[0]}/[^\"]+)\"", site.client.get(base).text)[0]
    return " ".join(site.client.get(address).text.split())


def test_an_analysis_that_failed_marks_the_job_and_asks_nothing_of_the_owner(site: Site) -> None:
    """The list said 'road test is in'; the owner, who can no longer change a drive, was told to swap the two."""
    base = site.new_job(**{"job.number": "Swapped"})
    for phase, other in (("before", "after"), ("after", "before")):
        names = (("track", f"{other}.gpx"), ("readings", f"{other}_notes.csv"))
        files = {field: (name, (DEMO / name).read_bytes()) for field, name in names}
        site.client.post(f"{base}/drives/new/{phase}", files=files)
    site.settle(base)
    listed = site.client.get("/jobs?q=Swapped").text
    assert "no result" in listed
    assert "Swap the two drives" in site.client.get(base).text
    seen = _opened_by(site, base, "owner")
    assert "The shop sees why" in seen
    assert "Swap the two drives" not in seen


@pytest.mark.parametrize(("east_deg", "day"), [(75, "2031-05-18"), (-75, "2031-05-17")])
def test_a_drive_has_the_day_that_its_driver_had(site: Site, east_deg: int, day: str) -> None:
    """It begins at 23:50 in Greenwich; 75 degrees east are five hours more, wherever the shop's machine stands."""
    text = (DEMO / "before.gpx").read_text(encoding="utf-8")
    first = datetime.fromisoformat(re.findall(r"<time>([^<]+)", text)[0])
    by = first.replace(day=17, hour=23, minute=50) - first
    text = re.sub(r"(?<=<time>)[^<]+", lambda at: (datetime.fromisoformat(at[0]) + by).isoformat(), text)
    west = float(re.findall(r'lon="([^"]+)', text)[0])
    text = re.sub(r'(?<=lon=")[^"]+', lambda at: f"{float(at[0]) - west + east_deg:.7f}", text)
    base = site.new_job()
    sent = site.client.post(
        f"{base}/drives/new/before",
        data={"held": "42 64 30 53 76 36 71 47 59", "unit": "mph"},
        files={"track": ("night.gpx", text.encode())},
        follow_redirects=False,
    )
    site.understand(sent.headers["location"])
    assert f'<time datetime="{day}T12:00" data-show="day">{day}</time>' in site.client.get(base).text


def test_the_customer_reads_what_was_done(site: Site) -> None:
    """Which is what was paid for; it stood in the report alone."""
    base = site.new_job(**{"vehicle.driven_gear": "19", "work.driven_gear": "22", "work.note": "New seal ring."})
    for phase in ("before", "after"):
        site.send(base, phase)
    site.settle(base)
    seen = _opened_by(site, base, "customer")
    assert "Driven gear 22 (before: 19). New seal ring." in seen
    assert "what happens next" not in seen  # nobody judges it, and nothing is left to do
    assert "no result" not in site.client.get("/jobs").text.split("Swapped")[0]


def test_changing_gears_gives_a_new_result_and_the_old_one_is_called_out_of_date(site: Site, noted: Noted) -> None:
    """Until the new one is there."""
    base = noted.base
    before = site.client.get(f"{base}/files/result.json").json()
    changed = {"job.number": "Gears", "job.unit": "km/h", "vehicle.driven_gear": "20"}
    site.client.post(f"{base}/edit", data=changed)
    site.settle(base)
    after = site.client.get(f"{base}/files/result.json").json()
    assert (before["before"]["speed_unit"], after["before"]["speed_unit"]) == ("mph", "km/h")
    assert "out of date" not in site.client.get(base).text


def test_what_was_said_before_a_drive_came_in_is_no_change_of_the_job(site: Site) -> None:
    """From the facts alone a right dial is kept; the drive says otherwise, and another gear is a change."""
    facts = {"vehicle.tire": "P225/70R16", "vehicle.drive_gear": "8", "vehicle.driven_gear": "22",
             "vehicle.expects": "1000"}  # fmt: skip
    base = site.new_job(**facts)
    site.settle(base)
    site.send(base)
    site.settle(base)
    page = site.client.get(base).text
    assert "What happens next" in page
    assert "Before the last change" not in page
    assert "The report says what happens next." in _opened_by(site, base, "customer")
    site.client.post(f"{base}/edit", data={**FORM, **facts, "vehicle.driven_gear": "19"})
    site.settle(base)
    assert "Before the last change" in site.client.get(base).text


def test_gears_are_listed_only_where_there_are_some(site: Site, noted: Noted) -> None:
    """The demo drive with gears, and with a sensor that counts pulses."""
    pulses = {"vehicle.axle": "", "vehicle.drive_gear": "", "vehicle.driven_gear": "",
              "vehicle.expects": "4000", "vehicle.expects.key": "pulses_per_mile"}  # fmt: skip
    base = site.new_job(**pulses)
    site.send(base)
    site.settle(base)
    pages = [noted.job, site.client.get(base).text]
    assert all("What happens next" in page for page in pages)
    assert all("Likely cause: " in page for page in pages)
    advice = pages[0].split("What happens next")[1].split("</div>")[0]
    assert "\u00a0%" in advice  # on a phone a line ended in 2.5, and the next began with %
    assert " %" not in advice
    assert ["What each gear by itself would leave" in page for page in pages] == [True, False]


def test_after_a_pass_the_shop_is_told_what_is_left_to_do(site: Site) -> None:
    """To hand over and to close; when it is closed, nothing."""
    base = site.new_job(**{"tolerance.rule": "un_r39_type", "tolerance.speeds": "30 45 60"})
    site.send(base, "after")
    site.settle(base)
    said = "PASS: what happens next"
    assert said in site.client.get(base).text
    site.client.post(f"{base}/close", data={"closed": "yes"})
    assert said not in site.client.get(base).text
