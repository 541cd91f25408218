"""What stands on the card for the dash of a dial that cannot be put right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from speedcal.text.words.names import one_line, shortened
from speedcal.units import DisplayUnit

TITLE = "Correction card"


def words(rows: Sequence[tuple[float, float]], unit: DisplayUnit, vehicle: str, driven: str) -> dict[str, Any]:
    """Return everything on the card, by the names that its template uses; ``rows`` are true and shown speeds."""
    named = shortened(one_line(vehicle), 60)
    return {
        "title": TITLE,
        "about": f"What the dial shows at a true speed, in {unit}"
        + "".join(f"; true {true:g}: shown {shown:.0f}" for true, shown in rows)
        + ".",
        "heads": [f"true {unit}", f"dial shows {unit}"],
        "rows": [[f"{true:g}", f"{shown:.0f}"] for true, shown in rows],
        "lines": [*([named] if named else []), f"Measured: {driven}. Other tires, gears or settings need a new card."],
    }
