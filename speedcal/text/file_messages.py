"""Words for reading files (rooms logs and simulate)."""

from __future__ import annotations

from speedcal.text.messages import Template

REFUSALS: dict[str, tuple[Template, Template]] = {
    "several_problems": (
        lambda values: f"{len(values['problems'])} problems",
        lambda values: str(values.get("remedy", "")),
    ),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {}
"""Code to the sentence, with its full stop."""
