"""The page of many vehicles, in a real browser at the size of a phone and of a desk."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.browser import Browsing, open_browsing
from support.large_fleet import large_fleet

from speedcal.fleet import FleetResult
from speedcal.fleet.overview import render_page
from speedcal.text.pages.fleet_page import about

COUNT, MANY = 1_500, 10_000
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture(scope="module")
def result() -> FleetResult:
    return large_fleet(COUNT, seed=4)


@pytest.fixture(scope="module")
def page_file(result: FleetResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "fleet.html"
    path.write_text(_page(result), encoding="utf-8")
    return path


def _page(result: FleetResult) -> str:
    return render_page(result.rows, result.limits, result.rate, result.display_unit, compared=result.compared)


@pytest.fixture(scope="module")
def browsing() -> Iterator[Browsing]:
    with open_browsing() as browsing:
        yield browsing


def opened(browsing: Browsing, page_file: Path, size: dict[str, int]) -> Any:
    page = browsing.page(size)
    page.goto(page_file.as_uri())
    return page


def names(page: Any) -> list[str]:
    return page.locator("#rows .head b").all_inner_texts()


def test_vehicles_take_so_little_that_ten_thousand_are_less_than_five_megabytes(page_file: Path) -> None:
    """One file that fetches nothing; what all rows share is counted with them."""
    text = page_file.read_text(encoding="utf-8")
    assert len(text.encode()) < 5_000_000 * COUNT / MANY
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")


def test_the_page_holds_distances_in_the_unit_of_its_reader(result: FleetResult) -> None:
    """Driven, and counted wrongly: error times distance, over 1609.344 m or 1000 m."""
    row = next(row for row in result.rows if row.error_percent and row.distance_m > 0)
    cost_m = abs(row.error_percent.value) / 100 * row.distance_m if row.error_percent else 0.0
    for unit, length_m in (("mph", 1609.344), ("km/h", 1000.0)):
        page = render_page([row], result.limits, result.rate, unit, compared=False)
        (drawn,) = json.loads(page.split('id="data">')[1].split("</script>")[0])["rows"]
        assert drawn[0] == row.vehicle
        assert drawn[6:8] == pytest.approx([cost_m / length_m, row.distance_m / length_m], abs=0.051)


@pytest.mark.benchmark
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_ten_thousand_vehicles_are_usable(size: dict[str, int], browsing: Browsing, tmp_path: Path) -> None:
    """Under five megabytes; the costliest first, and one is found by its name."""
    result = large_fleet(MANY, seed=4)
    path = tmp_path / "fleet.html"
    path.write_text(_page(result), encoding="utf-8")
    assert path.stat().st_size < 5_000_000
    page = opened(browsing, path, size)
    assert names(page)[:100] == [row.vehicle for row in result.wrong[:100]]
    page.select_option("#list", "all")
    page.fill("#word", "truck 09042")
    assert names(page) == ["truck 09042"]
    page.fill("#word", "")
    page.select_option("#sort", "by_name")
    assert names(page)[:100] == sorted(row.vehicle for row in result.rows)[:100]
    page.locator("#all").click()
    browsing.check(page)
    assert page.locator("#touched svg").count() == 1
    browsing.check_quiet()


def test_a_name_cannot_break_out_of_the_page() -> None:
    """A vehicle may be called anything."""
    from dataclasses import replace

    small = large_fleet(3, seed=1)
    rows = (replace(small.rows[0], vehicle="</script><b>bad</b>"), *small.rows[1:])
    assert "<b>bad" not in _page(replace(small, rows=rows))


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_list_is_usable(size: dict[str, int], browsing: Browsing, page_file: Path, result: FleetResult) -> None:
    """The wrong ones first, by cost; search, filters and order; a row opens its picture; no barrier, no overflow."""
    page = opened(browsing, page_file, size)
    assert names(page)[:100] == [row.vehicle for row in result.wrong[:100]]
    page.locator("#more").click()
    assert names(page) == [row.vehicle for row in result.wrong[:200]]
    head = page.locator("#rows .head").first
    assert head.bounding_box()["height"] >= 24
    head.click()
    box = page.locator("#rows svg").first.bounding_box()
    assert box["width"] > 250
    assert box["x"] + box["width"] <= size["width"]
    assert page.locator("#rows svg").first.locator("circle").count() == len(result.wrong[0].points)
    browsing.check(page)
    page.select_option("#sort", "by_error")
    largest = sorted(result.wrong, key=lambda row: -abs(row.error_percent.value) if row.error_percent else 0)
    assert names(page)[0] == largest[0].vehicle
    page.select_option("#list", "all")
    page.fill("#word", "truck 00042")
    assert names(page) == ["truck 00042"]
    browsing.check_width(page)
    browsing.check_quiet()


def test_filters_find_what_the_result_holds(browsing: Browsing, page_file: Path, result: FleetResult) -> None:
    page = opened(browsing, page_file, DESK)
    changed = sum(bool(row.changed) for row in result.rows)
    weak = sum(row.trust == "WEAK" for row in result.rows)
    for name, count in (
        ("changed", changed),
        ("open", len(result.not_judged)),
        ("lost", len(result.without_number)),
        ("new", len(result.new)),
    ):
        page.select_option("#list", name)
        assert page.inner_text("#count").startswith(f"{count} of {COUNT:,} ")
    page.select_option("#list", "all")
    page.select_option("#trust", "1")
    assert page.inner_text("#count").startswith(f"{weak} of ")
    page.fill("#word", "no such vehicle")
    assert page.inner_text("#count") == "No vehicle fits."


def test_a_touch_on_the_picture_opens_a_vehicle(browsing: Browsing, page_file: Path, result: FleetResult) -> None:
    """At its right end stands the vehicle that reads highest."""
    page = opened(browsing, page_file, DESK)
    box = page.locator("#all").bounding_box()
    page.mouse.click(box["x"] + box["width"] - 2, box["y"] + box["height"] / 2)
    highest = max(result.wrong, key=lambda row: row.error_percent.value if row.error_percent else 0.0)
    open_rows = page.locator("#touched .head[aria-expanded=true] b").all_inner_texts()
    assert len(open_rows) == 1
    found = next(row for row in result.wrong if row.vehicle == open_rows[0])
    assert found.error_percent is not None
    assert highest.error_percent is not None
    assert found.error_percent.value > highest.error_percent.value - 0.1


def test_a_fleet_that_could_not_be_judged_is_not_called_right() -> None:
    """'0 vehicles judged; none is wrong' was read as good news."""
    said = about(0, 0, 2, 1, "outside -1.0 to +1.0 %")
    assert "none is wrong" not in said
    assert said.startswith("No vehicle could be judged")
    assert said.endswith("2 could not be judged and 1 gave no number.")
    assert about(3, 0, 0, 0, "x") == "3 vehicles judged; none is wrong (x)."
