"""A fleet in a few lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from speedcal.text.codes.fleet_messages import action_text, when_changed
from speedcal.text.words.numbers import counted, signed
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
        lines.append(f"new since the last run: {_names(result.new) or 'none'}")
    lines += [
        f"  {row.vehicle}: {finding.text}"
        for row in result.rows
        for finding in row.findings
        if finding.code == "dial_off_odometer_right"
    ][:_MOST_SHOWN]
    lines += _not_judged(result.not_judged)
    lost = result.without_number
    if lost:
        lines.append(f"without a number: {counted(len(lost), 'vehicle')}")
        lines += [f"  {row.vehicle}: {row.reason['text']}" for row in lost[:_MOST_SHOWN] if row.reason]
    return "\n".join(lines)


def _not_judged(rows: Sequence[Any]) -> list[str]:
    """Return the vehicles that are not judged, by what would settle them."""
    by_action: dict[str, list[Any]] = {}
    for row in rows:
        by_action.setdefault(action_text(row.advice), []).append(row)
    return [f"not judged: {_names(several)}; {doing}" for doing, several in by_action.items()]


def _names(rows: Sequence[Any]) -> str:
    more = [f"and {len(rows) - _MOST_SHOWN} more"] if len(rows) > _MOST_SHOWN else []
    return ", ".join([row.vehicle for row in rows[:_MOST_SHOWN]] + more)


def _head(result: Any) -> str:
    judged = sum(row.is_judged for row in result.rows)
    return (
        f"{counted(len(result.rows), 'vehicle')}, {judged} judged, {len(result.wrong)} wrong: {within(result.limits)}; "
        f"of those called wrong at most {100 * result.rate:g} % are not, on average"
    )


def within(limits: Any) -> str:
    """Return what counts as wrong in a fleet."""
    rule = limits.tolerance
    low, high = (100 * (end - 1) for end in limits.band)
    distance = f"distance or logged speed outside {signed(low)} to {signed(high)} %"
    if rule is None:
        return distance
    return str(rule.title) if rule.quantity == "distance" else f"{distance}, or speed outside {rule.title}"


def _line(row: Any, unit: str) -> str:
    error = row.error_percent
    assert error is not None  # noqa: S101 - a wrong vehicle has been judged
    new = " (new)" if row.is_new else ""
    changed = f", changed {when_changed(row.changed[-1].days)}" if row.changed else ""
    doing = f"; {action_text(row.advice)}" if row.advice else ""
    return (
        f"  {row.vehicle}{new}: {_JUDGED[row.judged_by]} {signed(error.value)} % ({signed(error.low)} to "
        f"{signed(error.high)}){_miscounted(row, unit)}{changed}{doing}"
    )


def _miscounted(row: Any, unit: str) -> str:
    """Return how much of the distance an odometer counted wrongly; nothing where none was read."""
    if row.judged_by != "odometer":
        return ""
    length, name = (MILE_M, "mi") if unit == "mph" else (1000.0, "km")
    wrong, driven = (f"{x / length:,.{int(x < 100 * length)}f}" for x in (row.cost_m, row.distance_m))
    return f", off by {wrong} {name} in {driven}"
