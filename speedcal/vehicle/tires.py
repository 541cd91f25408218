"""The size on a sidewall: reading every usual form, and the geometry that follows from it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from speedcal.errors import VehicleError
from speedcal.interval import tidy
from speedcal.units import INCH_M
from speedcal.vehicle.data import facts

Form = Literal["metric", "flotation", "numeric", "old metric", "stated diameter", "letter", "motorcycle"]
Basis = Literal["printed", "tabulated", "equivalent", "aspect_assumed"]

_CONSTRUCTION = r"(?:(?P<built>[SHVZ]?R(?:F)?|[DB]|-))"
_RIM = r"(?P<rim>\d{2}(?:\.5)?|\d{3})"
_GRAMMAR: tuple[tuple[Form, str], ...] = (
    ("stated diameter", rf"(?P<width>\d{{3}})\s*-\s*(?P<over>\d{{3}})\s*{_CONSTRUCTION}\s*(?P<rim>\d{{3}})A?"),
    (
        "metric",
        rf"(?P<service>P|LT|ST|T)?\s*(?P<width>\d{{2,3}})\s*[-/ ]\s*(?P<aspect>\d{{2,3}})\s*{_CONSTRUCTION}\s*{_RIM}",
    ),
    (
        "flotation",
        rf"(?P<service>LT|P|ST)?\s*(?P<over>\d{{2}}(?:\.\d+)?)\s*X\s*(?P<width>\d{{1,2}}(?:\.\d+)?)\s*{_CONSTRUCTION}\s*{_RIM}",
    ),
    ("old metric", rf"(?P<service>P|LT)?\s*(?P<width>1[0-9]\d|2[0-9]\d)\s*{_CONSTRUCTION}\s*{_RIM}"),
    ("letter", rf"(?P<letter>[A-HJLN])(?P<belted>R)?\s*(?P<aspect>78|70|60|50)\s*{_CONSTRUCTION}\s*(?P<rim>1[3-6])"),
    ("motorcycle", r"(?P<letter>M[HJMNRTUV])\s*(?P<aspect>85|90)\s*(?P<built>[BR-])?\s*(?P<rim>1[5-9]|2[01])"),
    ("numeric", rf"(?P<width>\d{{1,2}}(?:\.\d{{1,2}})?)\s*{_CONSTRUCTION}\s*(?P<rim>\d{{2}}(?:\.5)?)"),
)
_MARKS = (
    r"XL|RF|SL|LL|HL|TL|TT|M/C|M\+S|M&S|EXTRA LOAD|REINFORCED|RUN FLAT|TUBELESS|TUBE TYPE|FRONT|REAR|"
    r"LOAD RANGE [A-N]|L\.?R\.? ?[A-N]|/[A-N]|\([A-N]\)|\d{1,2} ?PR|\d{1,2} ?PLY|[A-N]"
)
_TAIL = (
    r"\s*(?P<after>LT|ST|MH|C|P)?"
    r"(?:[ ,]*(?P<load>\(?\d{2,3}(?:/\d{2,3})?)?\s*(?P<speed>\(Y\)|[A-HJ-NP-WYZ]\)?|A[1-8])?)??"
    rf"(?P<marks>(?:[ ,]*(?:{_MARKS})){{0,4}})\s*"
)
_LONGEST = 60
"""Letters of a size; a longer text is none."""
_TUBELESS_RIMS = ("14.5", "17.5", "19.5", "22.5", "24.5")
_NARROW_IN, _TRUCK_RIM_IN, _LOW_SECTION_RIM_IN, _FARM_RIM_IN = Fraction("5.6"), 16, Fraction("16.5"), 24
"""What tells old car, truck, tractor and motorcycle tires of numeric sizes apart. From memory."""


@dataclass(frozen=True, slots=True)
class TireSize:
    """A tire as its sidewall names it. Lengths follow exactly from the printed numbers where those say enough."""

    text: str
    """The size as read, in the usual spelling."""
    form: Form
    service: str
    """P, LT, ST, T, C or empty."""
    is_radial: bool
    width_mm: Fraction
    aspect_percent: Fraction
    rim_mm: Fraction
    diameter_mm: Fraction
    """Overall diameter, nominal, not under load."""
    basis: Basis = "printed"
    """How the diameter was found: from the printed numbers, a table, sizes of the same use, or an assumed aspect."""
    spread_percent: float = 0.0
    """Half width of the interval of the diameter for that reason. [%]"""
    source: str = ""
    """Where the table or the aspect comes from; empty for printed numbers."""
    status: str = ""
    load_index: str = ""
    speed_symbol: str = ""

    @property
    def is_aspect_assumed(self) -> bool:
        """True when the sidewall does not state how high the tire is."""
        return self.basis != "printed"

    @property
    def section_height_mm(self) -> Fraction:
        """Height of the sidewall, H = (D - d)/2. [mm]."""
        return (self.diameter_mm - self.rim_mm) / 2

    @property
    def diameter_m(self) -> float:
        """Overall diameter, nominal. [m]."""
        return float(self.diameter_mm) / 1000

    def to_dict(self) -> dict[str, Any]:
        """Return the printed size and its nominal geometry, ready for JSON."""
        return {
            "size": self.text,
            "form": self.form,
            "construction": "radial" if self.is_radial else "bias",
            "section_width_mm": tidy(float(self.width_mm), 2),
            "aspect_percent": tidy(float(self.aspect_percent), 1),
            "aspect_assumed": self.is_aspect_assumed,
            "diameter_from": self.basis,
            "rim_mm": tidy(float(self.rim_mm), 2),
            "section_height_mm": tidy(float(self.section_height_mm), 2),
            "nominal_diameter_mm": tidy(float(self.diameter_mm), 2),
            "nominal_diameter_in": tidy(self.diameter_m / INCH_M, 3),
            "load_index": self.load_index,
            "speed_symbol": self.speed_symbol,
        }

    def __str__(self) -> str:
        return self.text


def parse_tire_size(text: str) -> TireSize:
    """Read the size on a sidewall.

    Understood are P-metric, LT-metric and Euro-metric (``P215/65R15 95H``, ``205-55-16``), flotation
    (``31x10.50R15LT``), numeric (``7.50R16LT``, ``9.00-20``, ``11R22.5``), letter (``G78-15``), motorcycle
    (``MT90B16``, ``130/90-16``), old metric (``165R15``) and sizes that state the overall diameter in mm
    (``235-710R460``). Geometry as in UN R30 paragraph 6.1: D = d + 2H, H = width x aspect / 100,
    d = rim code x 25.4 mm; where the sidewall does not say enough, from the tables of ``tires.toml``.

    Raises
    ------
    VehicleError
        The text is not a size in one of these forms, or no tire has such numbers.
    """
    plain = " ".join(text.upper().replace("×", "X").replace("”", "").replace('"', "").replace("–", "-").split())
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    plain = re.sub(r"^(\d{3})-(\d{2})-(\d{2})(?!\d)", r"\1/\2-\3", plain)
    for form, pattern in _GRAMMAR if len(plain) <= _LONGEST else ():
        match = re.fullmatch(pattern + _TAIL, plain)
        if match:
            return _checked(_build(form, {name: value or "" for name, value in match.groupdict().items()}), text)
    raise VehicleError("unknown_tire_size", size=text[:_LONGEST])


def _checked(size: TireSize, text: str) -> TireSize:
    usual = (
        200 <= size.rim_mm <= 700
        and 50 <= size.width_mm <= 500
        and 15 <= size.aspect_percent <= 120
        and 350 <= size.diameter_mm <= 1600
    )
    if not usual:
        raise VehicleError("impossible_tire_size", size=text[:_LONGEST])
    return size


def _build(form: Form, part: Mapping[str, str]) -> TireSize:
    rim = Fraction(part["rim"])
    common: dict[str, Any] = {
        "text": _spelling(form, part),
        "form": form,
        "service": part.get("service") or part["after"],
        "is_radial": "R" in (part["built"] or "-") or bool(part.get("belted")),
        "rim_mm": rim if rim > 100 else rim * Fraction("25.4"),
        "load_index": part["load"].strip("("),
        "speed_symbol": part["speed"] if part["speed"] == "(Y)" else part["speed"].strip(")"),
    }
    if form in ("numeric", "letter"):
        return _tabulated(form, part, common)
    if form == "motorcycle":
        metric = facts("tires")["motorcycle"]
        width, aspect = (Fraction(word) for word in metric["codes"][_motorcycle_code(part)].split("/"))
        return _by_aspect(common, width, aspect)
    width = Fraction(part["width"])
    if form == "metric":
        return _by_aspect(common, width, Fraction(part["aspect"]))
    if form == "old metric":
        return _by_rule(common, width, "old_euro")
    over = Fraction(part["over"])
    if form == "stated diameter":
        return _by_diameter(common, width, over)
    loose = facts("tires")["flotation"]
    return _by_diameter(
        common,
        width * Fraction("25.4"),
        over * Fraction("25.4"),
        spread_percent=100 * loose["spread_in"] / float(over or 1),  # none has no size, and is refused
        source=loose["source"],
        status=loose["status"],
    )


def _motorcycle_code(part: Mapping[str, str]) -> str:
    code = part["letter"] + part["aspect"]
    return code if code in facts("tires")["motorcycle"]["codes"] else part["letter"] + "90"


def _by_aspect(common: Mapping[str, Any], width_mm: Fraction, aspect: Fraction, **more: Any) -> TireSize:
    diameter = common["rim_mm"] + 2 * width_mm * aspect / 100
    return TireSize(**common, width_mm=width_mm, aspect_percent=aspect, diameter_mm=diameter, **more)


def _by_diameter(common: Mapping[str, Any], width_mm: Fraction, diameter_mm: Fraction, **more: Any) -> TireSize:
    aspect = (diameter_mm - common["rim_mm"]) / 2 / width_mm * 100 if width_mm else Fraction(0)
    return TireSize(**common, width_mm=width_mm, aspect_percent=aspect, diameter_mm=diameter_mm, **more)


def _by_rule(common: Mapping[str, Any], width_mm: Fraction, name: str) -> TireSize:
    rule = facts("tires")["aspect"][name]
    aspect = Fraction(rule["percent"])
    diameter = common["rim_mm"] + 2 * width_mm * aspect / 100
    return _by_aspect(
        common,
        width_mm,
        aspect,
        basis="aspect_assumed",
        spread_percent=float(2 * width_mm * rule["points"] / diameter) if diameter else 0.0,
        source=rule["source"],
        status=rule["status"],
    )


def _tabulated(form: Form, part: Mapping[str, str], common: Mapping[str, Any]) -> TireSize:
    """Return a size whose sidewall does not state its height: from a table, a chart of equivalents, or a rule."""
    name = _table_name(form, part)
    letter = form == "letter"
    width_mm = _letter_width(part) if letter else Fraction(part["width"]) * Fraction("25.4")
    for table in facts("tires")["table"]:
        for known in (f"{name}C" if common["service"] in ("LT", "C") else name, name):
            if known in table["diameter_mm"]:
                return _by_diameter(
                    common, width_mm, Fraction(str(table["diameter_mm"][known])), basis="tabulated", **_origin(table)
                )
    same = facts("tires")["equivalent"]
    # the charts speak of the letter, whatever the construction
    if (key := name.replace("R", "-")) in same["sizes"]:
        return _by_equivalents(common, width_mm, same["sizes"][key], same)
    if letter:
        return _by_aspect(
            common, width_mm, Fraction(_letter_aspect(part)), basis="equivalent", **_origin(facts("tires")["letter"])
        )
    return _by_rule(common, width_mm, _numeric_rule(part, common))


def _origin(table: Mapping[str, Any]) -> dict[str, Any]:
    return {name: table[name] for name in ("spread_percent", "source", "status")}


def _by_equivalents(
    common: Mapping[str, Any], width_mm: Fraction, sizes: tuple[str, ...], chart: Mapping[str, Any]
) -> TireSize:
    across = [parse_tire_size(size).diameter_mm for size in sizes]
    middle = (min(across) + max(across)) / 2
    spread = float((max(across) - min(across)) / 2 / middle) * 100 + chart["spread_percent"]
    origin = {**_origin(chart), "spread_percent": spread}
    return _by_diameter(common, width_mm, middle, basis="equivalent", **origin)


def _table_name(form: Form, part: Mapping[str, str]) -> str:
    built = "R" if "R" in part["built"] else "-"
    if form == "letter":
        return f"{part['letter']}{part['aspect']}-{part['rim']}"
    width = Fraction(part["width"])
    return f"{float(width):.2f}{built}{part['rim']}"


def _letter_width(part: Mapping[str, str]) -> Fraction:
    return Fraction(facts("tires")["letter"][f"width_{part['aspect']}"][part["letter"]])


def _letter_aspect(part: Mapping[str, str]) -> int:
    return 75 if part["aspect"] == "78" else int(part["aspect"])


def _numeric_rule(part: Mapping[str, str], common: Mapping[str, Any]) -> str:
    rim, width = Fraction(part["rim"]), Fraction(part["width"])
    if rim == _LOW_SECTION_RIM_IN:
        return "low_section"
    if part["rim"] in _TUBELESS_RIMS:
        return "truck_tubeless"
    if rim >= _FARM_RIM_IN and width.denominator > 1:
        return "farm"
    if width < _NARROW_IN and rim >= _TRUCK_RIM_IN:
        return "motorcycle"
    if rim >= _TRUCK_RIM_IN or common["service"] in ("LT", "C"):
        return "truck"
    return "numeric" if f"{float(width):.2f}".endswith("0") else "numeric_ending_in_5"


def _spelling(form: Form, part: Mapping[str, str]) -> str:
    built = "R" if "R" in part["built"] else part["built"] or "-"
    rim, after, service = part["rim"], part["after"], part.get("service") or ""
    if form == "letter":
        return f"{part['letter']}{part.get('belted') or ''}{part['aspect']}{built}{rim}{after}"
    if form == "motorcycle":
        return f"{part['letter']}{part['aspect']}{built}{rim}"
    head = {
        "metric": f"{service}{part['width']}/{part.get('aspect')}",
        "flotation": f"{service}{part.get('over')}x{part['width']}",
        "stated diameter": f"{part['width']}-{part.get('over')}",
        "old metric": f"{service}{part['width']}",
        "numeric": part["width"],
    }[form]
    return f"{head}{built}{rim}{after}"
