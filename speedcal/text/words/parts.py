"""What a mechanic calls the parts of a speedometer's drive, the settings, and the choices."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

_LARGEST_RATIO, _DECIMALS = 40, 10_000
"""Denominator up to which a ratio is one of teeth or switches, and what a number of four decimals is a fraction of."""

_NAMES = {
    "driven_gear": "driven gear",
    "drive_gear": "drive gear",
    "ratio_box": "ratio box",
    "pulse_scaler": "pulse scaler",
    "transfer_case": "transfer case",
    "instrument": "instrument",
    "scaler": "scaler",
    "sensor": "sensor",
    "axle": "axle",
    "tire": "tire",
    "tire_before": "tire it was built with",
    "housing": "housing range",
    "needle": "needle",
    "settings": "module setting",
    "ratio_box_teeth": "ratio box",
}

TURNS_THE_NEEDLE = (
    "look at the driven gear (worn, or its housing turned to the wrong range), then at the cable (worn, dry or "
    "kinked), then at the sensor and its plug"
)
"""What loses turns or pulses, the likeliest first. Common practice, no source."""
WATCH_THE_NEEDLE = (
    "hold a steady speed for a minute and watch the needle. One that falls and comes up again, or jumps, is not "
    f"driven evenly: {TURNS_THE_NEEDLE}"
)

MEASURED_BY = {
    "tire": "roll the tire out: chalk mark, three turns under load, measure the distance",
    "tire_before": "read the size it was built with off the placard in the door frame",
    "axle": "read the tag of the axle, or count turns of the driveshaft for turns of the wheels (off the ground on "
    "rated stands only)",
    "drive_gear": "count the teeth of the drive gear on the output shaft",
    "driven_gear": "take the driven gear out and count its teeth",
    "instrument": "find what the instrument expects per mile or km: on its face, or by turning its input a counted "
    "number of turns and reading the odometer",
    "sensor": "count the pulses or teeth of the sensor for one turn of its shaft",
    "settings": "read the numbers set in its module, if it has one",
    "pulse_scaler": "see whether a pulse scaler is fitted and what it can be set to",
    "rule": "choose a rule that holds at the speeds of this vehicle",
    "max_speed": "state the design maximum speed of the vehicle, or the speeds that matter",
    "bench": "have the instrument tested on a bench at several speeds",
    "rounding": "say how readings were rounded, on the drive's page or in a line above them: 'rounding: exact' if the "
    "needle was held on its marks, 'rounding: down' if the mark below was noted, else 'rounding: nearest'",
    "ratio_box_teeth": "ask which ratio boxes can be had for this cable",
}
"""Link or part to the measurement that finds it out."""


def part_name(code: str, *, many: bool = False) -> str:
    """Return what a part is called."""
    name = _NAMES.get(code, code.replace("_", " "))
    return f"{name}s" if many and code in ("driven_gear", "drive_gear") else name


def setting_name(kind: str, value: float, to: str = "") -> str:
    """Return a module setting as a mechanic would say it, such as ``module circumference 2000 mm``."""
    before, after = {
        "circumference_mm": ("circumference ", " mm"),
        "diameter_in": ("tire diameter ", " in"),
        "axle_ratio": ("axle ratio ", ""),
    }.get(kind, ("", f" {kind.replace('_', ' ')}"))
    return f"module {before}{to}{value:g}{after}"


def part_value(value: object) -> str:
    """Return what a part is or is set to; a scaler that was set in decimals in decimals, and not as 10753/10000.

    13/25 may have been set as 0.52 too: both are said.
    """
    if not isinstance(value, Fraction) or value.denominator == 1 or _DECIMALS % value.denominator:
        return str(value)
    return f"{float(value):g}" if value.denominator > _LARGEST_RATIO else f"{value} ({float(value):g})"


def choice_name(what: Mapping[str, Any]) -> str:
    """Return what a choice fits or sets, in a few words."""
    match what["kind"]:
        case "pair":
            return f"drive gear {what['drive_gear']} with driven gear {what['driven_gear']}"
        case "ratio_box":
            return f"ratio box {what['ratio']}"
        case "pulse_scaler":
            return f"pulse scaler {what['fraction'] or what['scaler']}"
        case "setting":
            return setting_name(what["setting"], what["value"])
        case "keep":
            return "keep what is fitted"
    return f"{part_name(what['kind'])} {what['teeth']}"
