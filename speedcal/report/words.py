"""The sentences of a report: plain words for the customer, cautions, law, method."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

import numpy as np

from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import Work

CAUTIONS = (
    "On the road the driver only drives; a passenger reads the dial and writes.",
    "Hold legal speeds on a road that suits it: straight, dry, light traffic. Break off whenever traffic asks for it.",
    "Wheels off the ground only on rated stands on firm, level ground, with the vehicle secured against rolling; keep "
    "clear of turning wheels and shafts.",
    "Local rules on speedometers and odometers come first; where the law asks for a licensed shop, a licensed shop "
    "does the work.",
)
"""What can hurt someone in this work, and who decides."""

ODOMETER_LAW = (
    "A change of gears, tires or settings alters only the distance counted from now on. The mileage already shown "
    "stays as it is; altering it to change the mileage shown is an offense in many places.",
    "United States, 49 USC 32703 and 32704: service may not change the mileage shown; where it cannot stay the same, "
    "the odometer is set to zero and a written notice with the mileage before and the date goes on the left door "
    "frame. Elsewhere: ask for the local rule.",
)
"""Reminder that belongs to every change of an odometer drive (49 USC 32703, 32704)."""

METHOD = (
    "Ground speed comes from the GPS log (receiver speed where it was recorded, otherwise positions on the WGS84 "
    "ellipsoid); nothing is interpolated across gaps.",
    "The clock of the readings is shifted until they agree with the ground speed; the shift is stated with its "
    "interval.",
    "A straight line, shown = offset + factor × true, is fitted with errors in both, weights by how steady the speed "
    "was, and a bounded influence of each reading, so that a wrong reading does not steer it.",
    "Offset and factor are known jointly; every figure uses their covariance. All intervals are 95 %.",
)
"""How the figures were made, for the tech."""

METHOD_IN_SHORT = (
    "Ground speed from the GPS log, never across gaps. The reading clock is shifted until the readings agree with it. "
    "Line shown = offset + factor × true, errors in both, influence of each reading bounded. 95 % intervals from the "
    "joint covariance."
)
"""The same for the printed page."""

_OVERRIDES = ("LRO", "RLO", "LRE", "RLE", "PDF", "LRI", "RLI", "FSI", "PDI")
_HEADLINE_SPEEDS: dict[DisplayUnit, tuple[int, ...]] = {
    "mph": (60, 50, 55, 45, 40, 65, 70, 30),
    "km/h": (100, 80, 90, 70, 60, 110, 50, 120),
}
TABLE_SPEEDS: dict[DisplayUnit, tuple[int, ...]] = {"mph": (30, 50, 70), "km/h": (50, 80, 110)}
"""Speeds at which a report says what the dial shows."""


def one_line(text: str) -> str:
    """Return a text without line breaks and control letters, which have no place in a heading."""
    kept = (" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    return " ".join("".join(c for c in kept if unicodedata.bidirectional(c) not in _OVERRIDES).split())


def other_unit(unit: DisplayUnit) -> DisplayUnit:
    """Return the other one of the two units."""
    return "km/h" if unit == "mph" else "mph"


def change_words(work: Work | None) -> str:
    """Name what was changed, to follow the word ``after``."""
    if work is None:
        return "the work"
    names = {
        "the gear change": work.driven_gear or work.drive_gear or work.ratio_box,
        "the new setting": work.pulse_scaler or work.settings,
        "the tire change": work.tire,
        "the axle change": work.axle,
    }
    done = [name for name, change in names.items() if change]
    return done[0] if len(done) == 1 else "the work"


def headline_speed(calibrations: list[Calibration], unit: DisplayUnit) -> float:
    """Return a round speed inside every driven range, or the middle of what they share. [unit]."""
    factor = SPEED_UNIT_MPS[unit]
    low = max(c.speed_range_mps[0] for c in calibrations) / factor
    high = min(c.speed_range_mps[1] for c in calibrations) / factor
    for speed in _HEADLINE_SPEEDS[unit]:
        if low - 0.5 <= speed <= high + 0.5:
            return float(speed)
    return float(round((low + high) / 2))


def shown_range(calibration: Calibration, speed: float, unit: DisplayUnit, *, decimals: int = 0) -> str:
    """Say what the dial shows at a true speed, as a person would: ``66``, or ``60 to 61``. ``speed`` in ``unit``."""
    factor = SPEED_UNIT_MPS[unit]
    shown = float(calibration.indicated(speed * factor)) / factor
    half = calibration.coverage_factor * float(calibration.u_indicated(speed * factor)) / factor
    low, high = f"{shown - half:.{decimals}f}", f"{shown + half:.{decimals}f}"
    return low if low == high else f"{low} to {high}"


def customer_sentence(
    before: Calibration | None, after: Calibration | None, unit: DisplayUnit, *, change: str, spoken_in: DisplayUnit
) -> str:
    """Say in one plain sentence what the dial did at a usual speed and what it does now.

    Parameters
    ----------
    unit
        Unit in which the speed is a round one.
    spoken_in
        Unit of the numbers in the sentence.
    """
    known = [c for c in (before, after) if c is not None]
    speed = headline_speed(known, unit) * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[spoken_in]
    start = f"At a true {speed:.0f} {spoken_in} the dial"
    if before is None or after is None:
        return f"{start} shows {shown_range(known[0], speed, spoken_in)}."
    was, now = (shown_range(c, speed, spoken_in) for c in (before, after))
    return f"{start} showed {was}; after {change} it shows {now}."


def odometer_sentences(before: Calibration | None, after: Calibration | None, unit: DisplayUnit) -> tuple[str, ...]:
    """Say what the odometer counts for a hundred true miles or kilometers."""
    name = "miles" if unit == "mph" else "km"
    out = []
    for when, verb, c in (("Before the work", "counted", before), ("After the work", "counts", after)):
        if c is None:
            continue
        factor = c.odometer_factor or c.error_factor
        low, high = sorted((100 * factor.low, 100 * factor.high))
        basis = "measured" if c.odometer_factor else "from the speed, where one drive serves both"
        out.append(f"{when} the odometer {verb} {low:.1f} to {high:.1f} for 100 true {name} ({basis}).")
    return tuple(out)


def left_over(after: Calibration, unit: DisplayUnit) -> tuple[str, ...]:
    """Say what error is left after the work: the offset, and the residual error where it reads low."""
    factor, other = SPEED_UNIT_MPS[unit], other_unit(unit)
    offset = after.offset_mps.scaled(1 / factor)
    elsewhere = signed(after.offset_mps.value / SPEED_UNIT_MPS[other])
    lines = [
        f"Needle offset {signed(offset.value)} {unit} ({signed(offset.low)} to {signed(offset.high)}), {elsewhere} "
        f"{other}; it belongs to the instrument and no gear or setting removes it."
    ]
    residuals = "; ".join(f"at {speed:g} {_error_range(after, speed * factor, factor)}" for speed in TABLE_SPEEDS[unit])
    lines.append(f"Error left, {unit}: {residuals}.")
    grid = np.linspace(*after.speed_range_mps, 41)
    half = after.coverage_factor * after.u_indicated(grid)
    error = after.indicated(grid) - grid
    least, most = float((error - half).min()) / factor, float((error + half).max()) / factor
    there = SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other]
    lines.append(
        f"Between the speeds driven the dial is off by {signed(least)} to {signed(most)} {unit} "
        f"({signed(least * there)} to {signed(most * there)} {other})."
    )
    if (error + half < 0).any():
        lines.append("At some of these speeds it reads low: the true speed is higher than the dial says.")
    elif (error - half < 0).any():
        lines.append("It may read low by the little that the interval allows.")
    return tuple(lines)


def _error_range(after: Calibration, ground_mps: float, factor: float) -> str:
    error = float(after.indicated(ground_mps)) - ground_mps
    half = after.coverage_factor * float(after.u_indicated(ground_mps))
    return f"{signed((error - half) / factor)} to {signed((error + half) / factor)}"


def glued(text: str) -> str:
    """Return a text in which no line can end between a number and its unit."""
    return _UNIT_AFTER_NUMBER.sub("\u00a0", text)


_UNIT_AFTER_NUMBER = re.compile(r"(?<=\d) (?=(?:%|mph|km/h)(?!\w))")


def signed(value: float, decimals: int = 1) -> str:
    """Write a number with its sign, zero without one."""
    text = f"{value:+.{decimals}f}"
    return text[1:] if float(text) == 0 else text.replace("-", "−")
