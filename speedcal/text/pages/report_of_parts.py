"""The tech's part of a report on gears, settings and causes: what the drive says of the vehicle, and what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.results.corrections import best_text, low_text, other_ranges
from speedcal.text.words.names import one_line
from speedcal.text.words.numbers import likely, signed
from speedcal.text.words.parts import MEASURED_BY, part_name

if TYPE_CHECKING:
    from speedcal.text.pages.report_for_tech import Rows
    from speedcal.vehicle import Choice, Corrections
    from speedcal.vehicle.diagnosed.explanations import Explanations
_MOST_EXPLANATIONS = 6


def choice_remarks(choice: Choice) -> str:
    """Say what else to know of one thing that can be fitted or set."""
    best = choice.probability_best or 0.0
    remarks = [best_text(best)] if best > 0.005 else []
    remarks += [low] if (low := low_text(choice)) else []
    remarks += ["not in the gear family"] if choice.available is False else []
    remarks += [f"turn the housing so that range {choice.orientation} faces down"] if choice.orientation else []
    remarks += ["fitted now"] if choice.is_fitted else []
    return ", ".join(remarks)


def choice_sizes(choice: Choice) -> tuple[str, str]:
    """Return the worst error left and the error of the odometer."""
    low, high = choice.odometer_percent.low, choice.odometer_percent.high
    return f"{choice.worst_error_percent:.1f} %", f"{signed(low)} to {signed(high)} %"


def correction_figures(corrections: Corrections) -> Rows:
    """Return what the drive says of the vehicle, by name."""
    train = corrections.train
    figures = list(vehicle_in_short(corrections))
    if tire := corrections.effective_tire:
        size = tire.to_dict()["effective_diameter_in"]
        across = f"{_span(size, 2)} in" if corrections.unit == "mph" else f"{_span(_times(size, 25.4), 0)} mm"
        figures.append(("Effective tire measures", f"{across} across"))
    figures.append(("To read right, multiply the reading by", str(corrections.ideal_gain)))
    if train.value is not None:
        figures.append((f"The drive tells the {part_name(train.determined or '')}", str(train.value)))
    elif train.unknown:
        figures.append(("Driving alone cannot tell apart", ", ".join(part_name(name) for name in train.unknown)))
    unknown = train.unknown if train.value is None else ()
    figures += [(f"To know the {part_name(name)}", MEASURED_BY[name]) for name in unknown]
    figures += [(f"As it was, {name}", shown) for name, shown in other_ranges(corrections)]
    speeds = ", ".join(f"{speed:g}" for speed in corrections.speeds)
    figures.append(("Judged by", f"{corrections.criterion}, at a true {speeds} {corrections.unit}"))
    figures.append(("Put right means", f"worst error at most {corrections.acceptable_percent:g} %"))
    return tuple(figures)


def vehicle_in_short(corrections: Corrections) -> Rows:
    """Return the figures that stand on the printed page too: the tire as it rolls, and the exact tooth count."""
    figures = []
    if tire := corrections.effective_tire:
        forms = tire.to_dict()
        if corrections.unit == "mph":
            rolls = f"{_span(forms['turns_per_mile'], 1)} turns per mile"
        else:
            rolls = f"{_span(_times(forms['rolling_circumference_m'], 1000), 0)} mm per turn"
        figures.append(("Effective tire", f"{rolls}, {tire.basis.text}"))
    if teeth := corrections.ideal_driven_teeth:
        figures.append(("Exact tooth count of the driven gear", teeth.to_decimals(2)))
    return tuple(figures)


def _times(interval: dict[str, float], factor: float) -> dict[str, float]:
    return {name: factor * value for name, value in interval.items()}


def _span(interval: dict[str, float], decimals: int) -> str:
    value, low, high = (f"{interval[name]:.{decimals}f}" for name in ("value", "low", "high"))
    return f"{value} ({low} to {high})"


def explanation_rows(explanations: Explanations) -> tuple[tuple[str, Rows, str], ...]:
    """Return probability, parts (with ``departs`` where one is other than the job states) and what the dial is off."""
    rows = []
    for item in explanations.ranked[:_MOST_EXPLANATIONS]:
        parts = tuple(
            (f"{part_name(name)} {one_line(text)}", "departs" if name in item.departs else "")
            for name, text in item.parts
        )
        rows.append((likely(item.probability), parts, f"{signed(100 * (item.factor - 1))} %"))
    return tuple(rows)


def likeliest(row: tuple[str, Rows, str]) -> str:
    """Name the likeliest explanation, for the printed page."""
    chance_of_it, parts, _ = row
    named = ", ".join(part for part, departs in parts if departs)
    return f"Likeliest: {named or 'everything as the job states'}, {chance_of_it}"


def as_stated(explanations: Explanations) -> str:
    """Say how likely everything is as the job states."""
    return f"Everything as the job states: {likely(explanations.as_stated)}."
