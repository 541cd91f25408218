"""The result of a fleet: the list of its vehicles, as a table and as a page."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from speedcal.errors import FleetError
from speedcal.fleet.rows import FleetRow, Limits
from speedcal.fleet.sources import refuse_originals
from speedcal.interval import tidy
from speedcal.jobs.spreadsheet import as_text
from speedcal.units import DisplayUnit
from speedcal.whole_file import write_whole
from speedcal.wording import Spoken

COLUMNS = (
    "vehicle", "drives", "trust", "error_factor", "low", "high", "odometer_factor", "worst_finding", "reason",
    "odometer_low", "odometer_high", "error_percent", "judged_by", "wrong", "new", "p_value", "distance_m", "cost_m",
    "changed_from", "changed_to", "changed_percent", "trend_percent_a_year", "action", "part", "text",
)  # fmt: skip
"""Columns of ``fleet.csv``: one row a vehicle; ``low`` and ``high`` are of the error factor, ``text`` says the worst
finding or the reason in words, the trend is given where it is clear that there is one."""


@dataclass(frozen=True)
class FleetResult(Spoken):
    """All vehicles, the costliest first, and which of them are wrong.

    Examples
    --------
    >>> import speedcal
    >>> result = speedcal.fleet("data_demo")
    >>> [(row.vehicle, row.drives) for row in result.rows]
    [('data_demo', 2)]
    """

    rows: tuple[FleetRow, ...]
    limits: Limits
    rate: float
    """False discovery rate: the share of those called wrong that, on average, are not. 0 to 1."""
    unit: DisplayUnit | None
    compared: bool = False
    """Whether there was a run before this one."""

    @property
    def wrong(self) -> tuple[FleetRow, ...]:
        """The vehicles that are wrong, the costliest first."""
        return tuple(row for row in self.rows if row.wrong)

    @property
    def new(self) -> tuple[FleetRow, ...]:
        """Those of them that were not in the run before."""
        return tuple(row for row in self.wrong if row.is_new)

    @property
    def not_judged(self) -> tuple[FleetRow, ...]:
        """The vehicles with a number that does not tell whether they are wrong."""
        return tuple(row for row in self.rows if row.has_number and not row.is_judged)

    @property
    def without_number(self) -> tuple[FleetRow, ...]:
        """The vehicles without a number."""
        return tuple(row for row in self.rows if not row.has_number)

    @cached_property
    def display_unit(self) -> DisplayUnit:
        """Unit for people."""
        if self.unit is not None:
            return self.unit
        return next((row.calibration.unit for row in self.rows if row.calibration), "mph")

    def to_dict(self) -> dict[str, Any]:
        """Return the whole result, ready for JSON."""
        rule = self.limits.tolerance
        return {
            "speed_unit": self.display_unit,
            "vehicles": [row.to_dict() for row in self.rows],
            "wrong": [row.vehicle for row in self.wrong],
            "new": [row.vehicle for row in self.new] if self.compared else None,
            "changed": [row.vehicle for row in self.rows if row.changed],
            "without_number": [row.vehicle for row in self.without_number],
            "limits": {
                "low_percent": tidy(100 * self.limits.band[0] - 100, 4),
                "high_percent": tidy(100 * self.limits.band[1] - 100, 4),
                "rule": rule.to_dict() if rule else None,
            },
            "false_discovery_rate": self.rate,
        }

    def table(self) -> list[dict[str, Any]]:
        """Return one row a vehicle, with the columns :data:`COLUMNS`; numbers are numbers, None where there is none."""
        return [_cells(row) for row in self.rows]

    def write(self, folder: str | Path) -> tuple[Path, ...]:
        """Write the list as a table and as a page into a folder; the same result gives the same bytes.

        Parameters
        ----------
        folder
            Made when it is missing; nothing is written outside it.

        Returns
        -------
        tuple of Path
            ``fleet.csv``, ``fleet.html``, ``fleet.json``, and ``fleet.parquet`` where pyarrow is installed.

        Raises
        ------
        FleetError
            The folder cannot be written, or holds a file of such a name that no fleet has written.
        """
        from speedcal.fleet.overview import render_page
        from speedcal.fleet.table import as_parquet

        table = self.table()
        page = render_page(self.rows, self.limits, self.rate, self.display_unit, compared=self.compared)
        files = {
            "fleet.csv": _csv(table).encode("utf-8", "backslashreplace"),
            "fleet.html": page.encode("utf-8", "backslashreplace"),
            "fleet.json": (json.dumps(self.to_dict(), ensure_ascii=False, separators=(",", ":")) + "\n").encode(
                "utf-8", "backslashreplace"
            ),
            "fleet.parquet": as_parquet(table),
        }
        folder = Path(folder)
        refuse_originals(folder)
        contents = {folder / name: data for name, data in files.items() if data is not None}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            write_whole(contents)
        except OSError as error:
            raise FleetError("folder_not_usable", source=str(folder), reason=error.strerror or str(error)) from None
        return tuple(contents)


def _cells(row: FleetRow) -> dict[str, Any]:
    """Return the row of the table for one vehicle."""
    factor = row.error_factor.to_dict() if row.error_factor else {}
    odometer = row.odometer_factor.to_dict() if row.odometer_factor else {}
    step = row.changed[-1] if row.changed else None
    reason, worst = row.reason, row.findings[0] if row.findings else None
    creep = row.course.creep_percent_a_year
    days = step.days if step else {}
    values = (
        row.vehicle, row.drives, row.trust or None, factor.get("value"), factor.get("low"), factor.get("high"),
        odometer.get("value"), worst.code if worst else None, reason["error"] if reason else None,
        odometer.get("low"), odometer.get("high"), tidy(row.error_percent.value, 3) if row.error_percent else None,
        row.judged_by or None, row.wrong, row.is_new, None if row.p_value is None else float(f"{row.p_value:.3g}"),
        tidy(row.distance_m, 0), tidy(row.cost_m, 0), days.get("earliest"), days.get("latest"),
        tidy(step.percent.value, 3) if step else None, tidy(creep.value, 3) if creep else None,
        row.advice.action if row.advice else None, row.advice.part if row.advice else None,
        reason["text"] if reason else worst.text if worst else None,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _csv(table: Sequence[dict[str, Any]]) -> str:
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for cells in table:
        rows.writerow([_written(value) for value in cells.values()])
    return out.getvalue()


def _written(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else as_text(value)
