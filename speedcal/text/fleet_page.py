"""Words of the page of a fleet."""

from __future__ import annotations

PAGE = {
    "title": "Fleet",
    "lists": "Which vehicles",
    "all": "all",
    "wrong": "wrong",
    "new": "new since the last run",
    "changed": "changed meanwhile",
    "weak": "weak, drive again",
    "lost": "without a number",
    "search": "Search",
    "search_hint": "vehicle, finding, reason",
    "trust": "Trust",
    "any_trust": "any",
    "action": "To do",
    "any_action": "anything",
    "sort": "Sorted by",
    "by_cost": "error × distance",
    "by_error": "error",
    "by_name": "vehicle",
    "vehicle": "Vehicle",
    "error": "Error",
    "miscounted": "Miscounted",
    "of": "of",
    "shown": "vehicles shown",
    "more": "Show more",
    "picture": "Every vehicle listed, from low to high: error with its 95 % interval; shaded is what is allowed.",
    "picture_hint": "Touch a bar to open its vehicle.",
    "drives": "drives",
    "drive": "drive",
    "factor": "speed, error factor",
    "odometer": "odometer factor",
    "trend": "besides, a year",
    "judged_odometer": "judged by the odometer",
    "judged_speed": "judged by the logged speed: there is no odometer in the logs",
    "judged_rule": "judged by the rule for the speed",
    "judged_": "not judged: a dial may read high by design; name a rule, or note the odometer",
    "untested": "not judged: the drives are weak",
    "is_wrong": "wrong",
    "is_new": "new",
    "no_number": "no number",
    "before": "before",
    "now": "now",
    "change": "change",
    "in_order": "in the order of the files",
    "none": "No vehicle fits.",
    "no_script": "This list needs JavaScript; fleet.csv holds the same rows.",
    "odometer_note": "An odometer is reported, never rewritten: note the difference in the papers of the vehicle where "
    "the law asks for it.",
}
"""Words that stand on the page or that its script puts there."""


def about(vehicles: int, judged: int, wrong: int, within: str, rate: float) -> str:
    """Return the sentence at the head."""
    if not wrong:
        return f"{judged} of {vehicles} vehicles judged; none is wrong ({within})."
    return (
        f"{wrong} of {judged} judged vehicles {'is' if wrong == 1 else 'are'} wrong ({within}). Of those called wrong, "
        f"at most {100 * rate:g} % are not, on average (Benjamini and Hochberg 1995)."
    )
