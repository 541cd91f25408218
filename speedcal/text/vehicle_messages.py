"""Words for the vehicle: tires, gears, choices, advice."""

from __future__ import annotations

from speedcal.text.messages import Template

REFUSALS: dict[str, tuple[Template, Template]] = {}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {
    "no_drive": "no drive: the instrument is taken to be right now.",
}
"""Code to the sentence, with its full stop."""
