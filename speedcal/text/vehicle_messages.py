"""Words for the vehicle: tires, gears, choices, advice."""

from __future__ import annotations

from speedcal.text.job_messages import hint
from speedcal.text.messages import Template

_FAMILY_REMEDY = "Name one of the shipped families, or a TOML file of your own beside the job file"

REFUSALS: dict[str, tuple[Template, Template]] = {
    "unknown_gear_family": (
        lambda values: f"there is no gear family {values['given']!r}: {hint(values['given'], values['known'])}",
        _FAMILY_REMEDY,
    ),
    "gear_family_elsewhere": ("gear family file {file:quoted} must lie beside the job file", "Copy it there"),
    "gear_family_unreadable": ("gear family file {file:quoted} cannot be read: {why}", "Correct the file"),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {
    "no_drive": "no drive: the instrument is taken to be right now.",
}
"""Code to the sentence, with its full stop."""
