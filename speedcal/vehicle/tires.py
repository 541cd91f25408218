"""The size on a sidewall: reading every usual form, and the geometry that follows from it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from speedcal.errors import VehicleError
from speedcal.interval import tidy
from speedcal.units import INCH_M
from speedcal.vehicle.data import tire_facts

Form = Literal["metric", "flotation", "numeric", "old metric", "stated diameter"]

_CONSTRUCTION = r"(?:(?P<built>[SHVZ]?R(?:F)?|[DB]|-))"
_RIM = r"(?P<rim>\d{2}(?:\.5)?|\d{3})"
_GRAMMAR: tuple[tuple[Form, str], ...] = (
    (
        "metric",
        rf"(?P<service>P|LT|ST|T)?\s*(?P<width>\d{{3}})\s*[/ ]\s*(?P<aspect>\d{{2,3}})\s*{_CONSTRUCTION}\s*{_RIM}",
    ),
    (
        "flotation",
        rf"(?P<service>LT|P|ST)?\s*(?P<over>\d{{2}}(?:\.\d+)?)\s*X\s*(?P<width>\d{{1,2}}(?:\.\d+)?)\s*{_CONSTRUCTION}\s*{_RIM}",
    ),
    ("stated diameter", rf"(?P<width>\d{{3}})\s*-\s*(?P<over>\d{{3}})\s*{_CONSTRUCTION}\s*(?P<rim>\d{{3}})A?"),
    ("old metric", rf"(?P<service>P|LT)?\s*(?P<width>1[0-9]\d|2[0-9]\d)\s*{_CONSTRUCTION}\s*{_RIM}"),
    ("numeric", rf"(?P<width>\d{{1,2}}(?:\.\d{{1,2}})?)\s*{_CONSTRUCTION}\s*(?P<rim>\d{{2}}(?:\.5)?)"),
)
_MARKS = (
    r"XL|RF|SL|LL|HL|TL|TT|M\+S|M&S|EXTRA LOAD|REINFORCED|RUN FLAT|TUBELESS|"
    r"LOAD RANGE [A-N]|\d{1,2} ?PR|\d{1,2} ?PLY|[A-N]"
)
_TAIL = (
    r"\s*(?P<after>LT|ST|C|P)?"
    r"(?:[ ,]*(?P<load>\d{2,3}(?:/\d{2,3})?)?\s*(?P<speed>\(Y\)|[A-HJ-NP-Z]|A[1-8])?)??"
    rf"(?P<marks>(?:[ ,]*(?:{_MARKS})){{0,4}})\s*"
)
_LONGEST = 60
_EXAMPLES = "Write it as on the sidewall, such as 205/55R16, LT235/85R16, 31x10.50R15LT, 7.50R16LT or 165R15"


@dataclass(frozen=True, slots=True)
class TireSize:
    """A tire as its sidewall names it. Lengths follow exactly from the printed numbers."""

    text: str
    """The size as read, in the usual spelling."""
    form: Form
    service: str
    """P, LT, ST, T, C or empty."""
    is_radial: bool
    width_mm: Fraction
    aspect_percent: Fraction
    is_aspect_assumed: bool
    """True when the sidewall does not state the aspect and a default was taken."""
    rim_mm: Fraction
    diameter_mm: Fraction
    """Overall diameter, nominal, not under load."""
    load_index: str = ""
    speed_symbol: str = ""

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
            "rim_mm": tidy(float(self.rim_mm), 2),
            "section_height_mm": tidy(float(self.section_height_mm), 2),
            "nominal_diameter_mm": tidy(float(self.diameter_mm), 2),
            "nominal_diameter_in": tidy(self.diameter_m / INCH_M, 3),
            "load_index": self.load_index,
            "speed_symbol": self.speed_symbol,
        }

    def __str__(self) -> str:
        return self.text


def parse_tire_size(text: str, *, source: str = "") -> TireSize:
    """Read the size on a sidewall.

    Understood are P-metric, LT-metric and Euro-metric (``P215/65R15 95H``), flotation (``31x10.50R15LT``), numeric
    (``7.50R16LT``, ``11R22.5``), old metric (``165R15``) and sizes that state the overall diameter in mm
    (``235-710R460``). Geometry as in UN R30 paragraph 6.1: D = d + 2H, H = width x aspect / 100,
    d = rim code x 25.4 mm.

    Raises
    ------
    VehicleError
        The text is not a size in one of these forms, or no tire has such numbers.
    """
    plain = " ".join(text.upper().replace("×", "X").replace("”", "").replace('"', "").split())
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    for form, pattern in _GRAMMAR if len(plain) <= _LONGEST else ():
        match = re.fullmatch(pattern + _TAIL, plain)
        if match:
            return _build(form, match.groupdict(), text, source)
    raise VehicleError(f"tire size {text[:_LONGEST]!r} is not in a form we know", source=source, remedy=_EXAMPLES)


def _build(form: Form, part: dict[str, str | None], text: str, source: str) -> TireSize:
    built = part["built"] or "-"
    rim = Fraction(part["rim"] or "0")
    rim_mm = rim if rim > 100 else rim * Fraction("25.4")
    width = Fraction(part["width"] or "0")
    width_mm = width * Fraction("25.4") if form in ("flotation", "numeric") else width
    assumed = form in ("numeric", "old metric")
    if form in ("flotation", "stated diameter"):
        over = Fraction(part.get("over") or "0")
        diameter = over * Fraction("25.4") if form == "flotation" else over
        aspect = (diameter - rim_mm) / 2 / width_mm * 100 if width_mm else Fraction(0)
    else:
        aspect = Fraction(part["aspect"] or "0") if form == "metric" else _assumed_aspect(form, part["width"] or "")
        diameter = rim_mm + 2 * width_mm * aspect / 100
    service = part.get("service") or part["after"] or ""
    size = TireSize(
        text=_spelling(form, part),
        form=form,
        service=service,
        is_radial="R" in built,
        width_mm=width_mm,
        aspect_percent=aspect,
        is_aspect_assumed=assumed,
        rim_mm=rim_mm,
        diameter_mm=diameter,
        load_index=part["load"] or "",
        speed_symbol=part["speed"] or "",
    )
    if not (200 <= rim_mm <= 700 and 60 <= width_mm <= 500 and 15 <= aspect <= 120 and 350 <= diameter <= 1600):
        raise VehicleError(f"tire size {text!r} has numbers that no road tire has", source=source, remedy=_EXAMPLES)
    return size


def _assumed_aspect(form: Form, width: str) -> Fraction:
    inches = "numeric_ending_in_5" if width.endswith("5") else "numeric"
    name = "old_euro" if form == "old metric" else inches
    return Fraction(tire_facts()["aspect"][name]["percent"])


def _spelling(form: Form, part: dict[str, str | None]) -> str:
    built = "R" if "R" in (part["built"] or "-") else part["built"]
    rim, after = part["rim"], part["after"] or ""
    head = {
        "metric": f"{part.get('service') or ''}{part['width']}/{part.get('aspect')}",
        "flotation": f"{part.get('service') or ''}{part.get('over')}x{part['width']}",
        "stated diameter": f"{part['width']}-{part.get('over')}",
        "old metric": f"{part.get('service') or ''}{part['width']}",
        "numeric": f"{part['width']}",
    }[form]
    return f"{head}{built}{rim}{after}"
