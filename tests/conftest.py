"""What holds for all tests: which are left out, which are quick."""

from __future__ import annotations

from pathlib import Path

import pytest

QUICK = (
    "calibration/test_dial.py",
    "calibration/test_fit_checks.py",
    "calibration/test_geodesy.py",
    "calibration/test_published_regression.py",
    "conformity/test_tolerance_rules.py",
    "docs/test_guide.py",
    "jobs/test_job_file.py",
    "logs/test_notes.py",
    "logs/test_nmea.py",
    "logs/test_stamps.py",
    "logs/test_table_readings.py",
    "packaging/test_house.py",
    "packaging/test_words.py",
    "report/test_road_test_sheet.py",
    "simulate/test_written_drives.py",
    "vehicle/test_axle.py",
    "vehicle/test_tires.py",
    "web/test_fields.py",
    "web/test_originals.py",
    "web/test_typed.py",
)
"""Files of every room that together take a minute on two cores: ``pytest -m quick -n 2``."""
_TESTS = Path(__file__).parent


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is quick; leave long statistical runs out unless a marker expression asks for them."""
    for item in items:
        if item.path.relative_to(_TESTS).as_posix() in QUICK:
            item.add_marker(pytest.mark.quick)
    if config.getoption("-m"):
        return
    long = [item for item in items if item.get_closest_marker("benchmark")]
    if long:
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
