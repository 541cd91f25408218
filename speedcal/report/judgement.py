"""The verdict in words: what was judged, by which rule, how sure, and what would settle what is open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.report.cells import Cell
from speedcal.report.words import one_line, other_unit, signed
from speedcal.text import rules
from speedcal.text.verdict import cause_words, planned_words
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.conformity import Verification
    from speedcal.conformity.change import ChangeCheck
    from speedcal.conformity.verification import Check

MARKS = {"pass": "✓", "fail": "✗", "not proven": "?"}


@dataclass(frozen=True)
class CheckRow:
    """The rule at one speed."""

    at: Cell
    shown: Cell
    permitted: Cell
    probability: str
    word: str


@dataclass(frozen=True)
class Judgement:
    """A verdict, ready to be laid out."""

    word: str
    """``PASS``, ``FAIL`` or ``NOT PROVEN``."""
    mark: str
    """A sign that says the same without colour."""
    sentence: str
    rule: str
    limits: str
    source: str
    decision_rule: str
    checks: tuple[CheckRow, ...]
    driven_range: str
    changes: tuple[str, ...]
    """Predicted against measured change, with likely causes where they differ."""
    changes_in_short: tuple[str, ...]
    """The same with only the causes whose size fits, for the printed page."""
    findings: tuple[str, ...]


def judgement(verification: Verification) -> Judgement:
    """Put a verdict into words."""
    rule, unit = verification.tolerance, verification.unit
    driven = ""
    if verification.driven_range:
        span = verification.driven_range
        other = other_unit(unit)
        low, high = (v / SPEED_UNIT_MPS[unit] for v in (span.low_mps, span.high_mps))
        there = [f"{v / SPEED_UNIT_MPS[other]:.0f}" for v in (span.low_mps, span.high_mps)]
        driven = (
            f"Everywhere between {low:.0f} and {high:.0f} {unit} ({' to '.join(there)} {other}): {span.verdict}, "
            f"probability of conformance {percent(span.probability)}."
        )
    status = rules.status_words(rule.status)
    return Judgement(
        word=verification.verdict.upper(),
        mark=MARKS[verification.verdict],
        sentence=_sentence(verification),
        rule=one_line(rules.title(rule.about)),
        limits=rules.limits(rule),
        source=f"{one_line(rule.source)} ({status})" if rule.source else status,
        decision_rule=rules.decision_rule(rule),
        checks=tuple(_row(check, verification) for check in verification.checks),
        driven_range=driven,
        changes=tuple(line for change in verification.changes for line in _change_lines(change)),
        changes_in_short=tuple(
            line for change in verification.changes for line in _change_lines(change, only_fitting=True)
        ),
        findings=tuple(one_line(finding.text) for finding in verification.findings),
    )


def percent(probability: float) -> str:
    """Write a probability, never as a certainty it is not."""
    if probability > 0.9995:
        return "over 99.9 %"
    if probability < 0.0005:
        return "under 0.1 %"
    return f"{100 * probability:.1f} %"


def _sentence(verification: Verification) -> str:
    sure = f"probability of conformance {percent(verification.probability)}"
    if verification.verdict == "pass":
        return f"The speedometer complies with the rule ({sure})."
    if verification.verdict == "fail":
        return f"The speedometer does not comply with the rule ({sure})."
    needed, speeds = verification.readings_needed, verification.readings_speeds_mps
    if not needed or not speeds:
        return f"This drive cannot settle it, and more readings alone would not ({sure})."
    factor = SPEED_UNIT_MPS[verification.unit]
    where = f"near {' and '.join(f'{speed / factor:.0f}' for speed in speeds)} {verification.unit}"
    if any(check.outside and abs(check.true - speeds[0]) < 1e-6 for check in verification.checks):
        where += ", beyond the speeds driven and only where that is legal,"
    return f"About {needed} more readings {where} would settle it ({sure})."


def _row(check: Check, verification: Verification) -> CheckRow:
    unit: DisplayUnit = verification.unit
    word = f"{check.verdict}, outside the speeds driven" if check.outside else check.verdict
    if np.isnan(check.speed_mps):
        shown = f"{100 * check.indicated:.2f}"
        permitted = _band(100 * check.low, 100 * check.high)
        at = Cell("distance of 100", "true miles or km")
        return CheckRow(at, Cell(shown, ""), Cell(permitted, ""), percent(check.probability), word)
    here, there = (_in_unit(check, verification, spoken) for spoken in (unit, other_unit(unit)))
    at, reading, permitted_cell = (Cell(*pair) for pair in zip(here, there, strict=True))
    return CheckRow(at, reading, permitted_cell, percent(check.probability), word)


def _in_unit(check: Check, verification: Verification, unit: DisplayUnit) -> tuple[str, str, str]:
    """Return where the rule is judged, what the dial does there, and what is permitted, in one unit."""
    factor = SPEED_UNIT_MPS[unit]
    speed, band = f"{check.speed_mps / factor:.4g} {unit}", f"{_band(check.low / factor, check.high / factor)} {unit}"
    if verification.tolerance.given == "true":
        return f"true {speed}", f"{check.indicated / factor:.1f} {unit}", band
    return f"shown {speed}", f"true {check.true / factor:.1f} {unit}", band


def _band(low: float, high: float) -> str:
    if np.isinf(low):
        return f"at most {high:.1f}"
    return f"at least {low:.1f}" if np.isinf(high) else f"{low:.1f} to {high:.1f}"


def _change_lines(change: ChangeCheck, *, only_fitting: bool = False) -> list[str]:
    low, high = (100 * (x - 1) for x in (change.measured_change.low, change.measured_change.high))
    word = "agree" if change.agrees else "DO NOT AGREE"
    name = "Reading" if change.quantity == "speed" else "Odometer"
    lines = [
        f"{name}: planned change {planned_words(change.planned).replace('-', '−')}, measured {signed(low)} to "
        f"{signed(high)} %. They {word}."
    ]
    return lines + [
        f"Possible cause: {cause_words(cause)}" for cause in change.causes if cause.fits or not only_fitting
    ]
