"""The sheet for the road test and the table it is typed into."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from support.pdf_pages import PAPER_PT, pictures_of, root_of, texts_of, words_of

from speedcal.conformity import RoadTestPlan, plan
from speedcal.conformity.designs import MOST_HOLDS, MOST_READINGS_A_HOLD
from speedcal.finding import Finding
from speedcal.logs import read_readings
from speedcal.report.road_test_sheet import render_sheet, render_template
from speedcal.units import SPEED_UNIT_MPS
from speedcal.vehicle import Vehicle

TRUCK = Vehicle.from_dict({"label": "Invented truck", "driven_gear": 12})


def fullest() -> RoadTestPlan:
    """Return a plan with the most holds and readings there are, and a label of three scripts that never ends."""
    found = plan(TRUCK, speed_limit=65)
    hold = replace(found.plateaus[0], readings=MOST_READINGS_A_HOLD)
    label = "速度計 عداد السرعة " + "very long label " * 20
    short = (Finding("one_sheet_is_short", target=found.target),)
    return replace(found, plateaus=(hold,) * MOST_HOLDS, vehicle_label=label, findings=short)


def test_the_filled_in_table_comes_back_as_readings(tmp_path: Path) -> None:
    """Typed as the passenger wrote it, lines left out left empty, it reads with unit, times and odometer."""
    found = plan(TRUCK, speed_limit=65)
    assert found.by_gps
    assert not render_template(found).startswith("#")
    said, *lines = render_template(replace(found, by_gps=False)).splitlines()
    assert len(lines) == 1 + found.n_readings
    for i in range(1, found.n_readings + 1):
        hold = lines[i].split(",")[0]
        if i % 7:
            lines[i] = f"{hold},10:{20 + i // 6}:{i % 6}5,{hold},{'48213.4' if i == 1 else ''}"
    path = tmp_path / "filled in.csv"
    path.write_text("\n".join([said, *lines]) + "\n", encoding="utf-8")
    readings = read_readings(path)
    assert readings.rounding == "exact"
    filled = found.n_readings - found.n_readings // 7
    speeds = readings.speed_mps[np.isfinite(readings.speed_mps)]
    assert len(speeds) == filled
    assert speeds[0] == pytest.approx(found.plateaus[0].mark_mps)
    assert readings.speed_unit == "mph"
    assert readings.clock == "time of day"
    assert np.nanmax(readings.odometer_m) == pytest.approx(48213.4 * 1609.344)


def test_the_same_plan_gives_the_same_sheet_with_text_that_can_be_searched() -> None:
    """Cautions, marks, shop and vehicle are text; the language and the title are told."""
    found = plan(TRUCK, speed_limit=65)
    pdf = render_sheet(found, shop="Invented shop")
    assert pdf == render_sheet(found, shop="Invented shop")
    said = words_of(pdf)
    for expected in ("Road test sheet", "Invented truck", "Invented shop", "never the driver", "Speed limit 65 mph"):
        assert expected in said
    for caution in found.cautions:
        assert caution.text in said
    assert root_of(pdf)["/Lang"] == "en"
    assert PdfReader(io.BytesIO(pdf)).metadata.title == "Road test sheet"  # type: ignore[union-attr]
    assert pictures_of(pdf) == []


def test_a_sheet_that_does_not_reach_what_it_is_for_says_so() -> None:
    """It promised half a tooth, 1.25 %, and in the next sentence 2.4 %; a sheet that reaches it says nothing."""
    slow, fast = (plan(Vehicle.from_dict({}), speed_limit=limit, unit="km/h") for limit in (60, 110))
    assert slow.half_width_percent > 1.25 > fast.half_width_percent
    said, of_fast = words_of(render_sheet(slow)), words_of(render_sheet(fast))
    assert "drive the sheet on two days" in said
    assert "verdict" not in said
    assert "two days" not in of_fast


@pytest.mark.parametrize(("unit", "paper"), [("mph", "letter"), ("km/h", "a4")])
def test_the_fullest_sheet_is_one_page_of_the_paper_of_the_country(unit: str, paper: str) -> None:
    """Every hold is on it, nothing written beyond its edge, and the letters a font lacks are counted."""
    found = replace(fullest(), unit=unit)
    pdf = render_sheet(found, shop="long shop name " * 20)
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(PAPER_PT[paper], abs=0.01)
    said = words_of(pdf)
    hold = found.plateaus[0]
    assert said.count(f"{MOST_HOLDS} {hold.mark_mps / SPEED_UNIT_MPS[unit]:.0f} {hold.hold_s:.0f}") == 1
    assert "عداد" in said
    lowest = min(y for _, _, y, _ in texts_of(pdf))
    assert lowest > 36
    assert "Answers: " in said
