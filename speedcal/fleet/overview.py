"""The page of a fleet: one HTML file with its data and the script that draws it; no positions."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from speedcal.fleet.rows import DrivePoint, FleetRow, Limits
from speedcal.report.html import environment
from speedcal.text.codes.fleet_messages import action_text
from speedcal.text.pages.fleet_page import PAGE, about, false_alarms
from speedcal.text.results.fleet import within
from speedcal.units import MILE_M, DisplayUnit

_DAY_S = 86400.0
_POINTS_BYTES = 2_500_000
"""What the drives of all vehicles may take of a page; with more, some drives of each are left out of its picture."""
_POINT_BYTES, _FEWEST_POINTS = 18, 6
_MOST_TOLD = 4
"""Findings told of a vehicle."""
_TRUST = {"": 0, "WEAK": 1, "TRUSTED": 2}


def render_page(rows: Sequence[FleetRow], limits: Limits, rate: float, unit: DisplayUnit, *, compared: bool) -> str:
    """Return the page of a result; see :class:`speedcal.fleet.result.FleetResult`."""
    judged, lost = sum(row.is_judged for row in rows), sum(not row.has_number for row in rows)
    told = about(judged, sum(row.wrong for row in rows), len(rows) - judged - lost, lost, within(limits))
    data = _embedded(_page_data(rows, limits, unit, compared=compared))
    template = environment("speedcal.fleet").get_template("fleet.html")
    page: str = template.render(text=PAGE, about=told, false_alarms=false_alarms(rate), data=data)
    return page


def _embedded(data: dict[str, Any]) -> str:
    """Return JSON that may stand inside a script element."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


class _Shared:
    """Texts that stand in the page once, however many rows say them."""

    def __init__(self) -> None:
        self.place: dict[str, int] = {}

    def __call__(self, text: str) -> int:
        return self.place.setdefault(text, len(self.place))


def _page_data(rows: Sequence[FleetRow], limits: Limits, unit: DisplayUnit, *, compared: bool) -> dict[str, Any]:
    """Return what the script draws: errors in thousandths of a per cent, days since 1970."""
    imperial = unit == "mph"
    length_m = MILE_M if imperial else 1000.0
    most = max(_FEWEST_POINTS, _POINTS_BYTES // (_POINT_BYTES * max(len(rows), 1)))
    share, actions = _Shared(), _Shared()
    drawn = [_row(row, length_m, most, share, actions) for row in rows]
    return {
        "unit": "mi" if imperial else "km",
        "band": [_thousandths(100 * (end - 1)) for end in limits.band],
        "compared": compared,
        "rows": drawn,
        "texts": list(share.place),
        "actions": list(actions.place),
        "words": PAGE,
    }


def _row(row: FleetRow, length_m: float, most: int, share: _Shared, actions: _Shared) -> list[Any]:
    error = row.error_percent
    told = [finding.text for finding in row.findings[:_MOST_TOLD]]
    if row.refusal:
        told.append(str(row.refusal["text"]))
    return [
        row.vehicle,
        row.drives,
        _TRUST[row.trust],
        row.wrong + 2 * row.is_new + 4 * bool(row.changed) + 8 * row.is_judged,
        [_thousandths(x) for x in (error.value, error.low, error.high)] if error else 0,
        row.judged_by,
        round(row.cost_m / length_m, 1),
        round(row.distance_m / length_m, 1),
        actions(action_text(row.advice)) if row.advice else -1,
        [share(text) for text in told],
        [round(x, 4) for x in (row.error_factor.value, row.error_factor.low, row.error_factor.high)]
        if row.error_factor
        else 0,
        round(row.odometer_factor.value, 4) if row.odometer_factor else 0,
        [_point(point) for point in _thinned(row.points, most)],
        [[_day(s.earliest_s), _day(s.latest_s), _thousandths(s.percent.value)] for s in row.changed],
    ]


def _thinned(points: Sequence[DrivePoint], most: int) -> Sequence[DrivePoint]:
    """Return at most so many drives, evenly taken, the first and the last among them."""
    if len(points) <= most:
        return points
    return [points[round(i * (len(points) - 1) / (most - 1))] for i in range(most)]


def _point(point: DrivePoint) -> list[int | None]:
    error = point.error_percent
    day = None if point.time_s is None else _day(point.time_s)
    return [day, _thousandths(error.value), _thousandths(error.half_width), int(point.counts)]


def _day(time_s: float) -> int:
    return int(time_s // _DAY_S)


def _thousandths(percent: float) -> int:
    return round(1000 * percent)
