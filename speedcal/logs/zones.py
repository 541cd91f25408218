"""Time zones as users write them."""

from __future__ import annotations

import re
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from speedcal.errors import ReadingsFormatError

_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)


def parse_zone(text: str) -> tzinfo:
    """Return the zone meant by ``UTC``, ``+02:00``, ``UTC-7`` or a name of the IANA data base.

    Raises
    ------
    ReadingsFormatError
        Nothing of the kind.
    """
    word = text.strip()
    if word.upper() in {"UTC", "GMT", "Z"}:
        return UTC
    offset = fixed_offset(word)
    if offset is not None:
        return timezone(offset)
    try:
        return ZoneInfo(word)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ReadingsFormatError(
            f"the time zone {text!r} is not known", remedy="Write it as +02:00, or as its name in the IANA data base"
        ) from None


def fixed_offset(text: str) -> timedelta | None:
    """Return the offset from UTC that a suffix such as ``Z``, ``+0200`` or ``-07:30`` means, None if it means none."""
    if text.upper() in {"Z", "UTC", "GMT"}:
        return timedelta(0)
    found = _OFFSET.fullmatch(text)
    if not found:
        return None
    hours, minutes = int(found.group(2)), int(found.group(3) or 0)
    if hours > 14 or minutes > 59:
        return None
    size = timedelta(hours=hours, minutes=minutes)
    return -size if found.group(1) == "-" else size
