"""The log: JSON lines that say which job and which role, bounded, without anything of a user."""

from __future__ import annotations

import json
import logging
import sys
import time
from logging.handlers import RotatingFileHandler
from pathlib import Path

import pytest
from support.web_site import open_site

from speedcal.web import logbook
from speedcal.web.logbook import FewRepeats, JsonLines, keep_log


def record(message: str, level: int = logging.INFO, **more: object) -> logging.LogRecord:
    made = logging.LogRecord("speedcal.web", level, __file__, 1, message, (), None)
    made.__dict__.update(more)
    return made


@pytest.mark.parametrize("message", ['say "hello"', "two\nlines", "back\\slash", "\x00\x1b[31m", "Zürich ☂", "\ud800"])
def test_every_line_is_json(message: str) -> None:
    """Whatever the message holds, and one line of it at the most."""
    line = JsonLines().format(record(message))
    assert "\n" not in line
    assert json.loads(line)["message"] == message.partition("\n")[0]


def test_the_error_of_a_line_is_its_kind_and_place() -> None:
    """Its text may hold what users sent."""
    try:
        raise ValueError("a customer name")
    except ValueError:
        made = record("broke")
        made.exc_info = sys.exc_info()
    line = JsonLines().format(made)
    assert json.loads(line)["broke"].startswith("ValueError at test_logbook.py:")
    assert "customer" not in line


def test_a_warning_is_written_five_times_a_minute_and_then_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A thousand broken requests are six lines."""
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    few = FewRepeats()
    assert sum(few.filter(record("bad request", logging.WARNING)) for _ in range(1000)) == 5
    assert few.filter(record("another", logging.WARNING))
    assert few.filter(record("bad request", logging.INFO))
    now[0] += 61
    later = record("bad request", logging.WARNING)
    assert few.filter(later)
    assert json.loads(JsonLines().format(later))["left_out"] == 995


def test_the_log_files_never_grow_beyond_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The oldest lines go."""
    root = logging.getLogger()
    monkeypatch.setattr(root, "handlers", [])
    monkeypatch.setattr(root, "level", root.level)
    monkeypatch.setattr(logging, "raiseExceptions", True)
    monkeypatch.setattr(logbook, "_FILE_BYTES", 2000)
    monkeypatch.setattr(logbook, "_FILES", 3)
    keep_log(tmp_path, 8000, on_screen=False)
    handler = next(one for one in root.handlers if isinstance(one, RotatingFileHandler))
    for n in range(500):
        handler.handle(record(f"line {n}"))
    handler.close()
    files = sorted((tmp_path / "log").iterdir())
    assert len(files) == 3
    assert all(file.stat().st_size <= 2000 for file in files)
    lines = [json.loads(line)["message"] for file in files for line in file.read_text("utf-8").splitlines()]
    assert "line 499" in lines
    assert "line 0" not in lines


def test_lines_of_requests_say_job_and_role(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """As fields beside the message, which still names neither."""
    with caplog.at_level(logging.INFO, logger="speedcal.web"), open_site(tmp_path) as site:
        base = site.new_job()
        job = base.split("/")[-1]
        site.client.get(f"/o/{site.services.auth.token(site.services.auth.add_link(job, 'owner'))}")
        site.client.get(base)
        site.client.get("/jobs")
        site.client.get("/o/not.alink")
    told = [
        (entry["message"].split()[1], entry.get("job"), entry.get("role"))
        for entry in (json.loads(JsonLines().format(one)) for one in caplog.records if one.name == "speedcal.web")
        if entry["message"].startswith("GET")
    ]
    assert told == [
        ("owner_page", job, "owner"),
        ("job_page", job, "shop"),
        ("jobs_page", None, "shop"),
        ("owner_page", None, None),
    ]
