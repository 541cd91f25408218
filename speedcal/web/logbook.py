"""The log of the service: JSON lines in a file that never grows beyond bounds, and without anything of a user in it."""

from __future__ import annotations

import json
import logging
import sys
import time
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

FIELDS = ("job", "role", "run")
"""What a line may carry besides its message."""
_FILE_BYTES, _FILES = 5 * 1024 * 1024, 10
_REPEATS, _WITHIN_S = 5, 60.0
_LONGEST_MESSAGE = 500


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of a record."""
        entry: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "message": record.getMessage().partition("\n")[0][:_LONGEST_MESSAGE],
        }
        entry |= {name: getattr(record, name) for name in (*FIELDS, "left_out") if getattr(record, name, "")}
        if record.exc_info and record.exc_info[1]:
            entry["broke"] = place_of(record.exc_info[1])
        return json.dumps(entry, ensure_ascii=False, default=str)


class FewRepeats(logging.Filter):
    """Lets the same warning through a few times a minute; the next one after that says how many were left out."""

    def __init__(self) -> None:
        super().__init__()
        self._seen: dict[str, tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Tell whether a record is written."""
        if record.levelno < logging.WARNING:
            return True
        key, now = f"{record.name} {record.msg}"[:_LONGEST_MESSAGE], time.monotonic()
        since, count = self._seen.get(key, (now, 0))
        if now - since > _WITHIN_S:
            record.left_out = max(0, count - _REPEATS)
            since, count = now, 0
        self._seen[key] = (since, count + 1)
        return count < _REPEATS


def place_of(error: BaseException) -> str:
    """Return the kind of an error and where it was raised, without its text: that may quote a user's data."""
    frame = error.__traceback__
    while frame and frame.tb_next:
        frame = frame.tb_next
    where = f"{Path(frame.tb_frame.f_code.co_filename).name}:{frame.tb_lineno}" if frame else "unknown"
    return f"{type(error).__name__} at {where}"


def keep_log(data: Path, port: int, *, on_screen: bool) -> None:
    """Write the log into the data folder, and warnings (or everything) to standard error too."""
    folder = data / "log"
    folder.mkdir(mode=0o700, exist_ok=True)
    kept = RotatingFileHandler(
        folder / f"serve-{port}.jsonl", maxBytes=_FILE_BYTES, backupCount=_FILES - 1, encoding="utf-8"
    )
    shown = logging.StreamHandler(sys.stderr)
    shown.setLevel(logging.INFO if on_screen else logging.WARNING)
    for handler in (kept, shown):
        handler.setFormatter(JsonLines())
        handler.addFilter(FewRepeats())
    if sys.stderr.isatty() and not on_screen:
        shown.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    logging.basicConfig(level=logging.WARNING, handlers=[kept, shown])
    logging.getLogger("speedcal.web").setLevel(logging.INFO)
    logging.raiseExceptions = False  # a full disk must not fill standard error
