"""The table of log formats: one row a format, each in a module of its own.

To add a format, write a module with a ``FORMAT`` and name it in ``_MODULES``; the order is the order in which
formats are asked whether a file is theirs.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from functools import cache

from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.source import CertainKind, Source, holds_office_text
from speedcal.units import SpeedUnit


@dataclass(frozen=True, slots=True)
class Request:
    """What the user says about a file."""

    unit: SpeedUnit | None = None
    column: str | None = None
    zone: tzinfo | None = None
    session: str | None = None
    """Which vehicle or session, in a file that holds several."""


@dataclass(frozen=True, slots=True)
class LogFormat:
    """A kind of file, how it is recognised by its content, and how it is read."""

    id: str
    """Such as ``gpx``; its name for people stands in :mod:`speedcal.text`."""
    recognises: Callable[[Source], bool]
    track: Callable[[Source, Request], Track] | None = None
    readings: Callable[[Source, Request], Readings] | None = None
    certain: bool = True
    """False for tables and notes, which any text may be."""

    @property
    def is_of_tracks(self) -> bool:
        """Whether a file of this kind is a track first; GPX and FIT may hold readings by the way."""
        return self.readings is None or self.id in {"gpx", "fit"}


_MODULES = ("gpx", "tcx", "kml", "fit", "documents", "sheets", "web_tables", "json_logs", "nmea", "text_logs")


@cache
def all_formats() -> tuple[LogFormat, ...]:
    """Return every format, in the order of asking."""
    return tuple(importlib.import_module(f"speedcal.logs.formats.{name}").FORMAT for name in _MODULES)


def certain_kind(source: Source) -> CertainKind:
    """Return what a file is by its content alone, empty where that does not make it certain."""
    log = next((log for log in all_formats() if log.certain and log.recognises(source)), None)
    return "" if log is None else "track" if log.is_of_tracks else "readings"


_OTHERS = {
    what: re.compile(signature, re.DOTALL | re.IGNORECASE)
    for what, signature in {
        "pdf": rb"%PDF",
        "picture": rb"\x89PNG|\xff\xd8\xff|GIF8|RIFF.{4}WEBP|.{4}ftyp(?:hei|hev|mif1|msf1|avif)",
        "sound": rb"ID3[\x02-\x04]|\xff[\xf2-\xfb]|OggS|fLaC|#!AMR|RIFF.{4}WAVE|.{4}ftypM4[AB]",
        "film": rb".{4}ftyp|RIFF.{4}AVI|\x1aE\xdf\xa3",
        "document": rb"\{\\rtf",
        "web_page": rb"\s*<(?:!doctype html|html)",
        "archive_in_archive": rb"PK\x03\x04",
        "other_archive": rb"Rar!|7z\xbc\xaf|.{257}ustar",
        "old_office": rb"\xd0\xcf\x11\xe0",
        "database": rb"SQLite format 3|PAR1",
    }.items()
}
"""How files begin that are no logs. ISO/IEC 14496-12 for what holds ``ftyp``."""


_HEAD = 400


def recognise(source: Source) -> LogFormat:
    """Return the format of a file, told by its content."""
    known = all_formats()
    for log in known:
        if log.certain and log.recognises(source):
            return log
    if holds_office_text(source):
        source.fail("not_a_log", found="document")
    for what, signature in _OTHERS.items():
        if signature.match(source.data[:_HEAD]):
            source.fail("not_a_log", found=what)
    for log in known:
        if not log.certain and log.recognises(source):
            return log
    source.fail("unknown_format", known=[log.id for log in known])
