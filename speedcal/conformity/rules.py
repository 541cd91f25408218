"""Reading tolerance rules: the presets of the data file, and your own."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from importlib import resources
from typing import Any, get_args

from speedcal.conformity.tolerance import Bound, Given, Limit, Quantity, Reference, Tolerance
from speedcal.errors import ToleranceError
from speedcal.tables import TableReader
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, display_unit_of, parse_speed_unit

_SHARED_KEYS = ("speeds", "unit", "confidence")
_PRESET_KEYS = ("rule", "max_speed", "full_scale", *_SHARED_KEYS)
_OWN_KEYS = (
    "name",
    "quantity",
    "given",
    "source",
    "note",
    "percent",
    "absolute",
    "low_percent",
    "low_absolute",
    "high_percent",
    "high_absolute",
    "never_low",
    "domain",
    *_SHARED_KEYS,
)
_CONFIDENCES = (0.5, 0.9999)


def load_tolerance(
    name_or_table: str | Mapping[str, Any], *, source: str = "", unit: DisplayUnit | None = None
) -> Tolerance:
    """Return a tolerance rule by its name, or from the ``[tolerance]`` table of a job.

    A table either names a preset (``rule = "un_r39_type"``) and may choose ``speeds``, ``confidence``, ``max_speed``
    (design speed of the vehicle, where the rule's test speeds depend on it) and ``full_scale`` (top of the dial), or
    is your own rule: ``percent`` and ``absolute`` (added to each other, as in UN R39), the same for one side
    with ``low_`` (how far it may read low) or ``high_`` in front, ``never_low = true``.

    Parameters
    ----------
    name_or_table
        Name of a preset, or a table.
    source
        File the table stands in, for messages.
    unit
        Unit of the numbers in the table when it does not say ``unit`` itself; the preset's own unit is the last resort.

    Raises
    ------
    ToleranceError
        Unknown rule or key, a value that cannot be used (every problem is listed), or a speed where the rule does
        not hold.

    Examples
    --------
    >>> import speedcal
    >>> speedcal.load_tolerance("us_393_82").title
    '49 CFR 393.82, bus, truck and truck-tractor'
    >>> own = speedcal.load_tolerance({"name": "our shop", "percent": 2.5, "never_low": True, "unit": "mph"})
    >>> [round(limit, 2) for limit in own.band(100.0)]
    [100.0, 102.5]
    """
    table = {"rule": name_or_table} if isinstance(name_or_table, str) else name_or_table
    preset = "rule" in table
    # a misspelt "rule" is told as such although an own rule has no such key
    reader = TableReader(table, _PRESET_KEYS if preset else ("rule", *_OWN_KEYS), where="[tolerance]")
    own_unit = _unit(reader) or unit
    confidence = reader.number("confidence", low=_CONFIDENCES[0], high=_CONFIDENCES[1])
    speeds = _speeds(reader, "speeds")
    try:
        rule = _preset(reader, own_unit) if preset else _own(reader, own_unit)
    except ToleranceError as error:
        raise ToleranceError(error.code, source=source, **error.values) from None
    reader.finish(source=source, kind=ToleranceError)
    if confidence is not None:
        other = replace(rule.other_unit, confidence=confidence) if rule.other_unit else None
        rule = replace(rule, confidence=confidence, other_unit=other)
    if speeds:
        factor = SPEED_UNIT_MPS[own_unit or rule.unit]
        rule = rule.in_unit(own_unit or rule.unit).at_speeds(tuple(v * factor for v in speeds))
    return rule


def tolerance_names() -> list[str]:
    """Return the names of the presets."""
    return sorted(name for name in _data() if name != "speed_classes")


def class_speeds(classes: str, max_speed_mps: float) -> tuple[float, ...]:
    """Return the test speeds of a rule for a vehicle's design maximum speed. [m/s].

    Parameters
    ----------
    classes
        Name of the class table, such as ``un_r39``.
    max_speed_mps
        Design maximum speed.
    """
    table = _data()["speed_classes"][classes]
    factor = SPEED_UNIT_MPS[display_unit_of(table["unit"])]
    top = max_speed_mps / factor
    row = next(row for row in table["classes"] if top <= row.get("up_to", math.inf) + 1e-9)
    speeds = [float(v) for v in row["fixed"]]
    if "share" in row and (shared := float(Fraction(row["share"])) * top) >= row["least"] - 1e-9:
        speeds.append(shared)
    return tuple(v * factor for v in speeds)


@lru_cache(maxsize=1)
def _data() -> dict[str, Any]:
    text = resources.files("speedcal").joinpath("data/tolerances.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _preset(reader: TableReader, unit: DisplayUnit | None) -> Tolerance:
    name = reader.table["rule"]
    if name not in tolerance_names():
        raise ToleranceError("unknown_rule", name=name, known=tolerance_names())
    entry = _data()[name]
    full_scale, top = reader.number("full_scale"), reader.number("max_speed")
    factor = SPEED_UNIT_MPS[unit or entry["unit"]]
    rule = _from_entry(name, entry, None if full_scale is None else full_scale * factor)
    if "other_unit" in entry:
        rule = replace(rule, other_unit=_from_entry(entry["other_unit"], _data()[entry["other_unit"]], None))
    if top is not None and "speed_classes" in entry:
        note = _data()["speed_classes"][entry["speed_classes"]]["note"]
        rule = replace(rule, speeds_mps=class_speeds(entry["speed_classes"], top * factor), speeds_note=note)
    elif top is not None:
        reader.problem("max_speed", f"the test speeds of {name} do not depend on it; leave it out")
    return rule


def _from_entry(name: str, entry: Mapping[str, Any], full_scale_mps: float | None) -> Tolerance:
    factor = SPEED_UNIT_MPS[display_unit_of(entry["unit"])]
    domain = entry.get("domain", [0, math.inf])
    return Tolerance(
        name=name,
        title=entry["title"],
        quantity=entry["quantity"],
        unit=entry["unit"],
        given=entry["given"],
        limits=tuple(_limit(row, factor, full_scale_mps, name) for row in entry["limits"]),
        speeds_mps=tuple(v * factor for v in entry.get("speeds", [])),
        domain_mps=(domain[0] * factor, domain[1] * factor),
        between=entry.get("between", False),
        source=entry["source"],
        status=entry["status"],
        note=entry.get("note", ""),
        speeds_note=entry.get("speeds_note", ""),
        reference=Reference(**entry["reference"]) if "reference" in entry else None,
    )


def _limit(row: Mapping[str, Any], factor: float, full_scale_mps: float | None, name: str) -> Limit:
    sides: dict[str, Bound | None] = {"low": None, "high": None}
    for side in sides:
        if side in row:
            parts = {key: float(Fraction(value)) for key, value in row[side].items()}
            add = parts.get("absolute", 0.0) * factor
            if "full_scale_percent" in parts:
                if full_scale_mps is None:
                    raise ToleranceError("full_scale_missing", rule=name)
                add += parts["full_scale_percent"] / 100 * full_scale_mps
            sides[side] = Bound(parts.get("factor", 1 + parts.get("percent", 0.0) / 100), add)
    low = row.get("at", row.get("from", 0)) * factor
    high = row.get("at", row.get("to", math.inf)) * factor
    return Limit(low, high, sides["low"], sides["high"])


def _own(reader: TableReader, unit: DisplayUnit | None) -> Tolerance:
    for key in reader.table:
        if unit is None and (key.endswith("absolute") or key in ("speeds", "domain")):
            reader.problem(key, 'has no unit; write unit = "mph" or unit = "km/h" as well')
    factor = SPEED_UNIT_MPS[unit or "mph"]
    both = {part: reader.number(part) for part in ("percent", "absolute")}
    low, high = (_own_bound(reader, side, sign, factor, both) for side, sign in (("low", -1), ("high", 1)))
    if _flag(reader, "never_low"):
        low = Bound(1.0, 0.0)
    if low is None and high is None and not reader.problems:
        raise ToleranceError("rule_limits_nothing")
    domain = _speeds(reader, "domain") or (0.0, math.inf)
    if len(domain) != 2 or domain[0] > domain[1]:
        reader.problem("domain", "needs two speeds, the lower first, such as [20, 80]")
        domain = (0.0, math.inf)
    name = reader.text("name")
    return Tolerance(
        name=name or "own_rule",
        title=name,
        quantity=reader.word("quantity", get_args(Quantity), "speed"),  # type: ignore[arg-type]
        unit=unit or "mph",
        given=reader.word("given", get_args(Given), "true"),  # type: ignore[arg-type]
        limits=(Limit(0.0, math.inf, low, high),),
        speeds_mps=(),
        domain_mps=(domain[0] * factor, domain[1] * factor),
        between=True,
        source=reader.text("source"),
        status="own rule",
        note=reader.text("note"),
    )


def _own_bound(
    reader: TableReader, side: str, sign: int, factor: float, both: Mapping[str, float | None]
) -> Bound | None:
    """Return one side; ``low_percent`` is how far it may read low, negative for "must read above"."""
    sizes = {}
    for part, shared in both.items():
        own = reader.number(f"{side}_{part}", low=-math.inf)
        if (value := shared if own is None else own) is not None:
            sizes[part] = sign * value
    return Bound(1 + sizes.get("percent", 0.0) / 100, sizes.get("absolute", 0.0) * factor) if sizes else None


def _unit(reader: TableReader) -> DisplayUnit | None:
    word = reader.text("unit")
    unit = parse_speed_unit(word) if word else None
    if unit in ("mph", "km/h"):
        return unit
    if word:
        reader.problem("unit", f'{word!r} should be "mph" or "km/h"')
    return None


def _flag(reader: TableReader, key: str) -> bool:
    value = reader.table.get(key, False)
    if not isinstance(value, bool):
        reader.problem(key, f"{value!r} should be true or false")
    return value is True


def _speeds(reader: TableReader, key: str) -> tuple[float, ...]:
    values = reader.table.get(key)
    if values is None:
        return ()
    numbers = isinstance(values, list | tuple) and all(type(v) in (int, float) and 0 <= v < 1000 for v in values)
    if not numbers or not values or (key == "speeds" and min(values) <= 0):
        reader.problem(key, f"{values!r} should be a list of speeds such as [30, 50]")
        return ()
    return tuple(float(v) for v in values)
