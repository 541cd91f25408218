"""From a recorded drive to the gear, setting or tire that puts a speedometer right, and the proof that it did.

The public names below are imported when they are first used, so that ``import speedcal`` costs nothing.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from speedcal.errors import SpeedcalError
    from speedcal.jobs import Job, JobResult, load_job
    from speedcal.logs import Readings, Track, read_readings, read_track
    from speedcal.measure import Calibration, calibrate
    from speedcal.vehicle import Corrections, Vehicle, correct
    from speedcal.verify import RoadTestPlan, Tolerance, Verification, load_tolerance, plan, verify

_HOME = {
    "SpeedcalError": "errors",
    **dict.fromkeys(("Job", "JobResult", "load_job"), "jobs"),
    **dict.fromkeys(("Readings", "Track", "read_readings", "read_track"), "logs"),
    **dict.fromkeys(("Calibration", "calibrate"), "measure"),
    **dict.fromkeys(("Corrections", "Vehicle", "correct"), "vehicle"),
    **dict.fromkeys(("RoadTestPlan", "Tolerance", "Verification", "load_tolerance", "plan", "verify"), "verify"),
}

__all__ = [
    "Calibration",
    "Corrections",
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
    "correct",
    "load_job",
    "load_tolerance",
    "plan",
    "read_readings",
    "read_track",
    "verify",
]


class _Package(ModuleType):
    """Keeps ``speedcal.verify`` the function: importing the room of the same name would bind the room over it."""

    def __setattr__(self, name: str, value: Any) -> None:
        super().__setattr__(name, value.verify if name == "verify" and isinstance(value, ModuleType) else value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'speedcal' has no attribute {name!r}")
    return getattr(importlib.import_module(f"speedcal.{_HOME[name]}"), name)
