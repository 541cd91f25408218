"""Reading the form in which a drive is handed in: files kept at once, typed rows and held speeds as they were typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from speedcal.text.pages.page_labels import QUESTIONS
from speedcal.web.answers import RefusedError
from speedcal.web.figures import AmbiguousError, number_in
from speedcal.web.kept.originals import TooLargeError
from speedcal.web.kept.rows import DriveRow
from speedcal.web.pages.context import Context, View, plain
from speedcal.web.typed import held_speeds, readings_table, rows_of, unit_of

UNITS = ("mph", "km/h")
TEXTS = ("pasted", "held", "unit", "column", "session", "zone", "offset", "checks", *QUESTIONS)
"""Fields of one text in the form of a drive."""
_OPTIONS = ("unit", "column", "session", "zone", "clock_offset_s", *QUESTIONS)
"""Keys of a drive that the form fills; what else came with an import stays."""
_LONGEST_OFFSET_S = 1e9
T = TypeVar("T")


def handed_in(context: Context, view: View, drive: DriveRow | None) -> tuple[dict[str, Any], list[RefusedError]]:
    """Return the parts of a drive that were sent, and what was refused among them.

    A part that is refused does not take the others with it.
    """
    refused: list[RefusedError] = []

    def tried(read: Callable[[], T], otherwise: T) -> T:
        try:
            return read()
        except RefusedError as error:
            refused.append(error)
            return otherwise

    nothing: dict[str, str] = {}
    values: dict[str, Any] = {}
    values |= tried(lambda: _kept_file(context, view, "track"), nothing)
    values |= tried(lambda: _kept_file(context, view, "readings"), nothing)
    if context.text("same") == "yes" and (
        digest := values.get("track_digest") or (drive.track_digest if drive else "")
    ):
        name = values.get("track_name") or (drive.track_name if drive else "")
        values |= {"readings_name": name, "readings_digest": digest}
    kept = dict(drive.options) if drive else {}
    options = tried(lambda: {**{k: v for k, v in kept.items() if k not in _OPTIONS}, **_options(context)}, kept)
    held = tried(lambda: held_speeds(_long(context, "held"), most=context.limits.typed_rows), None)
    are_checks = bool(options.get("checks"))
    typed = tried(lambda: _typed(context, options.get("unit") or view.job.unit, are_checks=are_checks), None)
    if typed is not None and held is not None:
        values |= tried(lambda: _readings(values, typed, held), nothing)
        if (typed or held) and not (are_checks and unit_of(typed)):
            options.setdefault("unit", unit_of(typed) or view.job.unit)  # what was read stays what it was
    has_track = values.get("track_digest") or (drive and drive.track_digest)
    if options.get("checks") and (has_track or values.get("held")):
        refused.append(RefusedError(422, "checks_need_no_track", at="checks"))
        options.pop("checks")
    values["options"] = options
    return values, refused


def _readings(values: dict[str, Any], typed: str, held: str) -> dict[str, str]:
    """Return the readings in the one way in which they were given."""
    has_file = bool(values.get("readings_digest"))
    if has_file + bool(typed) + bool(held) > 1:
        for part in ("readings_digest", "readings_name"):
            values.pop(part, None)
        raise RefusedError(422, "readings_given_twice", at="held" if held else "readings")
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
        raise RefusedError(422, "file_sent_empty", at=name, source=label)
    try:
        stored = context.web.originals.put(view.job.id, content, limit=most)
    except TooLargeError:
        raise RefusedError(413, "file_sent_too_large", at=name, source=label, most_mb=most // 2**20) from None
    return {f"{name}_name": label, f"{name}_digest": stored.digest}


def _long(context: Context, name: str) -> str:
    return context.text(name, most=context.limits.field_bytes)


def _several(context: Context, name: str) -> list[str]:
    """Return the texts of a field that stands in the form more than once."""
    return [plain(value) for value in context.form.getlist(name) if isinstance(value, str)]


def _typed(context: Context, unit: str, *, are_checks: bool) -> str:
    rows = zip(_several(context, "time"), _several(context, "speed"), strict=False)
    return readings_table(
        rows, _long(context, "pasted"), unit=unit, most=context.limits.typed_rows, are_checks=are_checks
    )


def _options(context: Context) -> dict[str, Any]:
    options: dict[str, Any] = {name: text for name in ("column", "session", "zone") if (text := context.text(name))}
    options |= {name: answer for name, known in QUESTIONS.items() if (answer := context.text(name)) and answer in known}
    if context.text("checks") == "yes":
        options["checks"] = "yes"
    if (unit := context.text("unit")) in UNITS:
        options["unit"] = unit
    if offset := context.text("offset"):
        try:
            options["clock_offset_s"] = number_in(offset)
        except AmbiguousError:
            raise RefusedError(422, "comma_unclear", at="offset", found=offset) from None
        except ValueError:
            raise RefusedError(422, "clock_offset_not_read", at="offset", found=offset) from None
        if abs(options["clock_offset_s"]) > _LONGEST_OFFSET_S:
            raise RefusedError(422, "clock_offset_not_read", at="offset", found=offset)
    return options


def texts_sent(context: Context) -> dict[str, Any]:
    """Return what stands in the form that was just sent, so that nothing typed is lost."""
    rows = zip(_several(context, "time"), _several(context, "speed"), strict=False)
    return {**{name: plain(str(context.form.get(name) or "")) for name in TEXTS}, "rows": [list(row) for row in rows]}


def texts_kept(drive: DriveRow | None) -> dict[str, Any]:
    """Return the texts that fill the form of a drive: those of a refused form, else what the drive has."""
    if drive is None:
        return {**dict.fromkeys(TEXTS, ""), "rows": []}
    if drive.said:
        return dict(drive.said["texts"])
    rows = rows_of(drive.typed) if drive.typed else []
    options = drive.options
    return {
        "pasted": drive.typed if rows is None else "",
        "held": drive.held,
        "unit": str(options.get("unit") or unit_of(drive.typed)),
        "column": str(options.get("column", "")),
        "session": str(options.get("session", "")),
        "zone": str(options.get("zone", "")),
        "offset": str(options.get("clock_offset_s", "")),
        "checks": str(options.get("checks", "")),
        **{name: str(options.get(name, "")) for name in QUESTIONS},
        "rows": rows or [],
    }
