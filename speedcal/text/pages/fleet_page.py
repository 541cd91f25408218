"""Words of the page of a fleet."""

from __future__ import annotations

PAGE = {
    "title": "Fleet",
    "lists": "Which vehicles",
    "all": "all",
    "wrong": "wrong",
    "new": "newly wrong",
    "changed": "changed",
    "open": "not judged",
    "lost": "no number",
    "search": "Search",
    "search_hint": "vehicle, finding, reason",
    "trust": "Trust",
    "any_trust": "any",
    "action": "To do",
    "any_action": "anything",
    "sort": "Sorted by",
    "by_cost": "distance off",
    "by_error": "error",
    "by_name": "vehicle",
    "vehicle": "Vehicle",
    "error": "Error",
    "off_by": "Off by",
    "of": "of",
    "in": "in",
    "shown": "vehicles shown",
    "more": "Show more",
    "picture": "From low to high: the range that holds the error 19 times in 20; shaded is what is allowed.",
    "picture_hint": "Touch a bar to open its vehicle.",
    "touched": "Vehicle touched in the picture",
    "drives": "drives",
    "drive": "drive",
    "odometer": "the odometer counts",
    "for_true": "for 100 really driven",
    "speed": "the speed shown is",
    "for_true_speed": "at a true 100",
    "aside": "an offset of the needle aside",
    "judged_odometer": "judged by the odometer",
    "judged_speed": "judged by the logged speed: there is no odometer in the logs",
    "judged_rule": "judged by the rule for the speed",
    "judged_": "not judged: a dial may read high by design; note the odometer, or name a rule",
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


def about(judged: int, wrong: int, not_judged: int, lost: int, within: str) -> str:
    """Return the sentences at the head."""
    rest = [
        f"{count:,} {what}" for count, what in ((not_judged, "could not be judged"), (lost, "gave no number")) if count
    ]
    ends = f" {' and '.join(rest)}." if rest else ""
    vehicles = "vehicle" if judged == 1 else "vehicles"
    if not judged:
        return f"No vehicle could be judged (wrong would be: {within}).{ends}"
    if not wrong:
        return f"{judged:,} {vehicles} judged; none is wrong ({within}).{ends}"
    return f"{wrong:,} of {judged:,} judged {vehicles} {'is' if wrong == 1 else 'are'} wrong ({within}).{ends}"


def false_alarms(rate: float) -> str:
    """Return how many of those called wrong may be right."""
    return f"Of those called wrong, at most {100 * rate:g} % are not, on average."
