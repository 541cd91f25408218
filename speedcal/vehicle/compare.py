"""Two tire sizes side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from speedcal.interval import Interval, tidy
from speedcal.units import DisplayUnit
from speedcal.vehicle.rolling_circumference import RolledTire


@dataclass(frozen=True, slots=True)
class TireChange:
    """What fitting one tire instead of another does to an instrument that was right."""

    before: RolledTire
    after: RolledTire

    @property
    def gain(self) -> Interval:
        """Indicated speed with the new tire divided by that with the old one at the same true speed."""
        value = self.before.circumference_m.value / self.after.circumference_m.value
        u = (self.before.u_relative**2 + self.after.u_relative**2) ** 0.5
        return Interval.around(value, 2 * u * value)

    def shown(self, speeds: Sequence[float]) -> list[dict[str, float]]:
        """Return what is shown at true speeds, in the unit of the speeds."""
        gain = self.gain
        return [
            {
                "ground": v,
                "indicated": tidy(v * gain.value, 3),
                "low": tidy(v * gain.low, 3),
                "high": tidy(v * gain.high, 3),
            }
            for v in speeds
        ]

    def to_dict(self, speeds: Sequence[float], unit: DisplayUnit) -> dict[str, Any]:
        """Return the comparison, ready for JSON."""
        return {
            "before": self.before.to_dict(),
            "gain": self.gain.to_dict(),
            "percent": tidy(100 * (self.gain.value - 1), 3),
            "speed_unit": unit,
            "shown": self.shown(speeds),
        }
