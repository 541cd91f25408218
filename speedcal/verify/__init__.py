"""Tolerances, verdicts, before against after, road-test planning, pooling and history."""

from speedcal.verify.rules import load_tolerance, tolerance_names
from speedcal.verify.tolerance import Tolerance
from speedcal.verify.verdict import verify
from speedcal.verify.verification import Verification

__all__ = ["Tolerance", "Verification", "load_tolerance", "tolerance_names", "verify"]
