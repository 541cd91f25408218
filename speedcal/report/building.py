"""The sentences and tables of a report, out of the pieces of a job."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from speedcal.conformity.shown_by_gps import as_gps, open_findings
from speedcal.interval import reached
from speedcal.report.allowed import Allowed
from speedcal.report.comparison import Curve, margin_beside
from speedcal.report.facts import ReportFacts
from speedcal.report.for_tech import (
    Cell,
    Units,
    check_rows,
    correction_notes,
    depth,
    drive_detail,
    explained,
    over_time,
)
from speedcal.report.model import ReportModel, SpeedRow, ToFit, Verdict
from speedcal.report.style import AFTER, BEFORE
from speedcal.text.pages import pictures
from speedcal.text.pages import report_for_customer as text
from speedcal.text.pages import report_for_tech as tech_text
from speedcal.text.pages import report_of_dial as dial_text
from speedcal.text.pages import report_of_parts as part_text
from speedcal.text.pages.told_speeds import table_speeds
from speedcal.text.results.corrections import advised_among
from speedcal.text.words import rules
from speedcal.text.words.names import one_line
from speedcal.text.words.numbers import other_unit
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import Verification
    from speedcal.vehicle import Choice, Corrections

_MARKS = {"pass": "✓", "fail": "✗", "not proven": "?"}
_MOST_CHOICES = 3
Advised = TypeVar("Advised", "Corrections | None", "Verification | None")
_MOST_ON_CARD = 9


def build_model(facts: ReportFacts) -> ReportModel:
    """Put the pieces of a job into sentences and tables.

    Raises
    ------
    ValueError
        There is no drive at all.
    """
    before, after = facts.before, facts.after
    expected = facts.expected if before is None and after is None else None
    if before is None and after is None and expected is None:
        raise ValueError("a report needs a drive before or after the work, or what the facts lead one to expect")
    change = text.change_words(facts.work)
    curves, allowed = _pictures(facts, change)
    units: Units = (facts.unit, other_unit(facts.unit)) if facts.both_units else (facts.unit,)
    details = tuple(
        drive_detail(
            d.name,
            replace(d.calibration, findings=open_findings(d.calibration, before)),
            facts.unit,
            has_date=d.has_date,
            date=d.date,
            noted=d.noted,
        )
        for d in facts.drives
    )
    pooled = {"before": facts.before, "after": facts.after}
    verification, corrections = facts.verification, facts.corrections
    done = text.done(facts.work, facts.vehicle, facts.unit)
    latest = after or (None if done else before)
    if expected:
        warnings = tuple(reason.text for reason in expected.trust.reasons)
    else:
        is_passed = verification is not None and verification.verdict == "pass"
        warnings = (*text.warnings(before, after, is_passed=is_passed), *_asked(before, after))
    return ReportModel(
        title=text.TITLE_EXPECTED if expected else text.TITLE_BOTH if len(curves) == 2 else text.TITLE_ONE,
        shop=one_line(facts.shop),
        number=one_line(facts.number),
        customer=one_line(facts.customer),
        vehicle=one_line(facts.vehicle.label if facts.vehicle else ""),
        note=one_line(facts.note),
        driven=tuple((detail.name, detail.when) for detail in details),
        units=units,
        warnings=warnings,
        next_steps=text.next_steps(
            _unwarned(corrections, before) if after is None else None, _unwarned(verification, after)
        ),
        sentences=tuple(
            dial_text.expected_sentence(expected, facts.unit, spoken_in=spoken)
            if expected
            else dial_text.customer_sentence(before, after, facts.unit, change=change if done else "", spoken_in=spoken)
            for spoken in units
        ),
        cause=text.cause(corrections if after is None else None),
        verdict=_verdict(verification, units) if verification else None,
        rows=_speed_rows(facts, units),
        done=done,
        left=dial_text.left_over(after, facts.unit) if after else (),
        low=dial_text.reads_low(latest, facts.unit, is_tested=after is not None) if latest else (),
        to_fit=_to_fit(corrections, warnings) if corrections and after is None else None,
        odometer=() if expected else _odometer(facts),
        missing=(text.DRIVE_IT,) if expected else text.missing(before, after, facts.tolerance, stays=_stays(facts)),
        curves=curves,
        allowed=allowed,
        picture_text=_picture_text(curves, allowed, facts.unit),
        details=details,
        depth=depth(corrections, units, warnings) if corrections else None,
        explained=explained(facts.explanations) if facts.explanations else None,
        over_time=tuple(over_time(name, history, pooled[name]) for name, history in facts.histories),
        files=tuple((one_line(name), digest) for name, digest in facts.files),
        version=facts.version,
        card=_card(facts),
    )


def _asked(before: Calibration | None, after: Calibration | None) -> tuple[str, ...]:
    """Return the question that a log like GPS asks: who reads only a verdict would not learn what was judged."""
    last, earlier = (before, None) if after is None else (after, before)
    return () if last is None else tuple(one_line(found.text) for found in as_gps(last, earlier))


def _stays(facts: ReportFacts) -> bool:
    """Tell whether nothing was done and the advice is to leave it so."""
    advice = facts.corrections.advice if facts.corrections and not facts.work else ()
    return bool(advice) and advice[0].action == "keep_as_is"


def _unwarned(found: Advised, drive: Calibration | None) -> Advised:
    """Return what was found with its advice, without the reasons that the warning of a drive tells already."""
    if found is None or drive is None:
        return found
    told = set(drive.trust.codes)
    advice = [replace(e, because=tuple(why for why in e.because if why.code not in told)) for e in found.advice]
    return replace(found, advice=tuple(advice))


def _odometer(facts: ReportFacts) -> tuple[str, ...]:
    """Return what was truly driven since the work, where the job tells, and what the odometer counts."""
    from speedcal.conformity.distance import distance_since

    driven = distance_since(facts.work, facts.after)
    counts = dial_text.odometer_sentences(facts.before, facts.after, facts.unit)
    return counts if driven is None else (str(driven), *counts)


def _card(facts: ReportFacts) -> tuple[tuple[float, float], ...]:
    """Return the rows of the correction card, where the advice asks for one."""
    asked = facts.verification or facts.corrections
    latest = facts.after or facts.before
    advice = getattr(asked, "advice", ())
    if latest is None or not any(entry.action == "use_correction_card" for entry in advice):
        return ()
    factor = SPEED_UNIT_MPS[facts.unit]
    low, high = (v / factor for v in latest.dial.driven_mps)
    step = next((s for s in (5, 10, 20) if (high - low) / s < _MOST_ON_CARD), 40)
    true = [float(v) for v in range(step * math.ceil(low / step), math.floor(high) + 1, step)]
    return tuple((v, float(latest.dial.indicated(v * factor)) / factor) for v in true)


def _pictures(facts: ReportFacts, change: str) -> tuple[tuple[Curve, ...], Allowed | None]:
    drives = (
        (facts.before, "before", BEFORE),
        (facts.after, f"after {change}", AFTER),
        (facts.expected, text.BY_FACTS, BEFORE),
    )
    known = [(c, label, look) for c, label, look in drives if c is not None]
    curves = tuple(Curve.of(c.dial, c.readings, facts.unit, label=label, drawn_as=look) for c, label, look in known)
    if facts.tolerance is None:
        return curves, None
    low = min(c.dial.driven_mps[0] for c, _, _ in known)
    high = max(c.dial.driven_mps[1] for c, _, _ in known)
    factor = SPEED_UNIT_MPS[facts.unit]
    margin = factor * margin_beside(low / factor, high / factor)
    rule = facts.tolerance.in_unit(facts.unit)
    return curves, Allowed.of(rule, facts.unit, range_mps=(max(low - margin, 0.0), high + margin))


def _picture_text(curves: tuple[Curve, ...], allowed: Allowed | None, unit: DisplayUnit) -> str:
    ends = [(c.label, (c.speed[0], c.speed[-1]), (c.error[0], c.error[-1])) for c in curves]
    return pictures.comparison_text(ends, unit, allowed.label if allowed else "")


def _verdict(verification: Verification, units: Units) -> Verdict:
    rule = verification.tolerance
    named, source = text.rule_lines(rule)
    unlike = [change for change in verification.changes if not change.agrees]
    return Verdict(
        word=verification.verdict.upper(),
        mark=_MARKS[verification.verdict],
        sentence=text.verdict_sentence(verification),
        rule=named,
        source=source,
        decision_rule=rules.decision_rule(rule),
        checks=check_rows(verification, units),
        driven_range=tech_text.driven_range(verification),
        changes=tuple(line for change in verification.changes for line in tech_text.change_lines(change)),
        otherwise=tuple(line for change in unlike for line in tech_text.change_lines(change, only_fitting=True)),
        findings=tuple(one_line(finding.text) for finding in verification.findings),
    )


def _speed_rows(facts: ReportFacts, units: Units) -> tuple[SpeedRow, ...]:
    factor = SPEED_UNIT_MPS[facts.unit]
    first = facts.before or facts.expected
    driven = [c.dial.driven_mps for c in (first, facts.after) if c is not None]
    rows = []
    for speed in table_speeds([c for c in (first, facts.after) if c is not None], facts.unit, facts.tolerance):
        outside = not all(reached(ends, speed * factor) for ends in driven)
        in_units = [speed * factor / SPEED_UNIT_MPS[unit] for unit in units]
        true = tuple(
            f"{v:{'.1f' if i else 'g'}} {unit}" for i, (v, unit) in enumerate(zip(in_units, units, strict=True))
        )
        before, after = (_shown(c, in_units, units) for c in (first, facts.after))
        rows.append(SpeedRow(true, before, after, outside))
    return tuple(rows)


def _shown(calibration: Calibration | None, speeds: list[float], units: Units) -> Cell | None:
    if calibration is None:
        return None
    return tuple(
        f"{dial_text.shown_range(calibration, speed, unit, decimals=1)} {unit}"
        for speed, unit in zip(speeds, units, strict=True)
    )


def _to_fit(corrections: Corrections, warnings: Sequence[str]) -> ToFit:
    """Return what is advised, then the best of each other kind; all of them are among the tech's tables."""
    kinds = (
        corrections.settings,
        corrections.pulse_scaler,
        corrections.driven_gear,
        corrections.drive_gear,
        corrections.pairs,
        corrections.ratio_box,
    )
    best = sorted((choices[0] for choices in kinds if choices), key=lambda choice: choice.worst_error_percent)
    advised = next(filter(None, (advised_among(corrections, choices) for choices in kinds)), None)
    if best and advised != best[0]:  # by the rule and the work it is another, and none is called the best beside it
        best = [replace(choice, probability_best=None) for choice in best if not advised or choice.kind != advised.kind]
        best = [replace(advised, probability_best=None), *best] if advised else best
    rows = [_choice_row(choice) for choice in best[:_MOST_CHOICES]]
    if advised:
        name, worst, remarks = rows[0]
        rows[0] = (name, worst, ", ".join(filter(None, (text.ADVISED, remarks))))
    heading = text.HEADINGS["fit" if advised or not rows else "instead"]
    return ToFit(heading, text.to_fit(corrections), tuple(rows), correction_notes(corrections, warnings))


def _choice_row(choice: Choice) -> tuple[str, str, str]:
    return str(choice), part_text.choice_sizes(choice)[0], part_text.choice_remarks(choice)
