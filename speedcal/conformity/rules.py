"""Reading tolerance rules: the presets of the data file, and your own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from speedcal.conformity.tolerance import Bound, Limit, Reference, Tolerance
from speedcal.errors import Problem, ToleranceError
from speedcal.schema import TableReader
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, display_unit_of
from speedcal.vehicle.data import facts

_IN_A_UNIT = {"absolute", "low_absolute", "high_absolute", "speeds", "domain", "max_speed", "full_scale"}
"""Keys that are nothing without a unit."""


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
        Unit of the numbers in the table when it does not say ``unit`` itself; without either, numbers are refused.

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
    reader = TableReader(table, "tolerance", part="named" if preset else "own")
    own_unit = reader.get("unit") or unit
    for key in reader.values:
        if own_unit is None and key in _IN_A_UNIT:
            reader.problem("unit_missing", key)
    confidence, speeds = reader.get("confidence"), reader.get("speeds")
    rule = _preset(reader, own_unit) if preset else _own(reader, own_unit)
    reader.finish(source=source, kind=ToleranceError)
    assert rule is not None  # noqa: S101 - otherwise there is a problem
    if confidence is not None:
        other = replace(rule.other_unit, confidence=confidence) if rule.other_unit else None
        rule = replace(rule, confidence=confidence, other_unit=other)
    if speeds and own_unit:
        rule = rule.in_unit(own_unit).at_speeds(tuple(v * SPEED_UNIT_MPS[own_unit] for v in speeds))
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


def _data() -> Mapping[str, Any]:
    return facts("tolerances")


def _preset(reader: TableReader, unit: DisplayUnit | None) -> Tolerance | None:
    name = reader.get("rule", "")
    if name not in tolerance_names():
        reader.problem("unknown_rule", "rule", name=name, known=tolerance_names())
        return None
    entry = _data()[name]
    full_scale, top = reader.get("full_scale"), reader.get("max_speed")
    if full_scale is None and _needs_full_scale(entry):
        reader.problem("full_scale_missing", "full_scale", rule=name)
        return None
    factor = SPEED_UNIT_MPS[unit or entry["unit"]]
    rule = _from_entry(name, entry, None if full_scale is None else full_scale * factor)
    if "other_unit" in entry:
        rule = replace(rule, other_unit=_from_entry(entry["other_unit"], _data()[entry["other_unit"]], None))
    if top is not None and "speed_classes" in entry:
        note = _data()["speed_classes"][entry["speed_classes"]]["note"]
        rule = replace(rule, speeds_mps=class_speeds(entry["speed_classes"], top * factor), speeds_note=note)
    elif top is not None:
        reader.problem("max_speed_not_needed", "max_speed", rule=name)
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
        limits=tuple(_limit(row, factor, full_scale_mps) for row in entry["limits"]),
        speeds_mps=tuple(v * factor for v in entry.get("speeds", [])),
        domain_mps=(domain[0] * factor, domain[1] * factor),
        between=entry.get("between", False),
        source=entry["source"],
        status=entry["status"],
        note=entry.get("note", ""),
        speeds_note=entry.get("speeds_note", ""),
        reference=Reference(**entry["reference"]) if "reference" in entry else None,
    )


def _needs_full_scale(entry: Mapping[str, Any]) -> bool:
    return any("full_scale_percent" in row.get(side, {}) for row in entry["limits"] for side in ("low", "high"))


def _limit(row: Mapping[str, Any], factor: float, full_scale_mps: float | None) -> Limit:
    sides: dict[str, Bound | None] = {"low": None, "high": None}
    for side in sides:
        if side in row:
            parts = {key: float(Fraction(value)) for key, value in row[side].items()}
            add = parts.get("absolute", 0.0) * factor
            if "full_scale_percent" in parts:
                add += parts["full_scale_percent"] / 100 * (full_scale_mps or math.nan)
            sides[side] = Bound(parts.get("factor", 1 + parts.get("percent", 0.0) / 100), add)
    low = row.get("at", row.get("from", 0)) * factor
    high = row.get("at", row.get("to", math.inf)) * factor
    return Limit(low, high, sides["low"], sides["high"])


def _own(reader: TableReader, unit: DisplayUnit | None) -> Tolerance | None:
    factor = SPEED_UNIT_MPS[unit or "mph"]
    low, high = (_own_bound(reader, side, sign, factor) for side, sign in (("low", -1), ("high", 1)))
    if reader.get("never_low"):
        low = Bound(1.0, 0.0)
    if low is None and high is None:
        if not reader.problems:
            reader.problems.append(Problem("rule_limits_nothing", table="tolerance"))
        return None
    domain = reader.get("domain", (0.0, math.inf))
    name = reader.get("name", "")
    return Tolerance(
        name=name or "own_rule",
        title=name,
        quantity=reader.get("quantity", "speed"),
        unit=unit or "mph",
        given=reader.get("given", "true"),
        limits=(Limit(0.0, math.inf, low, high),),
        speeds_mps=(),
        domain_mps=(domain[0] * factor, domain[1] * factor),
        between=True,
        source=reader.get("source", ""),
        status="own rule",
        note=reader.get("note", ""),
    )


def _own_bound(reader: TableReader, side: str, sign: int, factor: float) -> Bound | None:
    """Return one side; ``low_percent`` is how far it may read low, negative for "must read above"."""
    sizes = {
        part: sign * value
        for part in ("percent", "absolute")
        if (value := reader.get(f"{side}_{part}", reader.get(part))) is not None
    }
    return Bound(1 + sizes.get("percent", 0.0) / 100, sizes.get("absolute", 0.0) * factor) if sizes else None
