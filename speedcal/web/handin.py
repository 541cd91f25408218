"""Reading the form in which a drive is handed in: files kept at once, typed rows and held speeds as they were typed."""

from __future__ import annotations

import re
from typing import Any

from speedcal.web.answers import RefusedError
from speedcal.web.context import Context, View, plain
from speedcal.web.originals import TooLargeError
from speedcal.web.store import DriveRow
from speedcal.web.typed import held_speeds, names_unit, readings_table

UNITS = ("mph", "km/h")
_NUMBER = re.compile(r"[+-]?\d{1,9}(\.\d{1,6})?")


def handed_in(context: Context, view: View, drive: DriveRow | None) -> tuple[dict[str, Any], RefusedError | None]:
    """Return the parts of a drive that were sent and differ from what it has, and what was refused among them.

    A part that is refused does not take the others with it.
    """
    refused: list[RefusedError] = []
    values: dict[str, Any] = {}
    for name in ("track", "readings"):
        try:
            values |= _kept_file(context, view, name)
        except RefusedError as error:
            refused.append(error)
    if context.text("same") == "yes" and (
        digest := values.get("track_digest") or (drive.track_digest if drive else "")
    ):
        name = values.get("track_name") or (drive.track_name if drive else "")
        values |= {"readings_name": name, "readings_digest": digest}
    try:
        typed, held = _typed(context, view)
        values |= _readings(values, typed, held)
        values["options"] = _options(context)
        if typed and not names_unit(typed):
            values["options"].setdefault("unit", view.job.unit)  # as the form says
    except RefusedError as error:
        refused.append(error)
    empty: dict[str, Any] = {"options": {}}
    changed = {k: v for k, v in values.items() if v != (getattr(drive, k) if drive else empty.get(k, ""))}
    return changed, refused[0] if refused else None


def _readings(values: dict[str, Any], typed: str, held: str) -> dict[str, str]:
    """Return the readings in the one way in which they were given."""
    has_file = bool(values.get("readings_digest"))
    if has_file + bool(typed) + bool(held) > 1:
        for part in ("readings_digest", "readings_name"):
            values.pop(part, None)
        raise RefusedError(422, "readings_given_twice")
    if has_file:
        return {"typed": "", "held": ""}
    if typed or held:
        return {"typed": typed, "held": held, "readings_name": "", "readings_digest": ""}
    return {"typed": "", "held": ""}  # fields that were shown filled came back empty


def _kept_file(context: Context, view: View, name: str) -> dict[str, str]:
    found = context.file(name)
    if found is None:
        return {}
    label, content, size = found
    most = context.limits.file_bytes
    if size == 0:
        raise RefusedError(422, "file_sent_empty", source=label)
    try:
        stored = context.web.originals.put(view.job.id, content, limit=most)
    except TooLargeError:
        raise RefusedError(413, "file_sent_too_large", source=label, most_mb=most // 2**20) from None
    return {f"{name}_name": label, f"{name}_digest": stored.digest}


def several(context: Context, name: str) -> list[str]:
    """Return the texts of a field that stands in the form more than once."""
    return [plain(value) for value in context.form.getlist(name) if isinstance(value, str)]


def _typed(context: Context, view: View) -> tuple[str, str]:
    limits, unit = context.limits, context.text("unit")
    rows = zip(several(context, "time"), several(context, "speed"), strict=False)
    pasted = context.text("pasted", most=limits.field_bytes)
    typed = readings_table(rows, pasted, unit=unit if unit in UNITS else view.job.unit, most=limits.typed_rows)
    return typed, held_speeds(context.text("held", most=limits.field_bytes), most=limits.typed_rows)


def _options(context: Context) -> dict[str, Any]:
    options: dict[str, Any] = {name: text for name in ("column", "zone") if (text := context.text(name))}
    if (unit := context.text("unit")) in UNITS:
        options["unit"] = unit
    if offset := context.text("offset").replace(",", "."):
        if not _NUMBER.fullmatch(offset):
            raise RefusedError(422, "clock_offset_not_read", found=offset)
        options["clock_offset_s"] = float(offset)
    return options
