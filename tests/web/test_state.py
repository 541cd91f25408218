"""The page that tells the shop how its service does."""

from __future__ import annotations

import re
import time
from importlib import metadata

import pytest
from support.web_site import Site

from speedcal.errors import SpeedcalError
from speedcal.web.pages import state


def shown(site: Site) -> dict[str, str]:
    """Return what stands beside each name."""
    page = site.client.get("/state").text
    return {name: re.sub(r"<[^>]+>", "", text) for name, text in re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", page)}


def test_it_counts_what_was_handed_in_and_what_waits(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within thirty days."""
    base = site.new_job()
    site.send(base)
    site.send(base, "after")
    site.client.post(f"{base}/close", data={"closed": "yes"})
    told = shown(site)
    assert told["Version"] == metadata.version("speedcal")
    assert told["Jobs are kept in"].startswith("SQLite")
    names = ("New jobs", "Drives before the work", "Road tests", "Jobs closed", "Analyses waiting")
    assert [told[name] for name in names] == ["1", "1", "1", "1", "2"]
    later = time.time() + 31 * 86400
    monkeypatch.setattr(time, "time", lambda: later)
    assert [shown(site)[name] for name in names] == ["0", "0", "0", "0", "2"]


def test_it_names_the_reason_of_a_failure_and_leads_to_the_job(site: Site) -> None:
    """Of a whole job, and of a drive that could not be read."""
    base = site.new_job()
    job, queue = base.split("/")[-1], site.services.queue
    site.send(base)
    look = queue.claim("w")
    told = {**SpeedcalError("too_much_memory").to_dict(), "part": "match"}
    queue.finish_look(look, 1, {"track": None, "readings": None, "fit": None, "errors": [told], "picture": ""})
    queue.put(job)
    queue.finish(queue.claim("w"), "failed", SpeedcalError("analysis_lost").to_dict())
    page = site.client.get("/state").text
    assert page.count(f'href="{base}"') == 2
    assert "The files need more memory than one job may take." in page
    assert "stopped before it could answer" in page
    assert shown(site)["Analyses that failed"] == "1"


def test_drives_that_were_read_since_do_not_push_a_refused_one_off_the_page(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a good drive is off by is no failure."""
    monkeypatch.setattr(state, "_SHOWN", 1)
    told = {**SpeedcalError("too_much_memory").to_dict(), "part": "match"}
    nothing = {"track": None, "readings": None, "fit": None, "errors": [], "picture": "", "span": None}
    site.send(site.new_job())
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, {**nothing, "errors": [told]})
    site.send(site.new_job())
    look = {**nothing, "fit": {"errors": [{"ground": 30.0}]}}
    site.services.queue.finish_look(site.services.queue.claim("w"), 1, look)
    assert "The files need more memory than one job may take." in site.client.get("/state").text


def test_it_says_what_does_not_work(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the words a supervisor reads."""
    assert "Everything works." in site.client.get("/state").text
    monkeypatch.setattr(site.services.health, "look", lambda: {"disk": False, "workers": True})
    page = site.client.get("/state").text
    assert "The disk is nearly full" in page
    assert "Everything works." not in page


def test_it_is_for_the_shop(site: Site) -> None:
    """Nobody else learns where the files lie."""
    site.services.auth.set_passcode("brass kettle tide")
    answer = site.client.get("/state", follow_redirects=False)
    assert answer.headers["location"].startswith("/sign-in")
