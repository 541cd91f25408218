"""What holds for all tests: which are left out, which are quick."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from _pytest.pathlib import import_path
from hypothesis import HealthCheck, settings
from support.calibrated_once import calibrated_once

settings.register_profile("speedcal", deadline=None, max_examples=50, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("speedcal")  # no test fails because the machine is busy

# As many processes of the tests as cores: a second thread of linear algebra in each is in the way of the others.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Hundreds of processes of the command are started: compiled once, not by each of them.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

QUICK = (
    "calibration/test_dial.py",
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
LONGEST_FIRST = (
    "web/test_browser.py",
    "docs/test_notebooks.py",
    "web/test_film_browser.py",
    "report/test_report_html.py",
    "jobs/test_job_run.py",
    "web/test_analyses.py",
    "web/test_runner.py",
    "web/test_faults.py",
    "calibration/test_hostile_drives.py",
    "calibration/test_regression_truth.py",
    "logs/test_hostile_files.py",
    "report/test_report_pdf.py",
    "logs/test_film.py",
    "web/test_film.py",
    "calibration/test_alignment.py",
    "vehicle/test_correct.py",
    "packaging/test_distribution.py",
    "docs/test_guide_examples.py",
)
"""Files that take longest, each on one core: started first, so that no core waits for one of them at the end."""
_TESTS = Path(__file__).parent
gc.set_threshold(50_000, 20, 20)  # collecting makes a million small things, none of them waste


@pytest.fixture(autouse=True, scope="session")
def _calibrated_once() -> Iterator[None]:
    """Let jobs of the same drive share its calibration."""
    with calibrated_once():
        yield


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave files unread that have no quick test, which takes as long as the quick tests do."""
    if config.getoption("-m") != "quick" or not collection_path.match("test_*.py"):
        return None
    return True if collection_path.relative_to(_TESTS).as_posix() not in QUICK else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Let each process read the files of all tests from another one on, so that each is compiled by one of them.

    Compiling tests and the libraries they use takes twice as long as all else of collecting them.
    """
    config = session.config
    told = getattr(config, "workerinput", {"workerid": "gw0", "workercount": 1})
    if config.args_source is not pytest.Config.ArgsSource.TESTPATHS or told["workerid"] == "gw0":
        return
    files = sorted(_TESTS.rglob("test_*.py"))
    for path in files[len(files) * int(told["workerid"].removeprefix("gw")) // told["workercount"] :]:
        try:
            import_path(path, mode="importlib", root=config.rootpath, consider_namespace_packages=False)
        except (Exception, pytest.skip.Exception):  # collecting reads it again, and tells what is wrong
            for name in [name for name, module in sys.modules.items() if getattr(module, "__file__", "") == str(path)]:
                del sys.modules[name]


def pytest_collection_finish() -> None:
    """Look through no longer what stays to the end, thousands of tests and all libraries, whenever memory is tidied."""
    gc.freeze()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is quick; start what is long; leave long statistical runs out unless a marker asks for them."""
    names = {item: item.path.relative_to(_TESTS).as_posix() for item in items}
    for item, name in names.items():
        if name in QUICK:
            item.add_marker(pytest.mark.quick)
    order = {name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: order.get(names[item], len(order)))
    if config.getoption("-m"):
        return
    long = [item for item in items if item.get_closest_marker("benchmark")]
    if long:
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
