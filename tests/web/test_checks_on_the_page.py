"""Checks are handed in on the page without a track, and come to a result as from the command."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from support.web_site import FORM, Site, analysed_at_hand, open_site

MILES = "dial mph,distance mi,time mm:ss.s\n35,1,1:52.5\n35,1,1:53.1\n50,1,1:17.0\n67,1,0:57.0\n67,1,0:56.6\n"


@pytest.fixture(scope="module")
def busy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with analysed_at_hand(), open_site(tmp_path_factory.mktemp("checks"), workers=1) as site:
        yield site


def _hand_in(site: Site, base: str, **data: str) -> str:
    answer = site.client.post(f"{base}/drives/new/before", data=data, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    site.settle(base)
    return str(answer.headers["location"])


def test_a_pasted_table_of_checks_comes_to_a_report(busy: Site) -> None:
    """3600/57.0 = 63.2 mph true at 67."""
    base = busy.new_job()
    address = _hand_in(busy, base, checks="yes", pasted=MILES)
    page = busy.client.get(address).text
    assert "The checks can be used: 5 of 5" in page
    assert "track is still missing" not in page
    report = busy.client.get(f"{base}/files/report.html")
    assert report.status_code == 200
    assert "No track: each reading of the dial is held against a true speed" in report.text
    assert 'name="checks" value="yes" checked' in page


def test_checks_sent_as_readings_are_known_for_what_they_are(busy: Site) -> None:
    """No track is asked for: the box is ticked, and the change takes them. Notes without a track are notes."""
    base = busy.new_job()
    address = _hand_in(busy, base, pasted=MILES)
    page = busy.client.get(address).text
    assert "These look like checks" in page
    assert "This needs a change" not in page
    assert 'name="checks" value="yes" checked' in page
    notes = _hand_in(busy, busy.new_job(), pasted="time,dial mph,odometer mi\n10:01:05,35,412.1\n10:09:40,50,418.0\n")
    page = busy.client.get(notes).text
    assert "The readings are here, the track is still missing." in page
    assert 'value="yes" checked' not in page


def test_a_log_of_both_speeds_is_known_for_what_it_is_and_counts_as_a_drive(busy: Site) -> None:
    """Sent as readings it is offered as checks, and as those it is laid on its own track."""
    rows = "".join(f"{k},{(30, 45, 60, 35)[k // 40 % 4]},{(32, 47, 63, 37)[k // 40 % 4]}\n" for k in range(400))
    pasted = f"time (s),GPS speed (mph),Vehicle speed (mph)\n{rows}"
    assert "These look like checks" in busy.client.get(_hand_in(busy, busy.new_job(), pasted=pasted)).text
    page = busy.client.get(_hand_in(busy, busy.new_job(), checks="yes", pasted=pasted)).text
    assert "<h3>The track</h3>" in page


def test_an_odometer_and_another_unit_are_told_on_the_job(busy: Site) -> None:
    """10.9 counted over 10.0 miles is 109 for 100; the job is in km/h, the dial in mph."""
    base = busy.new_job(**{"job.unit": "km/h"})
    _hand_in(busy, base, checks="yes", pasted=MILES)
    job = busy.client.get(base).text
    assert f'<a href="{base}/edit#job.unit">' in job
    assert "odometer counted" not in job
    other = busy.new_job()
    sent = _hand_in(busy, other, checks="yes", pasted="trip mi,distance mi\n10.9,10\n10.9,10\n10.9,10\n")
    drive = busy.client.get(sent).text
    assert "The odometer can be used." in drive
    assert "0 of 0" not in drive
    assert "<dt>Speeds</dt>" not in drive
    job = busy.client.get(other).text
    assert "Before the work the odometer counted 108" in job
    assert "edit#job.unit" not in job


def test_what_is_wrong_with_checks_is_said_and_they_stay(busy: Site) -> None:
    base = busy.new_job()
    address = _hand_in(busy, base, checks="yes", pasted="dial mph,distance mi,time\n60,1,fast\n60,1,63\n")
    page = busy.client.get(address).text
    assert "&#39;fast&#39; is not the time of a run" in page
    assert "60,1,fast" in page


def test_a_job_without_a_result_says_which_drive_holds_it_up(busy: Site) -> None:
    """'There is no result yet.' stood alone, and what to do far below it, on a phone a screen away."""
    base = busy.new_job()
    assert "See what to do" not in busy.client.get(base).text
    address = _hand_in(busy, base, checks="yes", pasted="dial mph,distance mi,time\n60,1,fast\n60,1,63\n")
    result = busy.client.get(base).text.split('id="result"')[1].split("</section>")[0]
    assert "There is no result yet." in result
    assert f'href="{address}"' in result
    assert "is not used: &#39;fast&#39; is not the time of a run.</p>" in result


def test_checks_with_a_track_are_refused(busy: Site) -> None:
    from support.web_site import DEMO

    base = busy.new_job()
    with (DEMO / "before.gpx").open("rb") as track:
        files = {"track": ("before.gpx", track, "application/gpx+xml")}
        data = {"checks": "yes", "pasted": MILES}
        answer = busy.client.post(f"{base}/drives/new/before", data=data, files=files)
    assert "need neither a track nor held speeds" in answer.text
    busy.settle(base)


def test_an_exported_job_of_checks_comes_back(busy: Site) -> None:
    base = busy.new_job()
    _hand_in(busy, base, checks="yes", pasted=MILES)
    packed = busy.client.get(f"{base}/export.zip")
    assert packed.status_code == 200
    files = {"zip": ("job.zip", packed.content, "application/zip")}
    again = busy.client.post("/import", files=files, follow_redirects=False)
    assert again.status_code == 303, again.text
    home = again.headers["location"]
    busy.settle(home)
    assert busy.client.get(f"{home}/files/report.html").status_code == 200


FACTS = {
    "vehicle.rolled_turns": "3",
    "vehicle.rolled_distance": "320.16",
    "vehicle.rolled_distance.key": "rolled_distance_in",
    "vehicle.expects": "1000",
    "vehicle.expects.key": "turns_per_mile",
}
"""With an axle of 41/11 and a drive gear of 13: 41/11 x 63360/106.72 x 13/1000 = 28.77 teeth."""


def test_the_facts_alone_name_the_gear(busy: Site) -> None:
    """29 teeth before anything was driven; nothing of it is a measurement, so there are no readings to save."""
    base = busy.new_job(**FACTS, **{"vehicle.driven_gear": ""})
    busy.settle(base)
    page = busy.client.get(base).text
    assert "29 teeth" in page
    assert (
        "No drive: everything is worked out from the parts as stated"
        in busy.client.get(f"{base}/files/report.html").text
    )
    assert "readings_aligned.csv" not in page
    with_link = busy.client.post(f"{base}/links", data={"role": "owner"}).text
    owner = busy.client.get(re.search(r'data-address="[^"]*(/o/[\w.-]+)"', with_link)[1]).text
    assert "How it works" in owner
    assert "by its parts" not in owner, "the owner is asked for a drive, and told of no result before one"


def test_engine_speed_counts_once_the_axle_and_the_tire_are_stated(busy: Site) -> None:
    """2000 rpm in direct on tires of 106.72 in to a turn: 2000 x 106.72 x 11/41 x 60 / 63360 = 54.23 mph."""
    base = busy.new_job()
    rows = "dial mph,rpm,gear ratio\n60,2000,1\n30,1000,1\n60,2000,1\n30,1000,1\n"
    address = _hand_in(busy, base, checks="yes", pasted=rows)
    assert "only where axle and tire are known" in busy.client.get(address).text
    changed = {**FORM, **FACTS, "vehicle.driven_gear": "27"}
    assert busy.client.post(f"{base}/edit", data=changed, follow_redirects=False).status_code == 303
    busy.settle(base)
    assert "The checks can be used: 4 of 4" in busy.client.get(address).text
    drive = busy.understand(address)
    assert drive.look["fit"]["error_factor"]["value"] == pytest.approx(60 / 54.23, rel=0.01)
    assert busy.services.store.find_jobs(stage="measured")
