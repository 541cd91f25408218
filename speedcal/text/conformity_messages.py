"""Words for rules, verdicts, road tests."""

from __future__ import annotations

from speedcal.text.messages import Template

REFUSALS: dict[str, tuple[Template, Template]] = {}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {
    "pooled_disagree": "the drives do not agree.",
}
"""Code to the sentence, with its full stop."""
