"""How numbers are written for people: units of the reader, as many decimals as the uncertainty supports, plurals.

Values are SI. ``fill("at {v_mps:speed}", {"v_mps": 26.8, "unit": "mph"})`` gives ``at 60 mph``; without a unit among
the values both are given, ``60 mph (97 km/h)``. The words after the colon:

``speed``, ``speed1``   a speed, whole or with one decimal
``n reading``           a count with its noun: ``1 reading``, ``3 readings``; ``n run is/runs are`` says both forms
``percent``, ``percent1``, ``percent2``   a share of one in per cent
``shift``               a clock offset: hours and minutes of the zone, and seconds
``signed``              with its sign and one decimal
``factor``              three decimals
``quoted``              in quotation marks, cut to forty characters
``and``, ``or``         a list: ``a, b and c``
``listed``              a mapping of name to count
``{--unit}``            an option of a drive: by its key where it is one of a job, by its label on the form
``{key vehicle tire axle}``   keys of a table of the job file, ``tire or axle in [vehicle]``; on the form their labels
``seconds``             seconds, minutes, hours or days, whichever a person would say
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from speedcal.statements import stated
from speedcal.units import INCH_M, MILE_M, SPEED_UNIT_MPS, DisplayUnit

if TYPE_CHECKING:
    from speedcal.interval import Interval

_MOST_QUOTED = 40
_HUGE = 1e6


class _Formatter(string.Formatter):
    """Formats the fields of one template; the unit of the reader comes from the values."""

    def __init__(self, unit: str | None, place: str | None) -> None:
        self._unit, self._place = unit, place

    def get_value(self, key: int | str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        if isinstance(key, str) and key.startswith("--"):
            return option(key, self._place)
        if isinstance(key, str) and key.startswith("key "):
            table, *names = key.split()[1:]
            return keys_named(table, names, self._place)
        return super().get_value(key, args, kwargs)

    def format_field(self, value: Any, format_spec: str) -> str:
        word, _, rest = format_spec.partition(" ")
        if word == "n":
            return counted(value, rest)
        if match := re.fullmatch(r"speed(\d?)", word):
            return speed(value, self._unit, digits=int(match[1] or 0))
        if word == "shift":
            zone, rest_s = zone_and_rest(value)
            return f"{zone}{short(rest_s, 0)} s"
        if match := re.fullmatch(r"percent(\d?)", word):
            return f"{100 * value:.{int(match[1] or 0)}f} %"
        if word in _SIMPLE:
            return _SIMPLE[word](value)
        return super().format_field(value, format_spec)  # type: ignore[no-any-return]


def fill(template: str, values: Mapping[str, Any]) -> str:
    """Return the template with its fields filled in."""
    return _Formatter(values.get("unit"), values.get("place")).vformat(template, (), values)


def option(name: str, place: str | None) -> str:
    """Return how an option of a drive is called: ``--unit`` for a command, by its key in a job, by its label else."""
    if place is None:
        return name
    key = {"clock-offset": "clock_offset_s"}.get(name.strip("-"), name.strip("-"))
    return keys_named("drive", [key], place) if place == "form" else f"{key} in {place}"


def keys_named(table: str, names: Sequence[str], place: str | None) -> str:
    """Return what to fill in: keys and their table in a job file, on the form the labels of those that it has."""
    if place != "form":
        return joined(names, "or") + ("" if table == "drive" else f" in [{table}]")
    known = stated(table)
    labels = (known.one_of.get(key.one_of, key).label for key in (known.keys[name.partition(".")[0]] for name in names))
    return joined((f"“{label}”" for label in labels if label), "or")


def speed(value_mps: float, unit: str | None, *, digits: int = 0) -> str:
    """Return a speed in the reader's unit, or in both where it is not known."""
    if unit is not None:
        return f"{short(value_mps / SPEED_UNIT_MPS[unit], digits)} {unit}"  # type: ignore[index]
    mph, kmh = (short(value_mps / SPEED_UNIT_MPS[word], digits) for word in ("mph", "km/h"))
    return f"{mph} mph ({kmh} km/h)"


def short(value: float, digits: int) -> str:
    """Return a number with so many decimals; one that no drive has in a few digits with its power of ten."""
    return with_minus(f"{value:.{digits}f}" if abs(value) < _HUGE else f"{value:.3g}")


def counted(count: int, noun: str) -> str:
    """Return a count with its noun: ``reading`` takes an s for more than one, ``run is/runs are`` says both forms."""
    one, _, many = noun.partition("/")
    return f"{count} {one if count == 1 else many or one + 's'}"


def quoted(value: object) -> str:
    """Return what was found, not longer than a person reads; a text in quotation marks."""
    text = str(value)
    text = text if len(text) <= _MOST_QUOTED else text[: _MOST_QUOTED - 1] + "…"
    return repr(text) if isinstance(value, str) else text


def joined(items: Iterable[object], last: str = "and") -> str:
    """Return ``a, b and c``."""
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def likely(probability: float) -> str:
    """Return a probability as a person would say it; never a certainty."""
    if probability > 0.995:
        return "over 99 %"
    return "under 1 %" if probability < 0.005 else f"{100 * probability:.0f} %"


def rolled(circumference_m: float, unit: str | None) -> str:
    """Return what a tire rolls in a turn as the reader's trade says it."""
    if unit == "mph":
        return f"{circumference_m / INCH_M:.1f} inches per turn ({MILE_M / circumference_m:.0f} turns per mile)"
    return f"{1000 * circumference_m:.0f} mm per turn"


def distance(distance_m: float, unit: str) -> str:
    """Write a length of road in the unit for people."""
    return f"{distance_m / MILE_M:.1f} miles" if unit == "mph" else f"{distance_m / 1000:.1f} km"


def span(seconds: float) -> str:
    """Return a time as a person would say it."""
    if abs(seconds) < 120:
        return f"{seconds:.0f} s"
    if abs(seconds) < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if abs(seconds) < 172800 else f"{seconds / 86400:.1f} days"


_QUARTER_S, _QUARTERS_A_DAY = 900, 96


def zone_and_rest(shift_s: float) -> tuple[str, float]:
    """Return the hours and minutes of a zone in words, empty where there are none, and the seconds beyond any zone.

    Whole days are left out: a clock without a date counts from a midnight, its offset holds the days since 1970.
    """
    quarters = round(shift_s / _QUARTER_S)
    rest_s = shift_s - quarters * _QUARTER_S
    quarters %= _QUARTERS_A_DAY
    if quarters > _QUARTERS_A_DAY // 2:
        quarters -= _QUARTERS_A_DAY
    sign = "−" if quarters < 0 else "+"
    return f"{sign}{abs(quarters) // 4}:{abs(quarters) % 4 * 15:02d} h and " if quarters else "", rest_s


def signed(value: float, decimals: int = 1) -> str:
    """Return a number with its sign, zero without one."""
    text = f"{value:+.{decimals}f}"
    return text[1:] if float(text) == 0 else with_minus(text)


def signed_interval(x: Interval, unit: str = "", decimals: int = 1) -> str:
    """Return a signed value with its unit and its 95 % interval."""
    return f"{signed(x.value, decimals)}{unit} ({signed(x.low, decimals)} to {signed(x.high, decimals)})"


def with_minus(number: str) -> str:
    """Return a number that is written already with the minus sign of print."""
    return number.replace("-", "−")


_SIMPLE: dict[str, Callable[[Any], str]] = {
    "factor": lambda value: f"{value:.3f}",
    "quoted": quoted,
    "and": joined,
    "or": lambda items: joined(items, "or"),
    "listed": lambda counts: ", ".join(f"{name} {count}" for name, count in sorted(counts.items())),
    "seconds": span,
    "signed": signed,
}


def chance(probability: float) -> str:
    """Return a probability in per cent, never as a certainty it is not; with a decimal where that decides."""
    if probability > 0.9995:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.0005 else f"{100 * probability:.{0 if 0.1 < probability < 0.9 else 1}f} %"


def other_unit(unit: DisplayUnit) -> DisplayUnit:
    """Return the other one of the two units."""
    return "km/h" if unit == "mph" else "mph"
