"""Words for the upload page."""

from __future__ import annotations

from speedcal.text.messages import Template

REFUSALS: dict[str, tuple[Template, Template]] = {
    "choose_one_of_the_list": ("choose one of the list", ""),
    "number_out_of_reach": ("{found:quoted} is too large", ""),
    "setting_not_read": ("{found:quoted} should be written as name = number", ""),
    "own_rule_without_figures": ("your own rule needs at least one figure further down", ""),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {}
"""Code to the sentence, with its full stop."""
