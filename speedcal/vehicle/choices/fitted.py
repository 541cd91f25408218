"""What is fitted once the work is done: tables of choices follow it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from speedcal.vehicle.choices.choice import Choice


def is_fitted_after(choice: Choice, changes: Mapping[str, Any]) -> bool:
    """Tell whether a choice is what is fitted or set after some work.

    Parameters
    ----------
    choice
        What could be fitted; ``is_fitted`` tells of it before the work.
    changes
        What the work brought, see :attr:`speedcal.vehicle.Work.changes`.
    """
    if choice.kind == "keep":
        return choice.is_fitted and not changes
    parts = _parts(choice)
    if not parts.keys() & changes.keys():
        return choice.is_fitted
    return all(changes.get(name) == value for name, value in parts.items())


def brought_by(lists: Iterable[Sequence[Choice]], changes: Mapping[str, Any]) -> Choice | None:
    """Return the choice that is all that some work brought; None where it brought several things, or another."""
    every = (choice for choices in lists for choice in choices)
    return next((choice for choice in every if _parts(choice) == dict(changes)), None)


def _parts(choice: Choice) -> dict[str, Any]:
    """Return what a choice brings, by the keys of the job file."""
    what = choice.what
    match choice.kind:
        case "pair":
            return {name: what[name] for name in ("drive_gear", "driven_gear")}
        case "ratio_box":
            return {"ratio_box": Fraction(what["ratio"])}
        case "pulse_scaler":
            return {"pulse_scaler": Fraction(what["fraction"] or str(what["scaler"]))}
        case "setting":
            return {f"settings.{what['setting']}": what["value"]}
    return {choice.kind: what["teeth"]}
