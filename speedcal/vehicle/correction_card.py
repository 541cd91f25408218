"""What the driver may go by: a card of true against shown speeds, and the distance truly driven since a change."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.calibration.dial import Dial
from speedcal.interval import tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit

_STEP: dict[DisplayUnit, int] = {"mph": 5, "km/h": 10}


@dataclass(frozen=True, slots=True)
class CardRow:
    """At a true speed the dial shows this, in the unit of the card."""

    true: float
    shown: float
    low: float
    """95 % interval of what it shows."""
    high: float

    def to_dict(self) -> dict[str, float]:
        """Return the row, ready for JSON."""
        return {name: tidy(getattr(self, name), 2) for name in ("true", "shown", "low", "high")}


@dataclass(frozen=True, slots=True)
class CorrectionCard:
    """A card for the dash: round true speeds of the driven range against what the dial shows there."""

    unit: DisplayUnit
    rows: tuple[CardRow, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the card, ready for JSON."""
        return {"unit": self.unit, "rows": [row.to_dict() for row in self.rows]}


def correction_card(dial: Dial, unit: DisplayUnit) -> CorrectionCard:
    """Return the card of a dial, at the multiples of 5 mph or 10 km/h that were driven."""
    scale, step = SPEED_UNIT_MPS[unit], _STEP[unit]
    low, high = (v / scale for v in dial.driven_mps)
    true = np.arange(max(math.ceil(low / step), 1) * step, high + 1e-9, step)
    shown, half = dial.indicated(true * scale) / scale, dial.half_width(true * scale) / scale
    rows = (CardRow(float(v), float(s), float(s - h), float(s + h)) for v, s, h in zip(true, shown, half, strict=True))
    return CorrectionCard(unit, tuple(rows))
