"""A new log format is one module with one row in the table of formats."""

from __future__ import annotations

import importlib
import sys
import types

import numpy as np
import pytest

from speedcal.logs import read_track
from speedcal.logs.drive.track import Fixes, build_track
from speedcal.logs.formats import registry
from speedcal.logs.formats.registry import LogFormat


def _read_at_lines(source, request):
    rows = [line[1:].split() for line in source.lines() if line.startswith("@")]
    fixes = Fixes(
        time_s=[float(row[0]) for row in rows],
        latitude_deg=[float(row[1]) for row in rows],
        longitude_deg=[float(row[2]) for row in rows],
        speed_mps=[float(row[3]) for row in rows],
    )
    return build_track(source, "at_lines", fixes)


@pytest.fixture
def at_lines(monkeypatch):
    module = types.ModuleType("speedcal.logs.formats.at_lines")
    module.FORMAT = LogFormat("at_lines", lambda source: source.data.startswith(b"@"), track=_read_at_lines)
    monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(registry, "_MODULES", ("at_lines", *registry._MODULES))
    registry.all_formats.cache_clear()
    yield
    registry.all_formats.cache_clear()


def test_a_format_named_in_the_table_is_read_like_the_others(at_lines, tmp_path):
    """Validation, counting and the refusals come with build_track."""
    path = tmp_path / "log"
    path.write_text("@1600000000 45.1 9.1 10\n@1600000001 95.1 9.1 11\n@1600000002 45.2 9.1 12\n", encoding="utf-8")
    track = read_track(path)
    assert track.kind == "at_lines"
    np.testing.assert_array_equal(track.speed_mps, [10, 12])
    assert track.dropped == {"no_position": 1}


def test_every_module_of_the_table_holds_a_format_of_its_own():
    """Names are different, and each reads a track or readings."""
    found = [importlib.import_module(f"speedcal.logs.formats.{name}").FORMAT for name in registry._MODULES]
    assert len({log.id for log in found}) == len(found)
    assert all(log.track or log.readings for log in found)
    assert [log.certain for log in found] == [True] * (len(found) - 1) + [False], "what any text may be comes last"
