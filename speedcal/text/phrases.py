"""What ``str()`` of a result shows: one short text a type."""

from __future__ import annotations

import importlib

from speedcal.errors import Problem, SpeedcalError
from speedcal.finding import Trust

_MOST_LISTED = 20
_WRITTEN_IN: dict[str, str] = {
    "Advice": "results.advice",
    "Calibration": "results.calibration_summary",
    "DrivenDistance": "results.distance",
    "FleetResult": "results.fleet",
    "History": "results.history",
    "Inspection": "results.inspection",
    "Readings": "results.inspection",
    "RoadTestPlan": "results.road_test",
    "Tolerance": "words.rules",
    "Track": "results.inspection",
    "Verification": "results.verdict",
    **dict.fromkeys(
        ("Vehicle", "Work", "RolledTire", "Determination", "EffectiveTire", "AxleEstimate"), "results.vehicle_summary"
    ),
    **dict.fromkeys(("Choice", "Corrections", "Forecast"), "results.corrections"),
    **dict.fromkeys(("Diagnosis", "Explanations"), "results.explanations"),
}
"""Type of a result to the module of this room whose function ``summary`` writes it."""


def summary(result: object) -> str:
    """Return the few lines of a result.

    Raises
    ------
    TypeError
        Nothing is said about this type.
    """
    if isinstance(result, SpeedcalError):
        return _refusal(result)
    if isinstance(result, Trust):
        return f"{result.word} ({result.reasons[0].text.rstrip('.')})" if result.reasons else result.word
    if type(result).__name__ not in _WRITTEN_IN:
        raise TypeError(f"no words for {type(result).__name__}")
    return str(importlib.import_module(f"speedcal.text.{_WRITTEN_IN[type(result).__name__]}").summary(result))


def _refusal(error: SpeedcalError) -> str:
    where = error.source if error.line is None else f"{error.source}:{error.line}"
    begin, remedy = f"{where}: " if where else "", _stopped(error.remedy)
    if not error.problems:
        return f"{begin}{_stopped(error.problem)} {remedy}".rstrip()
    listed = error.problems[:_MOST_LISTED]
    last = {problem.remedy: i for i, problem in enumerate(listed)}  # what mends several is said once
    rows = [_row(problem, told=last[problem.remedy] == i) for i, problem in enumerate(listed)]
    if len(error.problems) > _MOST_LISTED:
        rows.append(f"  and {len(error.problems) - _MOST_LISTED} more")
    return "\n".join([f"{begin}{error.problem}:", *rows, *[remedy] * bool(remedy)])


def _row(problem: Problem, *, told: bool) -> str:
    line = f"line {problem.line}: " if problem.line is not None else ""
    return f"  {line}{_stopped(problem.text)} {_stopped(problem.remedy) if told else ''}".rstrip()


def _stopped(text: str) -> str:
    return text if text.endswith("?") or not text else f"{text}."
