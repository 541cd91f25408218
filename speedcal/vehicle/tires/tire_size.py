"""The size on a sidewall: reading every usual form, and the geometry that follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from speedcal.errors import VehicleError
from speedcal.interval import tidy
from speedcal.units import INCH_M
from speedcal.vehicle.tires.section_heights import Basis, Geometry, geometry, is_farm_numeric
from speedcal.vehicle.tires.sidewall import LONGEST, Form, read_sidewall

_FARM_RIM_MM, _FARM_DIAMETER_MM = Fraction("609.6"), 1000
"""Rim of 24 in and height from which a metric size is a tractor's. From memory."""
_TRUCK_METRIC = Fraction(325), Fraction(95)
"""325/95R24: a truck's tire among those of tractors. From memory."""


@dataclass(frozen=True, slots=True)
class TireSize:
    """A tire as its sidewall names it. Lengths follow exactly from the printed numbers where those say enough."""

    text: str
    """The size as read, in the usual spelling."""
    form: Form
    service: str
    """P, LT, ST, T, AT, IF, VF, C or empty."""
    is_radial: bool
    width_mm: Fraction
    rim_mm: Fraction
    diameter_mm: Fraction
    """Overall diameter, nominal, not under load."""
    is_tractor: bool = False
    """A lugged tire of a driven farm wheel, which rolls less for its diameter."""
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
    def aspect_percent(self) -> Fraction:
        """Height of the section over its width. [%]."""
        return 50 * (self.diameter_mm - self.rim_mm) / self.width_mm

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

    Understood are P-metric, LT-metric and Euro-metric (``P215/65R15 95H``), flotation (``31x10.50R15LT``), numeric
    (``7.50R16LT``, ``9.00-20``, ``11R22.5``), letter (``G78-15``), motorcycle (``MT90B16``, ``130/90-16``), farm
    (``16.9-38``, ``IF 710/70R42``, ``11L-15``, ``12.5/80-18``), old metric (``165R15``), high-pressure (``30x3.5``)
    and sizes that state the overall diameter in mm (``235-710R460``), also as people write them (``750-16``,
    ``235/75/15``, ``31-10.50-15``). Geometry as in UN R30 paragraph 6.1: D = d + 2H, H = width x aspect / 100,
    d = rim code x 25.4 mm; where the sidewall does not say enough, from the tables of ``tires.toml``.

    Raises
    ------
    VehicleError
        The text is not a size in one of these forms, or no tire has such numbers.
    """
    found = read_sidewall(text)
    if found is None:
        raise VehicleError("unknown_tire_size", size=text[:LONGEST])
    return _checked(_build(*found), text)


def _checked(size: TireSize, text: str) -> TireSize:
    usual = (
        100 <= size.rim_mm <= 1400
        and 50 <= size.width_mm <= 1300
        and 15 <= size.aspect_percent <= 120
        and 350 <= size.diameter_mm <= 2500
        and (size.form != "numeric" or size.width_mm <= Fraction("1.35") * size.rim_mm)
    )
    if not usual:
        raise VehicleError("impossible_tire_size", size=text[:LONGEST])
    return size


def _build(form: Form, part: Mapping[str, str]) -> TireSize:
    known = geometry(form, part)
    return TireSize(
        text=_spelling(form, part),
        form=form,
        service=part.get("service") or part["after"],
        is_radial="R" in (part.get("built") or "-") or bool(part.get("belted")),
        is_tractor=_is_tractor(form, part, known),
        width_mm=known.width_mm,
        rim_mm=known.rim_mm,
        diameter_mm=known.diameter_mm,
        basis=known.basis,
        spread_percent=known.spread_percent,
        source=known.source,
        status=known.status,
        load_index=part["load"],
        speed_symbol=part["speed"],
    )


def _is_tractor(form: Form, part: Mapping[str, str], known: Geometry) -> bool:
    """Tell whether a tire has lugs and rolls as those of driven farm wheels do."""
    if form == "numeric":
        return is_farm_numeric(part)
    truck = (known.width_mm, known.aspect_percent) == _TRUCK_METRIC
    high = known.rim_mm >= _FARM_RIM_MM and known.diameter_mm >= _FARM_DIAMETER_MM and not truck
    return part.get("service") in ("IF", "VF") or (form in ("metric", "numeric with aspect") and high)


def _spelling(form: Form, part: Mapping[str, str]) -> str:
    built = part.get("built") or "-"
    built = "R" if "R" in built else built
    rim, after, service = part.get("rim") or part.get("rim_mm"), part["after"], part.get("service") or ""
    if form == "letter":
        return f"{part['letter']}{part.get('belted') or ''}{part['aspect']}{built}{rim}{after}"
    if form == "motorcycle":
        return f"{part['letter']}{part['aspect']}{built}{rim}"
    if form == "high pressure":
        return f"{part['over']}x{part['width']}"
    head = {
        "metric": f"{service}{part['width']}/{part.get('aspect')}",
        "flotation": f"{service}{part.get('over')}x{part['width']}",
        "stated diameter": f"{part['width']}-{part.get('over')}",
        "old metric": f"{service}{part['width']}",
        "numeric": f"{part['width']}{part.get('low') or ''}",
        "numeric with aspect": f"{part['width']}/{part.get('aspect')}",
    }[form]
    return f"{head}{built}{rim}{after}"
