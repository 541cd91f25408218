"""Undoing work: how the instrument read before it is known from a drive, and can be had again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from speedcal.vehicle.choices.choice import Choice, judge_choice
from speedcal.vehicle.choices.fitted import is_fitted_after
from speedcal.vehicle.judged.judge import Judge


@dataclass(frozen=True)
class StateBefore:
    """The instrument as a drive before some work showed it, on the tires and the axle of now."""

    judge: Judge
    parts: tuple[tuple[str, Any], ...]
    """What is fitted or set again, by name; None where nobody has said what was there."""

    @property
    def choice(self) -> Choice:
        """Undoing the work, judged by the drive that was made before it."""
        return judge_choice(self.judge, "undo", self.parts, 1.0, available=True)

    def is_reached_by(self, choice: Choice) -> bool:
        """Tell whether a choice fits or sets the same as undoing does."""
        changes = {name: value for name, value in self.parts if name != "housing"}
        several = 2 if choice.kind == "pair" else 1
        return len(changes) == several and is_fitted_after(replace(choice, is_fitted=False), changes)
