"""What a file holds, told before anything is computed, and a drive without its ends."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from geographiclib.geodesic import Geodesic
from support.logfiles import READINGS, TRACKS, gpx_11, readings_table, small_drive

from speedcal.cli import cli
from speedcal.cli._waiting import waiting
from speedcal.errors import SpeedcalError
from speedcal.logs import read_track
from speedcal.logs.inspection import inspect_file
from speedcal.text.messages import label
from speedcal.text.results.sketch import sketch

DRIVE = small_drive()


def _run(*arguments):
    result = CliRunner().invoke(cli, [str(argument) for argument in arguments])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def drive(tmp_path):
    path = tmp_path / "drive.gpx"
    path.write_bytes(gpx_11(DRIVE))
    return path


@pytest.mark.parametrize("kind", [*TRACKS, *READINGS])
def test_every_kind_of_file_can_be_inspected(tmp_path, kind):
    """Whatever it is."""
    path = tmp_path / "file"
    path.write_bytes((TRACKS | READINGS)[kind](DRIVE))
    found = inspect_file(path)
    assert (found.track is not None) == (kind in TRACKS or kind == "waypoints")
    assert (found.readings is not None) == (kind in READINGS)
    json.dumps(found.to_dict())
    assert str(found).startswith(f"file: {label(found.kinds[0])}")


def test_the_facts_of_a_track_are_those_of_the_drive(drive):
    """40 fixes, one a second, 10 to 20 m/s; no coordinates anywhere."""
    facts = inspect_file(drive).to_dict()["track"]
    assert facts["fixes"] == 40
    assert facts["duration_s"] == 39
    assert facts["interval_s"] == 1
    assert facts["start"] == "2020-09-13T12:26:40Z"
    assert facts["speed_source"] == "recorded"
    assert facts["speed_mps"] == [DRIVE.speed_mps.min(), DRIVE.speed_mps.max()]
    assert facts["gaps"] == 0
    assert not any(word in json.dumps(facts) for word in ("latitude", "longitude", "45.1", "-93"))


def test_gaps_and_what_was_left_out_are_told(tmp_path):
    """Ten seconds missing, one position off the globe."""
    lines = gpx_11(DRIVE).split(b"\n")
    lines[6] = lines[6].replace(b'lat="45', b'lat="95')
    del lines[15:24]
    path = tmp_path / "drive.gpx"
    path.write_bytes(b"\n".join(lines))
    text = _run("inspect", path, "--unit", "mph").output
    assert "gaps        1, longest 10 s" in text
    assert "left out    position missing or invalid: 1" in text
    assert "mph" in text
    assert "recorded with 30 of 30 fixes" in text


def test_readings_are_told_with_their_steps(tmp_path):
    """Whole mph, stamps to the second."""
    path = tmp_path / "readings.csv"
    path.write_bytes(readings_table(DRIVE))
    text = _run("inspect", path).output
    assert "40, 24.0 to 48.0 mph, in steps of 1 mph" in text
    assert "dates with a zone" in text
    assert "in steps of 1 s" in text


def test_several_files_are_inspected_and_one_bad_one_does_not_hide_the_others(drive, tmp_path):
    """Exit status 2, results on standard output, the refusal on standard error."""
    result = _run("inspect", drive, tmp_path / "nowhere.csv")
    assert result.exit_code == 2
    assert "drive.gpx: GPX 1.1" in result.stdout
    assert "nowhere.csv: the file cannot be opened" in result.stderr
    result = _run("inspect", drive, tmp_path / "nowhere.csv", "--json")
    told = json.loads(result.stdout)
    assert [entry["kinds"] for entry in told["files"]] == [["gpx_1_1"]]
    assert told["refused"][0]["error"] == "file_not_opened"


def test_a_plot_is_drawn_on_request(drive, tmp_path):
    """Of recorded speed, of positions where there is none, of held speeds."""
    assert "█" not in _run("inspect", drive).output
    assert "█" in _run("inspect", drive, "--plot").output
    bare = tmp_path / "bare.gpx"
    bare.write_bytes(gpx_11(DRIVE).replace(b"q:speed", b"q:cad"))
    assert "█" in _run("inspect", bare, "--plot").output
    held = tmp_path / "held.txt"
    held.write_text("30 mph\n40 mph\n50 mph\n", encoding="utf-8")
    assert "█" in _run("inspect", held, "--plot").output


def test_a_sketch_is_as_high_as_the_speed():
    """Half the speed is half the height, and a gap stays empty."""
    time_s = np.arange(100.0)
    speed = np.where(time_s < 50, 40.0, 20.0)
    speed[20:30] = np.nan
    rows = sketch(time_s, speed, unit="mph", width=10, height=4).split("\n")
    assert rows[0].endswith("|██ ██     ")
    assert rows[1].endswith("|██ ██     ")
    assert rows[3].endswith("|██ ███████")
    assert "40" in rows[0]
    assert rows[4].strip().startswith("mph +----------")
    assert sketch(time_s[:1], speed[:1], unit="mph") == "  (nothing to draw)"


def test_a_trimmed_drive_shows_neither_end(drive, tmp_path):
    """Every fix that is left lies farther away than the cut, by geodesics of an independent library."""
    out = tmp_path / "shared drive.gpx"
    result = _run("trim", drive, "--out", out, "--cut", "0.1 km", "--json")
    assert result.exit_code == 0
    track, rest = read_track(drive), read_track(out)
    ends = [(track.latitude_deg[i], track.longitude_deg[i]) for i in (0, -1)]
    kept = [
        all(Geodesic.WGS84.Inverse(lat, lon, *end)["s12"] > 100 for end in ends)
        for lat, lon in zip(track.latitude_deg, track.longitude_deg, strict=True)
    ]
    np.testing.assert_allclose(rest.time_s, track.time_s[kept])
    np.testing.assert_allclose(rest.latitude_deg, track.latitude_deg[kept], rtol=0, atol=1e-9)
    np.testing.assert_allclose(rest.speed_mps, track.speed_mps[kept])
    assert json.loads(result.stdout) == {
        "written": str(out),
        "fixes": sum(kept),
        "left_out": 40 - sum(kept),
        "cut_m": 100.0,
    }


def test_passing_home_in_the_middle_is_cut_out_and_leaves_two_pieces(tmp_path):
    """There, back past the start, and out again."""
    way = np.concatenate((np.arange(0, 21), np.arange(20, -1, -1), np.arange(0, 41)))
    drive = small_drive(len(way))
    path, out = tmp_path / "drive.gpx", tmp_path / "out.gpx"
    lines = gpx_11(drive).decode().split("\n")
    for i, place in enumerate(way):
        latitude, longitude = 45.1 + place * 1e-4, -93.2
        start = lines[3 + i].index("<ele>")
        lines[3 + i] = f'<trkpt lat="{latitude:.7f}" lon="{longitude}">{lines[3 + i][start:]}'
    path.write_text("\n".join(lines), encoding="utf-8")
    assert _run("trim", path, "--out", out, "--cut", "60m").exit_code == 0
    rest = read_track(out)
    step_m = 111_131.7 * 1e-4  # length of 1e-4 degrees along the meridian at 45.1 degrees, 11.1 m
    first = math.floor(60 / step_m) + 1
    assert rest.latitude_deg.min() == pytest.approx(45.1 + first * 1e-4, abs=1e-9)
    assert rest.segment[-1] == 1


def test_a_file_is_never_overwritten_and_too_long_a_cut_is_refused(drive, tmp_path):
    """Originals stay as they are."""
    before = drive.read_bytes()
    with pytest.raises(SpeedcalError, match="exists already"):
        _run("trim", drive, "--out", drive, "--cut", "50m")
    assert drive.read_bytes() == before
    out = tmp_path / "out.gpx"
    with pytest.raises(SpeedcalError, match="no part of the drive is farther than 5000 m"):
        _run("trim", drive, "--out", out, "--cut", "5km")
    assert not out.exists()
    with pytest.raises(SpeedcalError, match="5 leagues"):
        _run("trim", drive, "--out", out, "--cut", "5 leagues")


def test_a_full_disk_leaves_no_part_that_is_in_the_way_of_the_next_try(drive, tmp_path, monkeypatch):
    def half_written(path: Path, data: bytes) -> int:
        with path.open("wb") as file:
            file.write(data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    out = tmp_path / "out.gpx"
    with monkeypatch.context() as full:
        full.setattr(Path, "write_bytes", half_written)
        with pytest.raises(SpeedcalError, match="No space left"):
            _run("trim", drive, "--out", out, "--cut", "50m")
    assert not out.exists()
    assert _run("trim", drive, "--out", out, "--cut", "50m").exit_code == 0


def test_a_drive_without_a_date_is_written_with_one_that_is_said_to_be_none(tmp_path):
    """GPX has no times of day."""
    path = tmp_path / "log.csv"
    rows = "\n".join(f"10:32:{i:02d},45.{100 + i},9.1" for i in range(30))
    path.write_text(f"time,lat,lon\n{rows}\n", encoding="utf-8")
    result = _run("trim", path, "--out", tmp_path / "out.gpx", "--cut", "500m")
    assert result.exit_code == 0
    assert "times of day only" in result.stderr
    assert "2000-01-01T10:32:05Z" in (tmp_path / "out.gpx").read_text(encoding="utf-8")


def test_the_same_drive_is_written_in_the_same_bytes(drive, tmp_path):
    """No time of writing, no random names."""
    outs = [tmp_path / name for name in ("a.gpx", "b.gpx")]
    for out in outs:
        _run("trim", drive, "--out", out, "--cut", "50m")
    assert outs[0].read_bytes() == outs[1].read_bytes()


def test_a_plot_goes_through_a_pipe_that_knows_no_blocks(drive):
    """An encoding of Windows gets plain letters instead of an error."""
    done = subprocess.run(
        [sys.executable, "-c", "from speedcal.cli import main; main()", "inspect", drive, "--plot"],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "cp1252"},
    )
    assert done.returncode == 0, done.stderr
    assert b"km/h +------" in done.stdout
    assert b"##" in done.stdout


def test_a_bar_moves_where_a_person_watches_and_only_after_a_while(monkeypatch, capsys):
    """Nothing for what is quick, nothing on a pipe."""
    shown = []
    monkeypatch.setattr("speedcal.cli._waiting._AFTER_S", 0.05)
    monkeypatch.setattr("rich.progress.Progress.add_task", lambda _self, text, total: shown.append(text))
    for watched in (False, True):
        monkeypatch.setattr("sys.stderr.isatty", lambda watched=watched: watched)
        with waiting("nothing"):
            pass
        with waiting(f"watched {watched}"):
            time.sleep(0.5)
    assert shown == ["watched True"]
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("as_json", [False, True])
def test_a_name_goes_through_a_pipe_that_does_not_know_its_letters(tmp_path, as_json):
    """The letter U+0141 is no part of an encoding of Windows and is written as its number."""
    path = tmp_path / "\u0141 notes.csv"
    path.write_bytes(readings_table(DRIVE))
    done = subprocess.run(
        [sys.executable, "-c", "from speedcal.cli import main; main()", "inspect", path, *["--json"] * as_json],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "cp1252"},
    )
    assert done.returncode == 0, done.stderr
    assert b"\\u0141 notes.csv" in done.stdout
    if as_json:
        assert json.loads(done.stdout)["files"][0]["source"] == path.name


def test_a_minus_goes_through_a_pipe_that_has_none(tmp_path):
    """Two runs leave the needle's offset open either way: its low end is below zero, and no row is marked by codes."""
    path = tmp_path / "mile.csv"
    path.write_text("dial mph,distance mi,time mm:ss\n35,1,1:54\n60,1,1:06\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", "from speedcal.cli import main; main()", "calibrate", path],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "cp1252"},
    )
    assert done.returncode == 0, done.stderr
    assert re.search(rb"needle offset -?[\d.]+ \(-\d", done.stdout), done.stdout
    assert b"\\u" not in done.stdout
