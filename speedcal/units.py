"""Exact factors, and the reading and printing of speeds and lengths.

SI inside the package; other units exist only here, in readers and in renderers.
Factors follow from the international yard and pound agreement of 1959 (1 mile = 1609.344 m, exact)
and the international nautical mile (1852 m, exact; First International Extraordinary Hydrographic Conference, 1929).
"""

from __future__ import annotations

from typing import Literal

MILE_M = 1609.344
INCH_M = 0.0254
FOOT_M = 0.3048
NAUTICAL_MILE_M = 1852.0

SpeedUnit = Literal["mph", "km/h", "m/s", "kn"]
DisplayUnit = Literal["mph", "km/h"]

SPEED_UNIT_MPS: dict[SpeedUnit, float] = {
    "mph": MILE_M / 3600,
    "km/h": 1000 / 3600,
    "m/s": 1.0,
    "kn": NAUTICAL_MILE_M / 3600,
}
"""Metres per second in one unit of speed."""

MPH_MPS = SPEED_UNIT_MPS["mph"]
KMH_MPS = SPEED_UNIT_MPS["km/h"]

ROUND_SPEED: dict[DisplayUnit, float] = {"mph": 5.0, "km/h": 10.0}
"""Speeds are told, held and planned at multiples of this, as dials are marked."""
LOWEST_SPEED: dict[DisplayUnit, float] = {"mph": 25.0, "km/h": 40.0}
"""Lowest speed that matters where nobody names any: the lowest test speeds of SAE J2976 and UN R39. At walking pace a
small needle offset is a large percentage, and would decide a gear or a verdict."""
USUAL_LIMIT: dict[str, float] = {"mph": 65.0, "km/h": 100.0}
"""Legal speed that is taken where nobody names one. Our own judgment."""


def is_slow(unit: DisplayUnit, top_mps: float) -> bool:
    """Tell whether fewer than two of the speeds that matter are reached, as by a tractor: then slower ones matter."""
    return top_mps < (LOWEST_SPEED[unit] + ROUND_SPEED[unit]) * SPEED_UNIT_MPS[unit]


def round_step(unit: DisplayUnit, top_mps: float) -> float:
    """Return the step of the round speeds up to a speed, in the unit; ten km/h leave a slow vehicle two or three."""
    return ROUND_SPEED["mph"] if is_slow(unit, top_mps) else ROUND_SPEED[unit]


def _named(unit: SpeedUnit, *words: str) -> dict[str, SpeedUnit]:
    return dict.fromkeys(words, unit)


_KM = (
    *("km", "kilometer", "kilometern", "kilomètres", "kilometres", "kilómetros", "kilometros"),
    *("quilómetros", "quilômetros", "chilometri"),
)
_AN_HOUR = ("pro stunde", "par heure", "heure", "à l'heure", "por hora", "per uur", "i timmen", "orari", "all'ora")
_KMH_ABROAD = (
    *("km/t", "km/tim", "km/u", "km/std", "km/stunde", "km/godz", "km/sa", "stundenkilometer", "stundenkilometern"),
    "km/s",  # per saat; in a second nobody drives a kilometer
    *(
        "км/ч",
        "км/час",
        "км/год",
        "公里/小时",
        "公里/小時",
        "千米/小时",
        "公里每小时",
        "χλμ/ώρα",
        "χλμ/ω",
        'קמ"ש',
        "كم/س",
        "كم/ساعة",
        "کیلومتر بر ساعت",
        "किमी/घंटा",
    ),
    *(f"{km} {hour}" for km in _KM for hour in _AN_HOUR),
)
"""Kilometers an hour in other languages."""
SPEED_WORDS: dict[str, SpeedUnit] = {
    **_named(
        "mph",
        "mph",
        "mi/h",
        "mi./h",
        "mi/hr",
        "mi/hour",
        "miles/h",
        "miles per hour",
        "miles an hour",
        "miles/hour",
        "miles/hr",
        "m.p.h.",
        "m.p.h",
        "m p h",
        "mp h",  # MpH, as a phone begins words
    ),
    **_named(
        "km/h",
        "km/h",
        "kmh",
        "kph",
        "kmph",
        "km/hr",
        "km/hour",
        "km h",
        "km p/h",
        "km per h",
        "km per hour",
        "k.p.h.",
        "k.p.h",
        "km.p.h.",
    ),
    **_named("km/h", *(f"kilomet{end} {per}" for end in ("ers", "res") for per in ("per hour", "an hour"))),
    **_named("km/h", *_KMH_ABROAD),
    **_named(
        "m/s",
        "m/s",
        "mps",
        "ms-1",
        *(f"met{end}{per}" for end in ("ers", "res") for per in ("/second", "/sec", "/s", " per second")),
    ),
    **_named("kn", "kn", "kt", "kts", "knot", "knots"),
}

LENGTH_UNIT_M: dict[str, float] = {
    **dict.fromkeys(("mi", "mile", "miles"), MILE_M),
    **dict.fromkeys(("km", "kilometer", "kilometre", "kilometers", "kilometres"), 1000.0),
    **dict.fromkeys(("m", "meter", "metre", "meters", "metres"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet"), FOOT_M),
    **dict.fromkeys(("in", "inch", "inches"), INCH_M),
    "mm": 0.001,
    "cm": 0.01,
}
"""Metres in one unit of length, by every word we accept for it."""


def parse_speed_unit(word: str) -> SpeedUnit | None:
    """Return the unit of speed that a word means, or None when it means none."""
    return SPEED_WORDS.get(" ".join(word.strip().lower().split()))


def check_display_unit(unit: str | None) -> None:
    """Raise a ValueError for a unit that no dial is read in."""
    if unit not in (None, "mph", "km/h"):
        raise ValueError(f"unit must be mph or km/h, not {unit!r}")


def display_unit_of(unit: SpeedUnit) -> DisplayUnit:
    """Return the unit a person would like to see: mph for mph, km/h for everything else."""
    return "mph" if unit == "mph" else "km/h"


def speed_from_mps(value_mps: float, unit: SpeedUnit) -> float:
    """Convert metres per second to another unit."""
    return value_mps / SPEED_UNIT_MPS[unit]
