"""What is written in the pictures of a report, and what they show, for those who do not see them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.pages.report_for_tech import counts
from speedcal.text.words import rules
from speedcal.text.words.names import one_line, shortened
from speedcal.text.words.numbers import counted, signed
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from speedcal.calibration.result import Calibration
    from speedcal.conformity import Tolerance

MINUTES, GPS_SPEED, READINGS, NOT_USED, NO_ERROR = (
    "minutes into the drive", "GPS speed", "readings", "not used", "exactly right",
)  # fmt: skip


def true_speed_axis(unit: DisplayUnit) -> str:
    """Name the axis of the true speed."""
    return f"true speed, {unit}"


def error_axis(unit: DisplayUnit) -> str:
    """Name the axis of the error, in two lines."""
    return f"the dial shows too much (+)\nor too little (−), {unit}"


def speed_axis(unit: DisplayUnit) -> str:
    """Name the axis of the speed in a clock match."""
    return f"speed, {unit}"


def allowed_label(rule: Tolerance) -> str:
    """Name a rule shortly enough for the picture: its title up to the first comma."""
    title = one_line(rule.title) or rules.OF_JOB
    head = title.split(",")[0].strip()
    tail = " (not verified)" if rule.status == "from memory" else ""
    return f"allowed: {shortened(head if len(head) >= 8 else title, 32)}{tail}"


def comparison_text(
    curves: Sequence[tuple[str, tuple[float, float], tuple[float, float]]], unit: DisplayUnit, allowed: str
) -> str:
    """Say what the comparison shows.

    Parameters
    ----------
    curves
        Label of each, the speeds at its ends and the errors there, in ``unit``.
    allowed
        Label of the shaded area, empty where there is none.
    """
    parts = [
        f"{label}: error {signed(error[0])} {unit} at {speed[0]:.0f} and {signed(error[1])} at {speed[1]:.0f} {unit}"
        for label, speed, error in curves
    ]
    shaded = f". The shaded area is {allowed.replace(':', ' by')}" if allowed else ""
    return f"Error of the dial against true speed. {'; '.join(parts)}{shaded}."


def clock_match_text(name: str, c: Calibration) -> str:
    """Say what a clock match shows."""
    left_out = int((~c.readings["used"].to_numpy(bool)).sum())
    return (
        f"GPS speed over time, drive {name}, with the readings on it, the error of the dial taken out. "
        f"{counts(c)}, {left_out} left out."
    )


def letters_missing(count: int) -> str:
    """Stand for letters that no font on this machine has."""
    return f"[{counted(count, 'letter')} no font here has]"
