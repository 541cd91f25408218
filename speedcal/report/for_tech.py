"""The tech's part of a report as tables: verdict in detail, corrections, explanations, drives over time, each drive."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.measured import WRONG
from speedcal.finding import codes_of
from speedcal.text.messages import label
from speedcal.text.pages import pictures
from speedcal.text.pages import report_for_tech as text
from speedcal.text.pages import report_of_parts as part_text
from speedcal.text.results.corrections import unsaid
from speedcal.text.results.vehicle_summary import link_text
from speedcal.text.words.names import one_line
from speedcal.text.words.numbers import counted, signed
from speedcal.text.words.parts import part_name
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History, Verification
    from speedcal.text.pages.report_for_tech import Rows
    from speedcal.vehicle import Choice, Corrections
    from speedcal.vehicle.diagnosed.explanations import Explanations

Cell = tuple[str, ...]
"""A figure in the unit of the report, and in the other one where both were asked for."""
Units = tuple[DisplayUnit, ...]

_MOST_READINGS = 250
"""More readings than this are not listed one by one; the table beside the report holds them all."""
_MOST_SPEEDS = 4
"""More speeds than this are thinned in the tables of choices; the numbers for programs hold them all."""
_MOST_CHOICES = 5
_MOST_LEFT_OUT = 4
"""More readings left out than this are counted by reason on the printed page."""


@dataclass(frozen=True)
class DriveDetail:
    """A drive as the tech wants to see it."""

    name: str
    calibration: Calibration
    when: str
    counts: str
    figures: Rows
    readings: tuple[tuple[str, ...], ...]
    """Line, time, shown, true, distance from the curve, and ``used`` or why not; empty when they are too many."""
    left_out: tuple[tuple[str, ...], ...]
    """The same of those that were not used."""
    reasons: tuple[tuple[str, int], ...]
    """Why readings were not used and how many, the most frequent first."""
    budget: tuple[tuple[str, str, str, str], ...]
    budget_title: str
    findings: tuple[str, ...]
    picture_text: str

    @property
    def has_all_left_out(self) -> bool:
        """Whether ``left_out`` holds every reading that was not used."""
        return sum(count for _, count in self.reasons) == len(self.left_out)

    @property
    def has_clock_match(self) -> bool:
        """Whether any reading has a time, so that the clock match can be drawn."""
        return bool(np.isfinite(self.calibration.readings["time_s"].to_numpy(float)).any())

    @property
    def no_clocks(self) -> str:
        """Why there is no clock match."""
        return text.no_clocks(self.calibration)

    @property
    def is_before(self) -> bool:
        """Whether it was made before the work."""
        return self.name.startswith("before")

    def in_short(self) -> tuple[str, ...]:
        """Return what the printed page says of it."""
        lines = [f"{name}: {value}" for name, value in self.figures]
        parts = [
            f"{component} {share}" for component, _, _, share in self.budget if share not in ("0 %", text.NOT_IN_IT)
        ]
        if parts:
            lines.append(f"Uncertainty {self.budget_title}: {', '.join(parts)}")
        if len(self.left_out) <= _MOST_LEFT_OUT:
            named = "wrong_readings" in codes_of(self.calibration.findings)  # each by its line
            told = f"not used: {label(WRONG)}" if named else ""
            lines += [f"Line {row[0]}, shown {row[2]}: {row[-1]}" for row in self.left_out if row[-1] != told]
        else:
            lines += [f"{counted(count, 'reading')} not used: {reason}" for reason, count in self.reasons]
        return (*lines, *self.findings)


def drive_detail(
    name: str,
    c: Calibration,
    unit: DisplayUnit,
    *,
    has_date: bool,
    date: str = "",
    noted: tuple[tuple[str, float | str], ...] = (),
) -> DriveDetail:
    """Return the details of a measured drive."""
    records = c.readings.to_dict("records")
    rows = [text.reading_row(row, unit) for row in records]
    left_out = [row for row, record in zip(rows, records, strict=True) if not record["used"]]
    reasons = Counter(label(record["reason"]) for record in records if not record["used"])
    return DriveDetail(
        name=name,
        calibration=c,
        when="; ".join([text.when(c, has_date=has_date, date=date), *text.noted_words(noted, unit)]),
        counts=text.counts(c),
        figures=text.drive_figures(c, unit),
        readings=tuple(rows) if len(rows) <= _MOST_READINGS else (),
        left_out=tuple(left_out[:_MOST_READINGS]),
        reasons=tuple(reasons.most_common()),
        budget=tuple(text.budget_row(line, unit) for line in c.budget),
        budget_title=text.budget_title(c, unit),
        findings=tuple(one_line(finding.text) for finding in c.findings),
        picture_text=pictures.clock_match_text(name, c),
    )


@dataclass(frozen=True)
class CheckRow:
    """The rule at one speed."""

    at: Cell
    shown: Cell
    permitted: Cell
    word: str
    probability: str


def check_rows(verification: Verification, units: Units) -> tuple[CheckRow, ...]:
    """Return the rule at each speed it was judged at."""
    rows = []
    for check in verification.checks:
        cells = [text.check_words(check, verification, unit) for unit in units]
        at, shown, permitted = zip(*(cells[:1] if np.isnan(check.speed_mps) else cells), strict=True)
        word, probability = text.check_verdict(check)
        rows.append(CheckRow(at, shown, permitted, word, probability))
    return tuple(rows)


@dataclass(frozen=True)
class DeepChoice:
    """One thing that can be fitted or set, with the errors it would leave."""

    name: str
    summary: str
    """Worst case, odometer, and what else to know of it."""
    errors: tuple[Cell, ...]
    """At each speed the expected error, its interval, and the error in the other unit where asked for."""


@dataclass(frozen=True)
class Depth:
    """What the drive before the work says about the vehicle, and all that could be done."""

    chain: Rows
    """Links from the instrument to the road, each with its value; a question mark where it is unknown."""
    figures: Rows
    in_short: Rows
    speeds: tuple[Cell, ...]
    kinds: tuple[tuple[str, tuple[DeepChoice, ...]], ...]
    """Choices by kind, the best first."""
    notes: tuple[str, ...]


def depth(corrections: Corrections, units: Units, warnings: Sequence[str] = ()) -> Depth:
    """Put corrections into tables."""
    count = len(corrections.speeds)
    at = sorted(
        {round(i * (count - 1) / max(min(count, _MOST_SPEEDS) - 1, 1)) for i in range(min(count, _MOST_SPEEDS))}
    )
    kinds = (
        ("Module setting", corrections.settings),
        ("Pulse scaler", corrections.pulse_scaler),
        ("Driven gear", corrections.driven_gear),
        ("Drive gear", corrections.drive_gear),
        ("Both gears", corrections.pairs),
        ("Ratio box", corrections.ratio_box),
        ("No work", (corrections.keep,)),
    )
    return Depth(
        chain=tuple((part_name(link.name), link_text(link, units[0])) for link in corrections.train.links),
        figures=part_text.correction_figures(corrections),
        in_short=part_text.vehicle_in_short(corrections),
        speeds=tuple(_speed(corrections.speeds[i], units) for i in at),
        kinds=tuple((name, tuple(_choice(c, at, units) for c in _first(list_))) for name, list_ in kinds if list_),
        notes=correction_notes(corrections, warnings),
    )


def correction_notes(corrections: Corrections, warnings: Sequence[str]) -> tuple[str, ...]:
    """Return what to mind at the bench, without what the report begins with."""
    notes = [f"{one_line(said)} ({one_line(source)})" for said, source in corrections.notes]
    notes += [one_line(finding.text) for finding in unsaid(corrections)]
    return tuple(note for note in notes if note not in warnings)


def _first(choices: tuple[Choice, ...]) -> list[Choice]:
    """Return the best few, what is fitted, and what would be better if it existed."""
    return [c for i, c in enumerate(choices) if i < _MOST_CHOICES or c.is_fitted or c.available is False]


def _speed(speed: float, units: Units) -> Cell:
    """Write a speed given in the first unit in each of the units."""
    here = units[0]
    return f"{speed:g} {here}", *(f"{speed * SPEED_UNIT_MPS[here] / SPEED_UNIT_MPS[u]:.1f} {u}" for u in units[1:])


def _choice(choice: Choice, at: list[int], units: Units) -> DeepChoice:
    worst, odometer = part_text.choice_sizes(choice)
    remarks = part_text.choice_remarks(choice)
    summary = f"worst {worst}, odometer {odometer}" + (f", {remarks}" if remarks else "")
    errors = []
    for i in at:
        value, low, high = (choice.errors[i][name] for name in ("error", "low", "high"))
        elsewhere = [f"{signed(value * SPEED_UNIT_MPS[units[0]] / SPEED_UNIT_MPS[u])} {u}" for u in units[1:]]
        errors.append((signed(value), f"{signed(low)} to {signed(high)}", *elsewhere))
    return DeepChoice(str(choice), summary, tuple(errors))


@dataclass(frozen=True)
class Explained:
    """What would explain the error, and what was believed before the drive."""

    rows: tuple[tuple[str, Rows, str], ...]
    """Probability, each part and whether it departs from the job, what the instrument would be off."""
    as_stated: str
    believed: tuple[str, ...]
    notes: tuple[str, ...]

    def in_short(self) -> str:
        """Return the likeliest explanation for the printed page."""
        return part_text.likeliest(self.rows[0])


def explained(explanations: Explanations) -> Explained:
    """Put the ranking of explanations into rows."""
    return Explained(
        rows=part_text.explanation_rows(explanations),
        as_stated=part_text.as_stated(explanations),
        believed=tuple(one_line(prior.text) for prior in explanations.priors),
        notes=tuple(one_line(finding.text) for finding in explanations.findings),
    )


@dataclass(frozen=True)
class OverTime:
    """Several drives of one state of the vehicle, in order of time."""

    title: str
    rows: tuple[tuple[str, str, str], ...]
    """Date, error at the common speed, error factor."""
    notes: tuple[str, ...]


def over_time(name: str, history: History, pooled: Calibration | None) -> OverTime:
    """Put the drives of one state of the vehicle side by side, with what pooling them found."""
    return OverTime(
        title=text.over_time_title(name, history),
        rows=tuple(text.over_time_row(row.date, row.error_percent, row.error_factor) for row in history.rows),
        notes=text.over_time_notes(history, pooled),
    )
