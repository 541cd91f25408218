"""A fleet in a few lines."""

from __future__ import annotations

from typing import Any

from speedcal.text.fleet_messages import action_text
from speedcal.text.numbers import counted, signed
from speedcal.units import MILE_M

_MOST_SHOWN = 20
_JUDGED = {"odometer": "odometer", "speed": "logged speed", "rule": "speed", "": "speed"}


def summary(result: Any) -> str:
    """Return what was found, the wrong vehicles first."""
    lines = [_head(result)]
    lines += [_line(row, result.display_unit) for row in result.wrong[:_MOST_SHOWN]]
    if len(result.wrong) > _MOST_SHOWN:
        lines.append(f"  and {len(result.wrong) - _MOST_SHOWN} more")
    if result.compared:
        lines.append(f"new since the last run: {', '.join(row.vehicle for row in result.new) or 'none'}")
    lost = result.without_number
    if lost:
        lines.append(f"without a number: {counted(len(lost), 'vehicle')}")
        lines += [f"  {row.vehicle}: {row.reason['text']}" for row in lost[:_MOST_SHOWN] if row.reason]
    return "\n".join(lines)


def _head(result: Any) -> str:
    judged = sum(row.p_value is not None for row in result.rows)
    return (
        f"{counted(len(result.rows), 'vehicle')}, {judged} judged, {len(result.wrong)} wrong: {within(result)}; of "
        f"those called wrong at most {100 * result.rate:g} % are not, on average"
    )


def within(result: Any) -> str:
    """Return what counts as wrong in the result of a fleet."""
    rule = result.limits.tolerance
    low, high = (100 * (end - 1) for end in result.limits.band)
    distance = f"distance or logged speed outside {signed(low)} to {signed(high)} %"
    if rule is None:
        return distance
    return str(rule.title) if rule.quantity == "distance" else f"{distance}, or speed outside {rule.title}"


def _line(row: Any, unit: str) -> str:
    error = row.error_percent
    assert error is not None  # noqa: S101 - a wrong vehicle has been judged
    length, name = (MILE_M, "mi") if unit == "mph" else (1000.0, "km")
    new = " (new)" if row.is_new else ""
    doing = f"; {action_text(row.advice)}" if row.advice else ""
    return (
        f"  {row.vehicle}{new}: {_JUDGED[row.judged_by]} {signed(error.value)} % "
        f"({signed(error.low)} to {signed(error.high)}) over {row.distance_m / length:.0f} {name}{doing}"
    )
