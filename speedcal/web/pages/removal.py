"""Taking a drive out of a job, putting it back, and swapping files that were given for each other."""

from __future__ import annotations

import time
from collections.abc import Collection

from starlette.responses import Response

from speedcal.web.kept.rows import DriveRow
from speedcal.web.pages.context import Context, Services, View
from speedcal.web.pages.drives import check_open, check_room, drive_of

_DAY_S = 86400


def remove_page(context: Context, view: View) -> Response:
    """Ask before a drive is removed."""
    drive = _changeable(context, view)
    return context.page(
        "remove_drive.html", title=f"Remove {drive.name}", drive=drive, days=context.limits.removed_days
    )


def remove_drive(context: Context, view: View) -> Response:
    """Take a drive out of its job and ask for the result without it."""
    drive, web = _changeable(context, view), context.web
    web.store.remove_drive(drive.id)
    forget_removed(web)
    return _told(context, view)


def restore_drive(context: Context, view: View) -> Response:
    """Put a removed drive back."""
    drive, web = _changeable(context, view, removed=True), context.web
    check_room(context, view)
    web.store.restore_drive(drive.id)
    web.queue.put(view.job.id, drive.id)  # another copy of it may have come in meanwhile
    return _told(context, view)


def _told(context: Context, view: View) -> Response:
    context.web.runner.look_again_at_doubles(view.job.id)
    context.web.runner.ask_for_result(view.job.id)
    context.web.runner.wake()
    return context.go(view.base)


def swap_files(context: Context, view: View) -> Response:
    """Take the file sent as the track for the readings, and the other way round."""
    drive, web = _changeable(context, view), context.web
    swapped = {
        "track_name": drive.readings_name,
        "track_digest": drive.readings_digest,
        "readings_name": drive.track_name,
        "readings_digest": drive.track_digest,
    }
    web.store.change_drive(drive.id, swapped)
    web.queue.put(view.job.id, drive.id)
    web.runner.wake()
    return context.go(f"{view.base}/drives/{drive.id}")


def _changeable(context: Context, view: View, *, removed: bool = False) -> DriveRow:
    drive = drive_of(context, view, removed=removed)
    check_open(context, view)
    return drive


def forget_removed(web: Services) -> None:
    """Remove the files of drives that were removed long ago, but not those another drive shares with them."""
    gone = web.store.forget_removed(time.time() - web.settings.limits.removed_days * _DAY_S)
    known = web.store.known_originals() if gone else {}
    for drive in gone:
        _remove_files(web, drive, known.get(drive.job_id, set()))


def forget_old(web: Services) -> None:
    """Remove the originals of drives whose job rests closed for as long as the shop wants to keep them."""
    if days := web.settings.keep_drives:
        for drive in web.store.forget_content(time.time() - days * _DAY_S):
            _remove_originals(web, drive, ())


def _remove_originals(web: Services, drive: DriveRow, still: Collection[str]) -> None:
    for digest in {drive.track_digest, drive.readings_digest} - {"", *still}:
        web.originals.remove(drive.job_id, digest)


def _remove_files(web: Services, drive: DriveRow, still: Collection[str]) -> None:
    _remove_originals(web, drive, still)
    if drive.look_run:
        web.originals.remove_result(drive.job_id, drive.look_run)
