"""A film of the dial in a real browser, at phone size: from the upload over a broken line to the result."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from support.browser import open_browsing, until
from support.film_maker import FilmKind, make_film
from support.web_server import WebServer
from support.web_site import DEMO

import speedcal

FACTOR, SECONDS, BEGIN = 1.1, 60, 450.0


def test_from_a_film_to_the_result(tmp_path: Path) -> None:
    """The dial of the film reads 10 % high; a piece that breaks off is sent again, ticks are confirmed by hand."""
    track = speedcal.read_track(DEMO / "before.gpx")
    moments = track.time_s[0] + BEGIN + np.arange(SECONDS)
    shown = FACTOR * np.interp(moments, track.time_s, track.speed_mps) / 0.44704
    film = make_film(tmp_path / "dial.mp4", FilmKind("plain"), seed=2, seconds=SECONDS, rate=1, speed=shown)
    server = WebServer(tmp_path / "data").start()
    try:
        with open_browsing() as browsing:
            page = browsing.page({"width": 360, "height": 740}, has_touch=True)
            page.set_default_timeout(120_000)
            page.goto(f"{server.address}/jobs/new")
            page.fill('[id="job.number"]', "F-1")
            page.click("text=Save the job")
            page.click("section[aria-labelledby=before] >> text=Film of the dial")
            browsing.check(page)
            page.route("**/pieces", lambda route: route.abort(), times=1)
            page.set_input_files("#film", film.path)
            page.click("text=Send the film")
            page.wait_for_selector("#marks-form")
            assert "ERR_FAILED" in " ".join(browsing.noise), "the line was broken"
            browsing.forget_noise()

            count = "document.querySelectorAll('#marks li').length"
            until(page, f"{count} === 13")
            browsing.check(page)
            page.focus("#still")
            page.keyboard.press("ArrowRight")
            page.keyboard.press("Enter")
            until(page, f"{count} === 14")
            page.keyboard.press("Delete")
            until(page, f"{count} === 13")
            box = page.locator("#still").bounding_box()
            page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            until(page, f"{count} === 14")
            page.locator("#marks button").last.click()
            page.click("#clear")
            page.locator("[data-still]").nth(1).click()
            until(page, f"{count} === 13")
            page.fill("#step", "10")
            page.click("#number")
            page.click("text=Read the film with these marks")

            page.wait_for_selector(".frames", timeout=300_000)
            browsing.check(page)
            page.locator(".frames input").first.check()
            page.click("text=Use these readings")
            page.set_input_files("#track", DEMO / "before.gpx")
            page.click("text=Send the change")
            page.wait_for_selector("text=The drive can be measured")
            page.click("text=Back to F-1")
            page.wait_for_selector("section[aria-labelledby=result] table", timeout=300_000)
            browsing.check(page)
            text = page.inner_text("section[aria-labelledby=result] table")
            rows = [[float(cell) for cell in line.split("\t")[:2]] for line in text.splitlines() if line[:1].isdigit()]
            assert rows
            assert np.allclose([now for _, now in rows], [FACTOR * true for true, _ in rows], atol=1.0)
            browsing.check_quiet()
    finally:
        server.stop()
