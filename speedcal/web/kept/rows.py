"""Jobs and drives as the store keeps them: what a row holds, and how it comes out of the tables and goes into them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from speedcal.text.pages.page_labels import UNNAMED

STAGES = ("waiting", "measured", "tested", "closed")
"""States of a job."""


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job as it stands in the store."""

    id: str
    document: dict[str, dict[str, Any]]
    """Tables of the job file without its drives: job, vehicle, work, tolerance."""
    stage: str
    closed: bool
    revision: int
    created: float
    updated: float
    news: str = ""
    """What came in and was not seen by the shop yet: ``drive``, ``result`` or nothing."""

    def get(self, table: str, key: str) -> Any:
        """Return a value of the job file, empty where it does not say."""
        return self.document.get(table, {}).get(key, "")

    @property
    def title(self) -> str:
        """What the job is called in lists and headings."""
        return str(self.get("job", "number") or self.get("vehicle", "label") or UNNAMED["job"])

    @property
    def unit(self) -> str:
        """Unit for people, mph where the job does not say."""
        unit = self.get("job", "unit")
        return unit if unit in ("mph", "km/h") else "mph"


@dataclass(frozen=True, slots=True)
class DriveRow:
    """A drive as it was handed in: files, typed rows or held speeds, and what was understood of them."""

    id: str
    job_id: str
    phase: str
    created: float
    track_name: str
    track_digest: str
    readings_name: str
    readings_digest: str
    typed: str
    held: str
    options: dict[str, Any]
    version: int
    look: dict[str, Any] | None
    look_run: str
    removed: float
    """When it was removed; 0 for a drive that counts."""
    said: dict[str, Any]
    """What was refused of the last form (``refused``) and what stood in it (``texts``); empty when nothing was."""

    @property
    def content(self) -> tuple[str, ...]:
        """What makes two drives one and the same: their files, their typed rows, their held speeds."""
        return tuple(getattr(self, name) for name in CONTENT)

    @property
    def is_complete(self) -> bool:
        """Tell whether there is a track and readings to go with it, or checks, which need no track."""
        if self.is_checks:
            return bool(self.readings_digest or self.typed)
        return bool(self.track_digest and self.has_readings)

    @property
    def has_readings(self) -> bool:
        """Tell whether there are readings, in whatever way they were given."""
        return bool(self.readings_digest or self.typed or self.held)

    @property
    def lacks(self) -> str:
        """Which of its parts is still to come: ``track``, ``readings`` or nothing."""
        return "readings" if not self.has_readings else "" if self.is_complete else "track"

    @property
    def is_checks(self) -> bool:
        """Tell whether the readings have their true speed beside them."""
        return bool(self.options.get("checks"))

    @property
    def is_usable(self) -> bool:
        """Tell whether the drive was looked at and can be measured."""
        return self.look is not None and not self.look["errors"] and self.look.get("fit") is not None

    @property
    def is_forgotten(self) -> bool:
        """Tell whether its files are no longer kept, while what was understood of them is."""
        return self.is_usable and not self.is_complete

    @property
    def name(self) -> str:
        """What the drive is called: its track file, else its readings."""
        return self.track_name or self.readings_name or UNNAMED["checks" if self.is_checks else "drive"]

    @property
    def day_s(self) -> float:
        """When it was driven, as far as its track tells; else when it was sent."""
        track = self.look["track"] if self.look else None
        return float((track or {}).get("start_s") or self.created)

    @property
    def zone_s(self) -> float | None:
        """The zone in which that is a day of the drive; None for that of whoever reads it. [s ahead of UTC]."""
        look = self.look or {}
        return look.get("zone_s") if (look.get("track") or {}).get("start_s") else None


CONTENT = ("track_digest", "readings_digest", "typed", "held")


def document_columns(document: Mapping[str, Any]) -> dict[str, str]:
    """Return a job file and what it is searched by, as columns."""
    head, vehicle = document.get("job", {}), document.get("vehicle", {})
    words = [head.get("number"), head.get("customer"), head.get("note"), head.get("shop_note"), vehicle.get("label")]
    search = " ".join(str(word) for word in words if word).casefold()
    return {"document": json.dumps(document, ensure_ascii=False), "search": search}


def job_row(row: sa.RowMapping) -> JobRow:
    """Return a job from its row."""
    names = ("id", "stage", "closed", "revision", "created", "updated", "news")
    return JobRow(document=json.loads(row["document"]), **{name: row[name] for name in names})


def drive_columns(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is kept of a drive, as columns."""
    given = dict(values)
    if "options" in given:
        given["options"] = json.dumps(given["options"])
    return given


def drive_row(row: sa.RowMapping) -> DriveRow:
    """Return a drive from its row."""
    names = ("id", "job_id", "phase", "created", "version", "typed", "held", "look_run", "removed")
    files = ("track_name", "track_digest", "readings_name", "readings_digest")
    look = json.loads(row["look"]) if row["look"] else None
    plain = {name: row[name] for name in (*names, *files)}
    said = json.loads(row["said"]) if row["said"] else {}
    return DriveRow(options=json.loads(row["options"]), look=look, said=said, **plain)
