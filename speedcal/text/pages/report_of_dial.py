"""The customer's part of a report on the dial: what it shows at a usual speed, what is left, the odometer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.interval import FloatArray
from speedcal.text.pages.told_speeds import headline_speed
from speedcal.text.words.numbers import fill, signed
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration

ODOMETER_NOT_READ = "The odometer was not read, so it is not judged."
_LEAST_SAID = 0.05
"""Less than this, in the unit of the dial, would be written as zero."""
_TELLS_NOTHING = 20.0
"""Of a hundred true miles: an odometer known no better is not told to a customer. Our own judgment."""


def shown_range(calibration: Calibration, speed: float, unit: DisplayUnit, *, decimals: int = 0) -> str:
    """Say what the dial shows at a true speed, as a person would: ``66``, or ``60 to 61``. ``speed`` in ``unit``."""
    factor = SPEED_UNIT_MPS[unit]
    shown = float(calibration.dial.indicated(speed * factor)) / factor
    half = float(calibration.dial.half_width(speed * factor)) / factor
    low, high = f"{shown - half:.{decimals}f}", f"{shown + half:.{decimals}f}"
    return low if low == high else f"{low} to {high}"


def customer_sentence(
    before: Calibration | None,
    after: Calibration | None,
    unit: DisplayUnit,
    *,
    change: str,
    spoken_in: DisplayUnit | None = None,
) -> str:
    """Say in one plain sentence what the dial did at a usual speed and what it does now.

    Parameters
    ----------
    unit
        Unit in which the speed is a round one.
    change
        What was changed, as :func:`change_words` names it; empty where nothing was. The drive before a change does not
        tell what the dial shows now.
    spoken_in
        Unit of the numbers in the sentence, when another.
    """
    spoken = spoken_in or unit
    known = [c for c in (before, after) if c is not None]
    speed = headline_speed(known, unit) * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[spoken]
    start = f"At a true {speed:.0f} {spoken} the dial"
    if before is not None and after is None and change:
        return f"{start} showed {shown_range(before, speed, spoken)} before {change}."
    if before is None or after is None:
        return f"{start} shows {shown_range(known[0], speed, spoken)}."
    was, now = (shown_range(c, speed, spoken) for c in (before, after))
    return f"{start} showed {was}; {f'after {change}' if change else 'on the road test'} it shows {now}."


def expected_sentence(expected: Calibration, unit: DisplayUnit, *, spoken_in: DisplayUnit) -> str:
    """Say what the dial should show at a usual speed by the parts alone."""
    speed = headline_speed([expected], unit) * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[spoken_in]
    said = shown_range(expected, speed, spoken_in)
    return f"At a true {speed:.0f} {spoken_in} the dial should show {said} by its parts."


def odometer_sentences(before: Calibration | None, after: Calibration | None, unit: DisplayUnit) -> tuple[str, ...]:
    """Say what the odometer counts for a hundred true miles or kilometers; it is told by its own readings alone."""
    name = "miles" if unit == "mph" else "km"
    out = []
    for when, verb, c in (("Before the work", "counted", before), ("After the work", "counts", after)):
        if c is None or c.odometer_factor is None:
            continue
        low, high = sorted((100 * c.odometer_factor.low, 100 * c.odometer_factor.high))
        if high - low > _TELLS_NOTHING:
            out.append(f"{when} the odometer was not read over a long enough distance to tell what it counts.")
            continue
        out.append(f"{when} the odometer {verb} {low:.1f} to {high:.1f} for 100 true {name}.")
    if not out:
        out.append(ODOMETER_NOT_READ)
    return tuple(out)


def left_over(after: Calibration, unit: DisplayUnit) -> tuple[str, ...]:
    """Say what error is left after the work: overall, by the needle, and where it reads low."""
    factor = SPEED_UNIT_MPS[unit]
    low, high = after.dial.driven_mps
    error, half = _errors(after)
    least, most = float((error - half).min()) / factor, float((error + half).max()) / factor
    lines = [
        f"From {low / factor:.0f} to {high / factor:.0f} {unit} the dial is off by {signed(least)} to {signed(most)} "
        f"{unit}."
    ]
    offset = after.offset_mps.scaled(1 / factor)
    if after.dial.shape == "straight" and not offset.contains(0.0) and abs(offset.value) >= _LEAST_SAID:
        near, far = sorted((abs(offset.low), abs(offset.high)))
        lines.append(
            f"The needle sits {abs(offset.value):.1f} {unit} {'high' if offset.value > 0 else 'low'} at every speed "
            f"({near:.1f} to {far:.1f}); no gear or setting removes that part."
        )
    leans = [found.values for found in after.findings if found.code == "vehicle_leans"]
    return (
        *lines,
        *_surely_low(after),
        *[fill("In bends it shows up to {most:percent1} more.", values) for values in leans[:1]],
    )


def reads_low(dial_of: Calibration, unit: DisplayUnit, *, is_tested: bool) -> tuple[str, ...]:
    """Say where a dial shows less than the true speed, the side on which somebody drives too fast.

    That it never does is told of a road test alone (``is_tested``): before the work it is no news.
    """
    error, half = _errors(dial_of)
    least = float((error - half).min()) / SPEED_UNIT_MPS[unit]
    may = (f"It may read low by {-least:.1f} {unit}.",) if least <= -_LEAST_SAID else ()
    never = ("It does not read low at any speed driven.",) if is_tested and dial_of.trust.word == "TRUSTED" else ()
    return _surely_low(dial_of) or may or never


def _surely_low(dial_of: Calibration) -> tuple[str, ...]:
    error, half = _errors(dial_of)
    low = error + half < 0
    where = "At every speed driven" if low.all() else "At some of the speeds driven"
    return (f"{where} it reads low: you drive faster than the dial says.",) if low.any() else ()


def _errors(dial_of: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return how far a dial is off over the driven speeds, and half the width of its interval there. [m/s]."""
    grid = np.linspace(*dial_of.dial.driven_mps, 41)
    return dial_of.dial.indicated(grid) - grid, dial_of.dial.half_width(grid)
