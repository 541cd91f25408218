"""Tolerances, verdicts, before against after, road-test planning, pooling and history."""

from speedcal.verify.months import History, history
from speedcal.verify.planner import plan
from speedcal.verify.pooling import pool
from speedcal.verify.roadtest import RoadTestPlan
from speedcal.verify.rules import load_tolerance, tolerance_names
from speedcal.verify.tolerance import Tolerance
from speedcal.verify.verdict import verify
from speedcal.verify.verification import Verification

__all__ = [
    "History",
    "RoadTestPlan",
    "Tolerance",
    "Verification",
    "history",
    "load_tolerance",
    "plan",
    "pool",
    "tolerance_names",
    "verify",
]
