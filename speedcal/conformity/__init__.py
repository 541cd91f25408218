"""Tolerances, verdicts, before against after, road-test planning, pooling and history."""

from speedcal.conformity.planner import plan
from speedcal.conformity.pooling import pool
from speedcal.conformity.road_test import RoadTestPlan
from speedcal.conformity.rules import load_tolerance, tolerance_names
from speedcal.conformity.tolerance import Tolerance
from speedcal.conformity.trend import History, history
from speedcal.conformity.verdict import verify
from speedcal.conformity.verification import Verification

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
