"""The sheet for the road test gives speeds that are legal with what is fitted after the work."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pypdf
import pytest
from support.web_site import DEMO

from speedcal.web.pages.shop import _by_distance, _usual_limit
from speedcal.web.work.sheet import write_sheet


def sheet(tmp_path: Path, **changes: Any) -> str:
    """Return the text of the sheet for the demo job with other tables."""
    document = {**tomllib.loads((DEMO / "job.toml").read_text("utf-8")), **changes}
    task = {"document": document, "unit": "mph", "speed_limit": 65.0, "folder": str(DEMO)}
    write_sheet({**task, "out": str(tmp_path / "sheet.pdf")})
    return pypdf.PdfReader(tmp_path / "sheet.pdf").pages[0].extract_text()


def marks(text: str) -> list[int]:
    """Return the speeds to hold, which stand with the number of the row and the seconds."""
    rows = [line.split() for line in text.splitlines()]
    return [int(row[1]) for row in rows if len(row) == 3 and all(word.isdigit() for word in row)]


def test_after_a_stated_change_the_dial_is_held(tmp_path: Path) -> None:
    """19 teeth show about 71 at a true 60; 22 teeth show about 61: 65 on the dial is then legal, 75 is not."""
    text = sheet(tmp_path, work={"driven_gear": 22})
    assert "hold mph" in text
    assert max(marks(text)) == 65


@pytest.mark.parametrize(
    "changes", [{"work": {}}, {"work": {"note": "put right"}}, {"vehicle": {}, "work": {"driven_gear": 22}}]
)
def test_without_a_stated_change_the_speeds_are_true_ones(tmp_path: Path, changes: dict[str, Any]) -> None:
    """Nobody knows what the dial will show: it says so, and no speed is above the limit."""
    text = " ".join(sheet(tmp_path, **changes).split())
    assert "by GPS, not by the dial: what it will show is not known" in text
    assert "GPS mph" in text
    assert max(marks(sheet(tmp_path, **changes))) <= 65


def test_the_legal_speed_starts_with_what_the_vehicle_reached() -> None:
    """A tractor that went 40 km/h is not asked for 100; a car that went 120 is not sent faster than usual."""

    def driven(*speeds: float) -> dict[str, Any]:
        return {"now": {"before": {"speed_unit": "km/h", "errors": [{"ground": speed} for speed in speeds]}}}

    assert _usual_limit("km/h", driven(20, 30, 40)) == 40
    assert _usual_limit("km/h", driven(60, 80, 120)) == 100
    assert _usual_limit("km/h", None) == 100
    assert _usual_limit("mph", driven(20, 30, 40)) == 65  # the job's unit was changed since


def test_the_sheet_has_the_marks_of_the_dial_whatever_unit_the_page_speaks(tmp_path: Path) -> None:
    """The notes of the demo are in mph: 100 km/h are 62 mph, and no mark in km/h can be held on that dial."""
    document = tomllib.loads((DEMO / "job.toml").read_text("utf-8"))
    out = tmp_path / "sheet.pdf"
    write_sheet({"document": document, "unit": "km/h", "speed_limit": 100.0, "folder": str(DEMO), "out": str(out)})
    text = pypdf.PdfReader(out).pages[0].extract_text()
    assert "km/h" not in text
    assert max(marks(text)) <= 65


@pytest.mark.parametrize(
    ("rule", "by_distance"),
    [({"rule": "odo_hb44"}, True), ({"quantity": "distance", "percent": 2}, True), ({"rule": "sae_j2976"}, False)],
)
def test_no_sheet_of_speeds_is_offered_for_a_rule_on_the_odometer(rule: dict[str, Any], by_distance: bool) -> None:
    assert _by_distance(rule) is by_distance
