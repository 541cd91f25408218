"""One thing to do about a speedometer, as data: what, on which part, what it leaves, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from speedcal.finding import Finding, json_ready
from speedcal.interval import tidy
from speedcal.wording import Spoken

Action = Literal[
    "keep_as_is",
    "fit_driven_gear",
    "fit_drive_gear",
    "fit_gear_pair",
    "fit_ratio_box",
    "set_pulse_scaler",
    "set_module",
    "reseat_needle",
    "repair_instrument",
    "check_count",
    "turn_housing",
    "set_unit",
    "use_correction_card",
    "measure_fact",
    "drive_again",
    "check_files",
]

NOTHING_FITTED = "1/1"
"""Value of a ratio box or a scaler that is taken out."""


@dataclass(frozen=True, slots=True)
class Advice(Spoken):
    """One thing to do. A list of them says what to do first on top; two things to do together are two entries.

    Examples
    --------
    >>> from speedcal.vehicle.advised.advice import Advice
    >>> Advice("fit_driven_gear", part="driven_gear", value=22, unit="teeth").to_dict()["value"]
    22
    """

    action: Action
    part: str | None = None
    """Code of the part, setting, fact or file it is about: ``driven_gear``, ``needle``, ``circumference_mm``."""
    value: float | str | None = None
    """What to fit, set or turn it to, in ``unit``; two gears of a pair are written ``drive/driven``."""
    unit: str | None = None
    """``teeth``, ``mph``, ``km/h``, the unit of a setting, or None where the value has none."""
    worst_error_percent: float | None = None
    """Expected worst error at the customer's speeds afterwards; None where it cannot be told. [%]"""
    probability: float | None = None
    """Chance that the instrument passes the job's rule afterwards; None where it cannot be told."""
    because: tuple[Finding, ...] = ()
    """What speaks for it, and what to mind, the weightiest first."""

    @property
    def codes(self) -> list[str]:
        """The codes of the reasons, in their order."""
        return [reason.code for reason in self.because]

    @property
    def rights_what_is_told(self) -> bool:
        """Whether it puts a unit, a count of pulses or a ratio box right, on which everything else is figured."""
        is_count = self.action == "check_count" and self.part in ("pulses", "ratio_box") and self.value is not None
        return self.action == "set_unit" or is_count

    def to_dict(self) -> dict[str, Any]:
        """Return the entry in the form other programs rely on, ready for JSON."""
        worst, chance = self.worst_error_percent, self.probability
        return {
            "action": self.action,
            "part": self.part,
            "value": json_ready(self.value),
            "unit": self.unit,
            "worst_error_percent": None if worst is None else tidy(worst, 3),
            "probability": None if chance is None else tidy(chance, 4),
            "because": self.codes,
        }
