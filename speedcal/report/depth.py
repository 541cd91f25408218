"""The vehicle side in depth, for the tech: gear train, every choice, what explains the error, drives over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from speedcal.report.cells import Cell
from speedcal.report.words import one_line, other_unit, signed
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History
    from speedcal.interval import Interval
    from speedcal.report.facts import ReportFacts
    from speedcal.vehicle import Choice, Corrections
    from speedcal.vehicle.explain import Explanations

_ROLLS, _WANTED = "Effective tire rolls", "Driven gear wanted, in parts of a tooth"
IN_SHORT = (_ROLLS, _WANTED)
"""Figures that stand on the printed page too."""
MOST_SPEEDS = 4
"""More speeds than this are thinned in the tables of choices; the numbers for programs hold them all."""
_GEARS = ("driven gear", "drive gear", "pair")
MOST_CHOICES, MOST_EXPLANATIONS = 5, 6


@dataclass(frozen=True)
class DeepChoice:
    """One thing that can be fitted or set, with the errors it would leave."""

    name: str
    summary: str
    """Worst case, odometer, and what else to know of it."""
    errors: tuple[tuple[str, str, str], ...]
    """At each speed: expected error, its interval, the expected error in the other unit."""


@dataclass(frozen=True)
class Depth:
    """What the drive before the work says about the vehicle, and all that could be done."""

    chain: tuple[tuple[str, str], ...]
    """Links from the instrument to the road, each with its value; a question mark where it is unknown."""
    figures: tuple[tuple[str, str], ...]
    speeds: tuple[Cell, ...]
    kinds: tuple[tuple[str, tuple[DeepChoice, ...]], ...]
    """Choices by kind, the best first."""
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Explained:
    """What would explain the error, and what was believed before the drive."""

    rows: tuple[tuple[str, tuple[tuple[str, bool], ...], str], ...]
    """Probability, each part and whether it is other than the job states, what the instrument would be off."""
    as_stated: str
    believed: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class OverTime:
    """Several drives of one state of the vehicle, in order of time."""

    title: str
    rows: tuple[tuple[str, str, str], ...]
    """Date, error at the common speed, error factor."""
    notes: tuple[str, ...]


def depth_of(corrections: Corrections) -> Depth:
    """Put corrections into tables."""
    unit = corrections.unit
    at = _thinned(len(corrections.speeds))
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
        chain=tuple((link.name, link.text) for link in corrections.train.links),
        figures=_figures(corrections),
        speeds=tuple(_speed(corrections.speeds[i], unit) for i in at),
        kinds=tuple((name, tuple(_choice(c, at, unit) for c in _first(choices))) for name, choices in kinds if choices),
        notes=(
            *(f"{one_line(text)} ({one_line(source)})" for text, source in corrections.notes),
            *(one_line(finding.text) for finding in corrections.findings),
        ),
    )


def _first(choices: tuple[Choice, ...]) -> list[Choice]:
    """Return the best few, what is fitted, and what would be better if it existed."""
    return [c for i, c in enumerate(choices) if i < MOST_CHOICES or c.is_fitted or c.available is False]


def _thinned(count: int) -> tuple[int, ...]:
    if count <= MOST_SPEEDS:
        return tuple(range(count))
    return tuple(dict.fromkeys(round(i * (count - 1) / (MOST_SPEEDS - 1)) for i in range(MOST_SPEEDS)))


def _speed(speed: float, unit: DisplayUnit) -> Cell:
    return Cell(f"{speed:g}", f"{speed * _to_other(unit):.1f}")


def _to_other(unit: DisplayUnit) -> float:
    return SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other_unit(unit)]


def _choice(choice: Choice, at: tuple[int, ...], unit: DisplayUnit) -> DeepChoice:
    chance = choice.probability_best
    remarks = [f"best of its kind with {100 * chance:.0f} %"] if chance is not None else []
    remarks += [choice.low_text or "does not read low"]
    remarks += {True: ["exists"], False: ["not in the gear family"], None: []}[
        None if choice.is_fitted or choice.kind not in _GEARS else choice.available
    ]
    remarks += [f"housing: range {choice.orientation} faces down"] if choice.orientation else []
    remarks += ["fitted now"] if choice.is_fitted else []
    low, high = choice.odometer_percent.low, choice.odometer_percent.high
    sizes = [f"worst {choice.worst_error_percent:.1f} %", f"odometer {signed(low)} to {signed(high)} %"]
    return DeepChoice(choice.name, ", ".join(sizes + remarks), tuple(_error(choice.errors[i], unit) for i in at))


def _error(row: dict[str, float], unit: DisplayUnit) -> tuple[str, str, str]:
    value, low, high = (row[name] for name in ("error", "low", "high"))
    return signed(value), f"{signed(low)} to {signed(high)}", f"{signed(value * _to_other(unit))} {other_unit(unit)}"


def _figures(corrections: Corrections) -> tuple[tuple[str, str], ...]:
    figures = []
    if tire := corrections.effective_tire:
        forms = tire.to_dict()
        rolls = forms["rolling_circumference_m"]
        figures += [
            (_ROLLS, f"{_span({k: 1000 * v for k, v in rolls.items()}, 0)} mm a turn, {tire.basis}"),
            (
                "Effective tire measures",
                f"{_span(forms['effective_diameter_in'], 2)} in "
                f"({_span({k: 25.4 * v for k, v in forms['effective_diameter_in'].items()}, 0)} mm) across",
            ),
            (
                "Effective tire turns",
                f"{_span(forms['turns_per_mile'], 1)} times a mile, {_span(forms['turns_per_km'], 1)} times a km",
            ),
        ]
    if corrections.ideal_driven_teeth:
        figures.append((_WANTED, str(corrections.ideal_driven_teeth)))
    figures.append(("Reading must be multiplied by", str(corrections.ideal_gain)))
    train = corrections.train
    if train.value is not None:
        figures.append((f"The drive determines the {train.determined}", str(train.value)))
    elif train.unknown:
        figures.append(("The drive cannot tell apart", ", ".join(train.unknown)))
    figures += [(f"To know the {name}", text) for name, text in train.separates]
    speeds = ", ".join(f"{speed:g}" for speed in corrections.speeds)
    figures.append(("Judged by", f"{corrections.criterion}, at a true {speeds} {corrections.unit}"))
    figures.append(("Put right means", f"worst error at most {corrections.acceptable_percent:g} %"))
    return tuple(figures)


def _span(interval: dict[str, float], decimals: int) -> str:
    value, low, high = (f"{interval[name]:.{decimals}f}" for name in ("value", "low", "high"))
    return f"{value} ({low} to {high})"


def explained(explanations: Explanations) -> Explained:
    """Put the ranking of explanations into rows."""
    rows = []
    for item in explanations.ranked[:MOST_EXPLANATIONS]:
        parts = tuple((f"{name} {one_line(label)}", name in item.departs) for name, label in item.parts)
        rows.append((_percent(item.probability), parts, f"{signed(100 * (item.factor - 1))} %"))
    return Explained(
        rows=tuple(rows),
        as_stated=f"Everything as the job states: {_percent(explanations.as_stated)}.",
        believed=tuple(one_line(text) for text in explanations.priors),
        notes=tuple(one_line(finding.text) for finding in explanations.findings),
    )


def _percent(probability: float) -> str:
    return "under 1 %" if probability < 0.005 else f"{100 * probability:.0f} %"


def over_time(facts: ReportFacts) -> tuple[OverTime, ...]:
    """Put the drives of one state of the vehicle side by side, with what pooling them found."""
    pooled = {"before": facts.before, "after": facts.after}
    return tuple(_over_time(name, history, pooled[name]) for name, history in facts.histories)


def _over_time(name: str, history: History, pooled: Calibration | None) -> OverTime:
    speed = history.reference_mps / SPEED_UNIT_MPS[history.unit]
    notes = [f.text for f in pooled.findings if f.code in ("pooled", "drives_disagree")] if pooled else []
    if trend := history.trend_percent_a_year:
        notes.append(f"Trend {signed(trend.value, 2)} % a year ({signed(trend.low, 2)} to {signed(trend.high, 2)}).")
    notes += [finding.text for finding in history.findings]
    return OverTime(
        title=f"Drives {name} the work in order of time, error at a true {speed:.0f} {history.unit} "
        f"({speed * _to_other(history.unit):.0f} {other_unit(history.unit)})",
        rows=tuple((row.date, _percent_span(row.error_percent), str(row.error_factor)) for row in history.rows),
        notes=tuple(one_line(note) for note in notes),
    )


def _percent_span(x: Interval) -> str:
    return f"{signed(x.value)} % ({signed(x.low)} to {signed(x.high)})"
