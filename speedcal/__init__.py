"""From a recorded drive to the gear, setting or tire that puts a speedometer right, and the proof that it did.

The public names below are imported when they are first used, so that ``import speedcal`` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from speedcal import text as _text
from speedcal.wording import use_words

if TYPE_CHECKING:
    from speedcal.calibration import Calibration, calibrate, calibrate_checks
    from speedcal.conformity import RoadTestPlan, Tolerance, Verification, load_tolerance, plan, verify
    from speedcal.errors import SpeedcalError
    from speedcal.fleet.fleet import fleet
    from speedcal.fleet.result import FleetResult
    from speedcal.jobs import Job, JobResult, load_job
    from speedcal.logs import Checks, Readings, Track, read_checks, read_film, read_readings, read_track
    from speedcal.vehicle import Corrections, Vehicle, correct

_HOME = {
    "SpeedcalError": "errors",
    **dict.fromkeys(("FleetResult", "fleet"), "fleet"),
    **dict.fromkeys(("Job", "JobResult", "load_job"), "jobs"),
    **dict.fromkeys(("Checks", "Readings", "Track", "read_checks", "read_film", "read_readings", "read_track"), "logs"),
    **dict.fromkeys(("Calibration", "calibrate", "calibrate_checks"), "calibration"),
    **dict.fromkeys(("Corrections", "Vehicle", "correct"), "vehicle"),
    **dict.fromkeys(("RoadTestPlan", "Tolerance", "Verification", "load_tolerance", "plan", "verify"), "conformity"),
}

__all__ = [
    "Calibration",
    "Checks",
    "Corrections",
    "FleetResult",
    "Job",
    "JobResult",
    "Readings",
    "RoadTestPlan",
    "SpeedcalError",
    "Tolerance",
    "Track",
    "Vehicle",
    "Verification",
    "calibrate",
    "calibrate_checks",
    "correct",
    "fleet",
    "load_job",
    "load_tolerance",
    "plan",
    "read_checks",
    "read_film",
    "read_readings",
    "read_track",
    "verify",
]

use_words(_text.WORDS)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'speedcal' has no attribute {name!r}")
    return getattr(importlib.import_module(f"speedcal.{_HOME[name]}"), name)
