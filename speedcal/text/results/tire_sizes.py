"""What the command prints of a tire size: what it measures, what it rolls, and what it does to an instrument."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from speedcal.text.messages import label
from speedcal.text.words.sources import status_in_short
from speedcal.units import INCH_M, DisplayUnit

if TYPE_CHECKING:
    from speedcal.vehicle import RolledTire, TireSize

_COLUMNS = {
    "turns_per_mile": ("turns per mile", 0),
    "reads_percent": ("reads, %", 1),
    "exact_driven_teeth": ("exact driven teeth", 2),
}
"""Heading and decimals of the columns of several sizes."""


def size_lines(tire: TireSize, rolled: RolledTire, nominal: Mapping[str, float]) -> list[str]:
    """Return what a size measures by its sidewall and what it rolls."""
    facts, forms = tire.to_dict(), rolled.to_dict()
    assumed = " (aspect ratio not on the sidewall, assumed)" if tire.is_aspect_assumed else ""
    row = "{:<26}{:>10.1f}  ({:.1f} to {:.1f})".format
    length = "{:<26}{:>10.1f} mm = {:.2f} in".format
    height_mm, around_mm = facts["section_height_mm"], nominal["nominal_circumference_mm"]
    rolls_mm, rolls_in = rolled.circumference_m.scaled(1000), rolled.circumference_m.scaled(1 / INCH_M)
    return [
        f"{tire}, {facts['construction']}{assumed}",
        length("section height", height_mm, height_mm / 1000 / INCH_M),
        length("nominal diameter", facts["nominal_diameter_mm"], facts["nominal_diameter_in"]),
        length("nominal circumference", around_mm, around_mm / 1000 / INCH_M) + " (pi x diameter, no load)",
        row("mm per turn, rolled", rolls_mm.value, rolls_mm.low, rolls_mm.high),
        row("inches per turn, rolled", rolls_in.value, rolls_in.low, rolls_in.high),
        row("turns per mile, rolled", *forms["turns_per_mile"].values()),
        row("turns per km, rolled", *forms["turns_per_km"].values()),
        f"rolled: {rolled.basis.text} ({status_in_short(rolled.status)})",
        *([f"  {rolled.source}"] if rolled.source else []),
        *(
            f"  allows {item['percent']:.1f} % for {label(item['name'])} ({status_in_short(item['status'])})"
            for item in forms["allowances"]
        ),
    ]


def change_lines(instead_of: str, gain: float, shown: Iterable[Mapping[str, float]], unit: DisplayUnit) -> list[str]:
    """Return what an instrument that is right with another size will show."""
    percent = f"{abs(100 * (gain - 1)):.1f}"
    reads = "as before" if float(percent) == 0 else f"{percent} % {'high' if gain > 1 else 'low'}"
    return [
        f"instead of {instead_of}: an instrument that is right now will read {reads}",
        *(
            f"  at a true {row['ground']:g} {unit} it will show {row['indicated']:.1f} "
            f"({row['low']:.1f} to {row['high']:.1f})"
            for row in shown
        ),
    ]


def table_lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return several sizes side by side, each figure with its interval."""
    shown = [name for name in _COLUMNS if name in rows[0]]
    lines = [["size", *(_COLUMNS[name][0] for name in shown)]]
    lines += [[row["size"], *(_figure(row[name], _COLUMNS[name][1]) for name in shown)] for row in rows]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    return ["  ".join(map(str.ljust, line, widths)).rstrip() for line in lines]


def _figure(interval: Mapping[str, float], decimals: int) -> str:
    value, low, high = (f"{end:.{decimals}f}" for end in interval.values())
    return f"{value} ({low} to {high})"
