"""What a report may cost, with the libraries it cannot do without as the yardstick, in processor time side by side."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from support.documents import ROOT

pytestmark = pytest.mark.benchmark  # a busy machine must not fail a change

LIBRARIES = ("-c", "import numpy, pandas, scipy.optimize, matplotlib.figure")
DRIVE = ("data_demo/before.gpx", "data_demo/before_notes.csv")


def spent(*arguments: str) -> float:
    """Return the processor time of a fresh Python. [s]."""
    before = os.times()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, check=True)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def ratio(*arguments: str) -> float:
    """Return the cost of a command over that of importing the libraries, each the least of three taken in turn."""
    pairs = [(spent("-m", "speedcal", *arguments), spent(*LIBRARIES)) for _ in range(3)]
    return min(ours for ours, _ in pairs) / min(theirs for _, theirs in pairs)


def test_a_report_costs_little_more_than_its_libraries(tmp_path: Path) -> None:
    """Two drives measured, a page, a print and a picture: at most two and a half times the bare import."""
    assert ratio("report", "data_demo/job.toml", "--out", str(tmp_path)) < 2.5


def test_a_calibration_costs_less_than_the_libraries_of_a_report() -> None:
    """It needs no pictures: at most four fifths of the import of everything."""
    assert ratio("calibrate", *DRIVE) < 0.8
