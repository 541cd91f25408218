"""The report as words and tables, before anybody lays it out: one model feeds the page, the print and the tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from speedcal.report import words
from speedcal.report.allowed import Allowed
from speedcal.report.cells import Cell
from speedcal.report.comparison import Curve
from speedcal.report.depth import Depth, Explained, OverTime, depth_of, explained, over_time
from speedcal.report.detail import DriveDetail, drive_detail
from speedcal.report.facts import ReportFacts
from speedcal.report.judgement import Judgement, judgement
from speedcal.report.style import AFTER, BEFORE
from speedcal.report.words import one_line
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Choice, Corrections

MOST_CHOICES = 4


@dataclass(frozen=True)
class SpeedRow:
    """What the dial shows at one true speed; a cell is None where there is no such drive."""

    true: Cell
    before: Cell | None
    after: Cell | None
    outside: bool
    """True when a drive did not reach this speed, so that the figure is carried on along the line."""


@dataclass(frozen=True)
class ChoiceRow:
    """One thing that can be fitted or set."""

    name: str
    worst: str
    odometer: str
    remarks: str


@dataclass(frozen=True)
class ToFit:
    """What the drive before the work asks for."""

    sentence: str
    judged_at: str
    rows: tuple[ChoiceRow, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class ReportModel:
    """Everything a report says, in the order it is read."""

    shop: str
    number: str
    customer: str
    vehicle: str
    note: str
    driven: tuple[str, ...]
    unit: DisplayUnit
    sentence: str
    sentence_other: str
    warnings: tuple[str, ...]
    """How far the figures may not be trusted; read before them."""
    judgement: Judgement | None
    rows: tuple[SpeedRow, ...]
    done: tuple[str, ...]
    left: tuple[str, ...]
    to_fit: ToFit | None
    odometer: tuple[str, ...]
    missing: tuple[str, ...]
    """Parts that the job does not carry, each with what would bring them."""
    curves: tuple[Curve, ...]
    allowed: Allowed | None
    picture_text: str
    """What the comparison picture shows, for those who do not see it."""
    details: tuple[DriveDetail, ...]
    depth: Depth | None
    explained: Explained | None
    over_time: tuple[OverTime, ...]
    files: tuple[tuple[str, str], ...]
    version: str

    @property
    def other_unit(self) -> DisplayUnit:
        """The unit that figures are given in besides."""
        return words.other_unit(self.unit)

    @property
    def has_before(self) -> bool:
        """Whether a drive before the work is in it."""
        return bool(self.rows and self.rows[0].before)

    @property
    def has_after(self) -> bool:
        """Whether a drive after the work is in it."""
        return bool(self.rows and self.rows[0].after)

    @property
    def title(self) -> str:
        """Heading of the report."""
        return "Speedometer before and after" if len(self.curves) == 2 else "How the speedometer reads"


def build_model(facts: ReportFacts) -> ReportModel:
    """Put the pieces of a job into words and tables.

    Raises
    ------
    ValueError
        There is no drive at all.
    """
    if facts.before is None and facts.after is None:
        raise ValueError("a report needs a drive before or after the work")
    change = words.change_words(facts.work)
    curves, allowed = _pictures(facts, change)
    other = words.other_unit(facts.unit)
    details = tuple(drive_detail(drive, facts.unit) for drive in facts.drives)

    def sentence(spoken_in: DisplayUnit) -> str:
        return words.customer_sentence(facts.before, facts.after, facts.unit, change=change, spoken_in=spoken_in)

    return ReportModel(
        shop=one_line(facts.shop),
        number=one_line(facts.number),
        customer=one_line(facts.customer),
        vehicle=one_line(facts.vehicle.label if facts.vehicle else ""),
        note=one_line(facts.note),
        driven=tuple(f"{detail.name}: {detail.when}" for detail in details),
        unit=facts.unit,
        sentence=sentence(facts.unit),
        sentence_other=sentence(other),
        warnings=_warnings(facts),
        judgement=judgement(facts.verification) if facts.verification else None,
        rows=_speed_rows(facts),
        done=_done(facts),
        left=words.left_over(facts.after, facts.unit) if facts.after else (),
        to_fit=_to_fit(facts.corrections) if facts.corrections and facts.after is None else None,
        odometer=words.odometer_sentences(facts.before, facts.after, facts.unit),
        missing=_missing(facts),
        curves=curves,
        allowed=allowed,
        picture_text=_picture_text(facts, curves, allowed),
        details=details,
        depth=depth_of(facts.corrections) if facts.corrections else None,
        explained=explained(facts.explanations) if facts.explanations else None,
        over_time=over_time(facts),
        files=tuple((one_line(name), digest) for name, digest in facts.files),
        version=facts.version,
    )


def _pictures(facts: ReportFacts, change: str) -> tuple[tuple[Curve, ...], Allowed | None]:
    drives = ((facts.before, "before", BEFORE), (facts.after, f"after {change}", AFTER))
    known = [(c, label, look) for c, label, look in drives if c is not None]
    curves = tuple(Curve.of(c, facts.unit, label=label, drawn_as=look) for c, label, look in known)
    if facts.tolerance is None:
        return curves, None
    low = min(c.speed_range_mps[0] for c, _, _ in known)
    high = max(c.speed_range_mps[1] for c, _, _ in known)
    margin = 0.06 * (high - low)
    rule = facts.tolerance.in_unit(facts.unit)
    return curves, Allowed.of(rule, facts.unit, range_mps=(max(low - margin, 0.0), high + margin))


def _warnings(facts: ReportFacts) -> tuple[str, ...]:
    drives = (("before", facts.before), ("after", facts.after))
    return tuple(f"Drive {name}: {c.trust}" for name, c in drives if c is not None and c.trust.word != "TRUSTED")


def _speed_rows(facts: ReportFacts) -> tuple[SpeedRow, ...]:
    factor = SPEED_UNIT_MPS[facts.unit]
    known = [c for c in (facts.before, facts.after) if c is not None]
    rows = []
    for speed in words.TABLE_SPEEDS[facts.unit]:
        slack = 1.02
        outside = any(not c.speed_range_mps[0] / slack <= speed * factor <= c.speed_range_mps[1] * slack for c in known)
        before, after = (_shown_cell(c, speed, facts.unit) for c in (facts.before, facts.after))
        rows.append(SpeedRow(_speed_cell(speed, facts.unit), before, after, outside))
    return tuple(rows)


def _speed_cell(speed: float, unit: DisplayUnit) -> Cell:
    other = words.other_unit(unit)
    return Cell(f"{speed:g}", f"{speed * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other]:.1f}")


def _shown_cell(calibration: Calibration | None, speed: float, unit: DisplayUnit) -> Cell | None:
    if calibration is None:
        return None
    other = words.other_unit(unit)
    elsewhere = speed * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other]
    here = words.shown_range(calibration, speed, unit, decimals=1)
    there = words.shown_range(calibration, elsewhere, other, decimals=1)
    return Cell(here, there)


def _done(facts: ReportFacts) -> tuple[str, ...]:
    if facts.work is None:
        return ()
    text = str(facts.work)
    lines = [] if text == "nothing changed" and facts.work.note else [text[0].upper() + text[1:] + _was(facts)]
    return (*lines, *([one_line(facts.work.note)] if facts.work.note else []))


def _was(facts: ReportFacts) -> str:
    """Say what was fitted before, for what was changed."""
    if facts.vehicle is None or facts.work is None:
        return ""
    parts = [
        f"{name.replace('_', ' ')} {getattr(facts.vehicle, name)}"
        for name in ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "axle")
        if getattr(facts.work, name) is not None and getattr(facts.vehicle, name) is not None
    ]
    return f" (before: {', '.join(parts)})" if parts else ""


def _to_fit(corrections: Corrections) -> ToFit:
    best = corrections.best
    sentence = (
        f"{best.name[0].upper()}{best.name[1:]}: worst error left {best.worst_error_percent:.1f} %."
        if best
        else "The job names nothing that could be changed. Add the gears, scaler or setting that is fitted."
    )
    lists = (corrections.driven_gear, corrections.drive_gear, corrections.pairs, corrections.ratio_box)
    rows = [
        _choice_row(c)
        for choices in (*lists, corrections.pulse_scaler, corrections.settings)
        for c in choices[:MOST_CHOICES]
    ]
    notes = tuple(f"{text} ({source})" for text, source in corrections.notes)
    judged_at = f"a true {', '.join(f'{speed:g}' for speed in corrections.speeds)} {corrections.unit}"
    return ToFit(sentence, judged_at, tuple(rows), notes + tuple(f.text for f in corrections.findings))


def _choice_row(choice: Choice) -> ChoiceRow:
    chance = choice.probability_best or 0.0
    remarks = [f"best with {100 * chance:.0f} % probability"] if chance > 0.005 else []
    remarks += [choice.low_text] if choice.low_text else []
    remarks += ["not in the gear family"] if choice.available is False else []
    remarks += [f"housing: range {choice.orientation} faces down"] if choice.orientation else []
    remarks += ["fitted now"] if choice.is_fitted else []
    low, high = choice.odometer_percent.low, choice.odometer_percent.high
    odometer = f"{words.signed(low)} to {words.signed(high)} %"
    return ChoiceRow(choice.name, f"{choice.worst_error_percent:.1f} %", odometer, ", ".join(remarks))


def _missing(facts: ReportFacts) -> tuple[str, ...]:
    out = []
    if facts.before is None:
        out.append("There is no drive before the work, so nothing is said about what changed.")
    if facts.after is None:
        out.append("There is no drive after the work yet; drive it and run the job again for the comparison.")
    elif facts.tolerance is None:
        out.append("The job names no tolerance, so there is no verdict. Add a [tolerance] table to get one.")
    return tuple(out)


def _picture_text(facts: ReportFacts, curves: tuple[Curve, ...], allowed: Allowed | None) -> str:
    parts = []
    for curve in curves:
        first, last = curve.error[0], curve.error[-1]
        parts.append(
            f"{curve.label}: error {words.signed(first)} {facts.unit} at {curve.speed[0]:.0f} and "
            f"{words.signed(last)} at {curve.speed[-1]:.0f} {facts.unit}"
        )
    tail = f". The shaded area is what is {allowed.label.replace(':', ' by')}" if allowed else ""
    return f"Error of the dial against true speed. {'; '.join(parts)}{tail}."
