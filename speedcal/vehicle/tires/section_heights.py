"""How high a tire is: from the printed numbers where they say it, else from tables, charts and rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from speedcal.vehicle.data import facts
from speedcal.vehicle.tires.sidewall import Form, read_sidewall

Basis = Literal["printed", "tabulated", "equivalent", "aspect_assumed"]

_INCH_MM = Fraction("25.4")
_TUBELESS_RIMS = ("17.5", "19.5", "22.5", "24.5")
_LOADER_RIMS = ("25", "29", "33", "35")
_NARROW_IN, _TRUCK_RIM_IN, _LOW_SECTION_RIM_IN = Fraction("5.6"), 16, Fraction("16.5")
_FARM_RIM_IN, _WIDE_TUBELESS_IN, _GRADER_RIMS = 24, 13, ("18", "20")
"""What tells old car, truck, tractor, loader and motorcycle tires of numeric sizes apart. From memory."""


@dataclass(frozen=True, slots=True)
class Geometry:
    """Width, rim and height of a tire, and how the height was found."""

    width_mm: Fraction
    rim_mm: Fraction
    diameter_mm: Fraction
    basis: Basis = "printed"
    spread_percent: float = 0.0
    """Half width of the interval of the diameter for that reason. [%]"""
    source: str = ""
    status: str = ""

    @property
    def aspect_percent(self) -> Fraction:
        """Height of the section over its width. [%]."""
        return 50 * (self.diameter_mm - self.rim_mm) / self.width_mm if self.width_mm else Fraction(0)


def geometry(form: Form, part: Mapping[str, str]) -> Geometry:
    """Return how high a tire is.

    Parameters
    ----------
    form, part
        As read by :func:`speedcal.vehicle.tires.sidewall.read_sidewall`.
    """
    if form in ("numeric", "letter"):
        return _unprinted(form, part)
    rim_mm = _rim_mm(part)
    if form == "motorcycle":
        width, aspect = (Fraction(word) for word in _motorcycle_metric(part).split("/"))
        return _by_aspect(width, rim_mm, aspect)
    width = Fraction(part["width"])
    if form == "metric":
        return _by_aspect(width, rim_mm, Fraction(part["aspect"]))
    if form == "numeric with aspect":
        return _by_aspect(width * _INCH_MM, rim_mm, Fraction(part["aspect"]))
    if form == "old metric":
        return _by_rule(width, rim_mm, "old_euro")
    over = Fraction(part["over"])
    if form == "stated diameter":
        return Geometry(width, rim_mm, over)
    if form == "high pressure":  # 30x3.5: what is left between the two sections is the rim
        loose = facts("tires")["high_pressure"]
        return Geometry(width * _INCH_MM, (over - 2 * width) * _INCH_MM, over * _INCH_MM, **_origin(loose))
    loose = facts("tires")["flotation"]
    return Geometry(
        width * _INCH_MM,
        rim_mm,
        over * _INCH_MM,
        spread_percent=100 * loose["spread_in"] / float(over or 1),  # none has no size, and is refused
        source=loose["source"],
        status=loose["status"],
    )


def is_farm_numeric(part: Mapping[str, str]) -> bool:
    """Tell whether a numeric size is one of driven farm wheels, such as 16.9-38 or 28L-26."""
    has_tenths = Fraction(part["width"]).denominator > 1
    return (
        Fraction(part["rim"]) >= _FARM_RIM_IN
        and part["rim"] not in _LOADER_RIMS
        and (has_tenths or bool(part.get("low")))
    )


def _rim_mm(part: Mapping[str, str]) -> Fraction:
    if part.get("rim_mm"):
        return Fraction(part["rim_mm"])
    return Fraction(part.get("rim") or 0) * _INCH_MM


def _motorcycle_metric(part: Mapping[str, str]) -> str:
    codes = facts("tires")["motorcycle"]["codes"]
    code = part["letter"] + part["aspect"]
    return str(codes[code if code in codes else part["letter"] + "90"])


def _by_aspect(width_mm: Fraction, rim_mm: Fraction, aspect: Fraction, **more: Any) -> Geometry:
    return Geometry(width_mm, rim_mm, rim_mm + 2 * width_mm * aspect / 100, **more)


def _by_rule(width_mm: Fraction, rim_mm: Fraction, name: str) -> Geometry:
    rule = facts("tires")["aspect"][name]
    diameter = rim_mm + 2 * width_mm * rule["percent"] / 100
    return Geometry(
        width_mm,
        rim_mm,
        diameter,
        basis="aspect_assumed",
        spread_percent=float(2 * width_mm * rule["points"] / diameter) if diameter else 0.0,
        source=rule["source"],
        status=rule["status"],
    )


def _unprinted(form: Form, part: Mapping[str, str]) -> Geometry:
    """Return a size whose sidewall does not state its height: from a table, a chart of equivalents, or a rule."""
    name, rim_mm = _table_name(form, part), _rim_mm(part)
    letter = form == "letter"
    if letter:
        width_mm = Fraction(facts("tires")["letter"][f"width_{part['aspect']}"][part["letter"]])
    else:
        width_mm = Fraction(part["width"]) * _INCH_MM
    for table in facts("tires")["table"]:
        for known in (f"{name}C" if part["after"] in ("LT", "C") else name, name):
            if known in table["diameter_mm"]:
                return Geometry(
                    width_mm, rim_mm, Fraction(str(table["diameter_mm"][known])), basis="tabulated", **_origin(table)
                )
    same, farm = facts("tires")["equivalent"], facts("tires")["farm_equivalent"]
    # the charts speak of the letter, whatever the construction
    if (key := name.replace("R", "-")) in same["sizes"]:
        return _by_equivalents(width_mm, rim_mm, same["sizes"][key], same)
    if not letter and part["width"] in farm["widths"] and is_farm_numeric(part):
        sizes = [f"{metric}R{part['rim']}" for metric in farm["widths"][part["width"]]]
        return _by_equivalents(width_mm, rim_mm, sizes, farm)
    if letter:
        aspect = Fraction(75 if part["aspect"] == "78" else part["aspect"])
        return _by_aspect(width_mm, rim_mm, aspect, basis="equivalent", **_origin(facts("tires")["letter"]))
    return _by_rule(width_mm, rim_mm, _numeric_rule(part))


def _origin(table: Mapping[str, Any]) -> dict[str, Any]:
    return {name: table[name] for name in ("spread_percent", "source", "status")}


def _by_equivalents(width_mm: Fraction, rim_mm: Fraction, sizes: Sequence[str], chart: Mapping[str, Any]) -> Geometry:
    across = [geometry(*found).diameter_mm for size in sizes if (found := read_sidewall(size))]
    middle = (min(across) + max(across)) / 2
    spread = float((max(across) - min(across)) / 2 / middle) * 100 + chart["spread_percent"]
    return Geometry(width_mm, rim_mm, middle, basis="equivalent", **{**_origin(chart), "spread_percent": spread})


def _table_name(form: Form, part: Mapping[str, str]) -> str:
    if form == "letter":
        return f"{part['letter']}{part['aspect']}-{part['rim']}"
    built = "R" if "R" in part["built"] and not part.get("low") else "-"
    return f"{float(part['width']):.2f}{part.get('low') or ''}{built}{part['rim']}"


def _numeric_rule(part: Mapping[str, str]) -> str:
    rim, width = Fraction(part["rim"]), Fraction(part["width"])
    has_tenths = len(part["width"].partition(".")[2]) == 1  # 12.5-18 of a loader, not 8.25-20 of a truck
    if part.get("low"):
        return "low_farm"
    if rim == _LOW_SECTION_RIM_IN:
        return "low_section"
    if width >= _WIDE_TUBELESS_IN and (part["rim"] in _TUBELESS_RIMS or "." not in part["width"]):
        return "wide_tubeless"
    if part["rim"] in _TUBELESS_RIMS:
        return "truck_tubeless"
    if has_tenths and (part["rim"] in _LOADER_RIMS or part["rim"] in _GRADER_RIMS):
        return "loader"
    return _by_use(rim, width, part)


def _by_use(rim: Fraction, width: Fraction, part: Mapping[str, str]) -> str:
    if is_farm_numeric(part):
        return "farm"
    if width < _NARROW_IN and rim >= _TRUCK_RIM_IN:
        return "motorcycle"
    if rim >= _TRUCK_RIM_IN or part["after"] in ("LT", "C"):
        return "truck"
    return "numeric" if f"{float(width):.2f}".endswith("0") else "numeric_ending_in_5"
