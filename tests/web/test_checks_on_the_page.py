"""Checks are handed in on the page without a track, and come to a result as from the command."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from support.web_site import Site, open_site

MILES = "dial mph,distance mi,time mm:ss.s\n35,1,1:52.5\n35,1,1:53.1\n50,1,1:17.0\n67,1,0:57.0\n67,1,0:56.6\n"


@pytest.fixture(scope="module")
def busy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with open_site(tmp_path_factory.mktemp("checks"), workers=1) as site:
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


def test_what_is_wrong_with_checks_is_said_and_they_stay(busy: Site) -> None:
    base = busy.new_job()
    address = _hand_in(busy, base, checks="yes", pasted="dial mph,distance mi,time\n60,1,fast\n60,1,63\n")
    page = busy.client.get(address).text
    assert "&#39;fast&#39; is not the time of a run" in page
    assert "60,1,fast" in page


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
