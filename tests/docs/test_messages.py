"""What people really give by mistake: each leads to one message that says what to do, and to exit status 2."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from support import documents as doc

from speedcal import SpeedcalError
from speedcal.cli import main

DEMO = doc.ROOT / "data_demo"
TRACK = (DEMO / "before.gpx").read_text(encoding="utf-8")
NOTES = (DEMO / "before_notes.csv").read_text(encoding="utf-8")
JOB = (DEMO / "job.toml").read_text(encoding="utf-8")
READINGS = re.findall(r"^(\d\d:\d\d:\d\d [AP]M),(\d+)$", NOTES, re.MULTILINE)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with the demo drives and files that are wrong."""
    write = {
        "drive.gpx": TRACK,
        "notes.csv": NOTES,
        "other drive.csv": (DEMO / "after_notes.csv").read_text(encoding="utf-8"),
        "empty.csv": "",
        "last year.gpx": re.sub(r"2031-05-17T", "2030-05-11T", TRACK),
        "stamped.csv": "time,dial (mph)\n" + "".join(f"2031-05-17T{utc(t)}Z,{v}\n" for t, v in READINGS),
        "no unit.csv": NOTES.replace("dial (mph)", "dial"),
        "no times.gpx": re.sub(r"<time>.*?</time>", "", TRACK),
        "route.gpx": '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><rte>'
        '<rtept lat="1" lon="2"/><rtept lat="1.1" lon="2"/></rte></gpx>',
        "cut off.gpx": TRACK[: len(TRACK) // 2],
        "page.html": "<!DOCTYPE html><html><body>Please log in</body></html>",
        "three.csv": "time,dial mph\n" + "".join(f"{t},{v}\n" for t, v in READINGS[:3]),
        "words.csv": "time,dial mph\n"
        + "".join(f"{t},{v if i % 4 else 'very ' * (i // 4) + 'fast'}\n" for i, (t, v) in enumerate(READINGS)),
        "two speeds.csv": "time,speed mph,vehicle speed km/h\n" + "".join(f"{t},{v},50\n" for t, v in READINGS),
        "parked.csv": "time,dial mph\n" + "".join(f"{t},0\n" for t, _ in READINGS),
        "letter.txt": "Dear shop,\nthe dial reads wrong.\n",
        "held wrong.csv": "dial mph\n" + "".join(f"{v}\n" for v in (20, 70, 20, 70, 20, 70, 20, 70, 20)),
        "misspelt.toml": JOB.replace("driven_gear = 19", "driven_geer = 19"),
        "no such track.toml": JOB.replace("before.gpx", "befor.gpx"),
        "no quotes.toml": JOB.replace('"P225/70R16"', "P225/70R16"),
        "odd tire.toml": JOB.replace("P225/70R16", "225-70-16x"),
        "odd rule.toml": JOB.replace("un_r39_type", "un_r39_typ"),
        "odd unit.toml": JOB.replace('unit = "mph"', 'unit = "mpg"'),
        "no drive.toml": "[vehicle]\ndriven_gear = 19\n",
    }
    for name, text in write.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    for name in ("before.gpx", "before_notes.csv", "after.gpx", "after_notes.csv"):
        (tmp_path / name).write_bytes((DEMO / name).read_bytes())
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8)
    (tmp_path / "screen.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8)
    (tmp_path / "scan.pdf").write_bytes(b"%PDF-1.7\n" + bytes(range(256)) * 8)
    with zipfile.ZipFile(tmp_path / "letter.docx", "w") as letter:
        letter.writestr("[Content_Types].xml", "<Types/>")
        letter.writestr("word/document.xml", "<document/>")
    (tmp_path / "phone").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def utc(clock: str) -> str:
    """Return the UTC time of a note of the demo, whose watch is ten hours behind."""
    return f"{int(clock[:2]) + 10:02d}{clock[2:8]}"


CALIBRATE = {
    "track and readings swapped": ("notes.csv", "drive.gpx", "Exchange the two"),
    "plain notes for the track": ("letter.txt", "drive.gpx", "Exchange the two"),
    "a photo of the dial": ("drive.gpx", "photo.jpg", "is a picture"),
    "a screenshot for a track": ("screen.png", "notes.csv", "is a picture"),
    "a scan of the notes": ("drive.gpx", "scan.pdf", "is a PDF document"),
    "an empty file": ("drive.gpx", "empty.csv", "the file is empty"),
    "an empty track": ("empty.csv", "notes.csv", "Record or export the drive again"),
    "a track from last year": ("last year.gpx", "stamped.csv", "no time in common"),
    "a unit forgotten": ("drive.gpx", "no unit.csv", "does not state its unit"),
    "readings of another drive": ("drive.gpx", "other drive.csv", "of another drive"),
    "a folder for a file": ("phone", "notes.csv", "this is a folder, not a file"),
    "no such file": ("drive.gpx", "nots.csv", "Check the name"),
    "the same file twice": ("drive.gpx", "drive.gpx", "no waypoint that is named with a speed"),
    "a track without times": ("no times.gpx", "notes.csv", "with the time of each position"),
    "a planned route": ("route.gpx", "notes.csv", "planned route"),
    "the log-in page of a web site": ("page.html", "notes.csv", "is a web page"),
    "three readings": ("drive.gpx", "three.csv", "at least eight readings"),
    "words for numbers": ("drive.gpx", "words.csv", "'fast' is not a number"),
    "two speed columns": ("drive.gpx", "two speeds.csv", "--column"),
    "a dial that stood still": ("drive.gpx", "parked.csv", "Check"),
    "a letter": ("drive.gpx", "letter.txt", "one reading a line"),
    "speeds that were never held": ("drive.gpx", "held wrong.csv", "order"),
    "a letter from an office program": ("drive.gpx", "letter.docx", "Save it as plain text"),
}
JOBS = {
    "a misspelt key": ("misspelt.toml", r"misspelt.toml:\d+: .*did you mean 'driven_gear'\?"),
    "a misspelt file name": ("no such track.toml", r"did you mean 'before.gpx'\?"),
    "quotes forgotten": ("no quotes.toml", r"Put texts in quotes"),
    "a tire size nobody sells": ("odd tire.toml", r"Write it as on the sidewall"),
    "a misspelt rule": ("odd rule.toml", r"did you mean 'un_r39_type'\?"),
    "a unit that is none": ("odd unit.toml", r'should be "mph" or "km/h"'),
    "a job without a drive": ("no drive.toml", r"Give them .*in \[vehicle\]"),
    "a track for a job": ("drive.gpx", "Give the job.toml file"),
    "a folder without a job": ("phone", r"job.toml: .*Check the name and the folder"),
    "no such job": ("jobb.toml", r"Check the name and the folder"),
}
OTHERS = {
    "a job for a drive": (["calibrate", "job.toml"], "Give it to speedcal correct"),
    "a page of the guide that is none": (["guide", "tires"], "--find tires"),
    "a command misspelt": (["calibrat", "drive.gpx"], "did you mean 'calibrate'?"),
    "the readings left out": (["calibrate", "drive.gpx"], "Name the readings after it"),
    "a unit misspelt": (["calibrate", "drive.gpx", "notes.csv", "--unit", "kmh"], "'km/h'"),
    "a column that is not there": (["calibrate", "drive.gpx", "two speeds.csv", "--column", "rpm"], "speed mph"),
    "a zone that is none": (["calibrate", "drive.gpx", "notes.csv", "--zone", "Nowhere"], "Write it as +02:00"),
    "a result over a file": (["report", "job.toml", "--out", "notes.csv"], "Name a folder"),
    "no folder for the result": (["report", "job.toml"], "--out"),
    "half a tire size": (["tire", "35"], "Write it as on the sidewall"),
    "a count without the shaft": (["axle", "10"], "10:37.25"),
    "a shared track over the original": (["trim", "drive.gpx", "--out", "drive.gpx"], "exists already"),
    "a sheet over the original": (["plan", "job.toml", "--sheet", "drive.gpx"], "exists already"),
    "a speed that is none": (["history", "job.toml", "--speed", "0"], "not in the range"),
    "nothing to inspect": (["inspect", "nothing.gpx"], "Check the name"),
    "speeds in words": (["correct", "job.toml", "--speeds", "fast"], "30,50,70"),
    "a number that is none": (["calibrate", "drive.gpx", "notes.csv", "--clock-offset", "nan"], "Write it like 12.5"),
    "a percentage that is none": (["fleet", "phone", "--out", "result", "--percent", "nan"], "Write it like 12.5"),
    "a history without drives": (["history", "no drive.toml", "--speed", "50"], "Give"),
    "a backup of nothing": (["backup", "shop.zip", "--data", "phone"], "Name it with --data"),
}


def test_a_download_that_broke_off_is_used_as_far_as_it_goes_and_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With one note of two, and the interval that they carry."""
    with pytest.raises(SystemExit) as ended:
        main(["calibrate", "cut off.gpx", "notes.csv"])
    assert ended.value.code == 0
    assert "cut off" in capsys.readouterr().out


def told(run: Callable[[], None], capfd: pytest.CaptureFixture[str]) -> str:
    """Return the message of a command that must end with status 2, after checking that it is one message."""
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capfd.readouterr()
    assert ended.value.code == 2, out + err
    assert out == ""
    assert "Traceback" not in err
    assert err.rstrip().endswith((".", "?", "]")) or err.startswith("Usage:")
    return err


@pytest.mark.parametrize("mistake", CALIBRATE)
def test_a_wrong_file_is_told_with_its_name_and_what_to_do(
    mistake: str, folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    track, readings, words = CALIBRATE[mistake]
    message = told(lambda: main(["calibrate", track, readings]), capfd)
    assert words in message
    assert message.startswith("speedcal: ")
    assert len(message) < 700
    assert message.count("speedcal: ") == 1


@pytest.mark.parametrize("mistake", JOBS)
def test_a_wrong_job_is_told_with_its_line_and_what_to_do(
    mistake: str, folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    name, words = JOBS[mistake]
    message = told(lambda: main(["report", name, "--out", "result"]), capfd)
    assert re.search(words, message), message
    assert message.startswith("speedcal: ")
    assert not (folder / "result").exists()


@pytest.mark.parametrize("mistake", OTHERS)
def test_a_wrong_command_is_told_with_what_to_type(
    mistake: str, folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    arguments, words = OTHERS[mistake]
    assert words in told(lambda: main(arguments), capfd)


@pytest.mark.parametrize(("header", "noted"), [("mph", "km/h"), ("km/h", "mph")])
def test_readings_noted_in_the_other_unit_are_asked_about(
    header: str, noted: str, folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """A dial 14 % high, noted in km/h under a heading of mph, shows 1.84 times the true speed: a question, no trust."""
    factor = 1.609344 if noted == "km/h" else 1.0
    rows = "".join(f"{t},{round(factor * int(v))}\n" for t, v in READINGS)
    (folder / "mixed.csv").write_text(f"time,dial ({header})\n{rows}", encoding="utf-8")
    main_in(["calibrate", "drive.gpx", "mixed.csv"])
    first = capfd.readouterr().out.splitlines()[0]
    assert first.startswith("WEAK (")
    assert f"noted in {noted}?" in first


def test_the_unit_for_people_may_differ_from_that_of_the_file(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """--unit km/h shows the answer in km/h; readings noted under a heading of mph stay mph."""
    main_in(["calibrate", "drive.gpx", "notes.csv"])
    mph = capfd.readouterr().out.splitlines()
    main_in(["calibrate", "drive.gpx", "notes.csv", "--unit", "km/h"])
    kmh = capfd.readouterr().out.splitlines()
    assert mph[:2] == kmh[:2]
    assert any("at a true 100 km/h" in line for line in kmh)


def test_a_watch_known_to_be_hours_off_can_be_told_so(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Notes carry no date, so 10 h and 9 s is all a person can know of their clock."""
    main_in(["calibrate", "drive.gpx", "notes.csv", "--clock-offset", "36009"])
    assert "+10:00 h" in capfd.readouterr().out


def test_a_wrong_file_as_json_is_an_object_with_the_parts_of_the_message(folder: Path) -> None:
    """Programs read what, where and what to do; the status is the same."""
    import json

    for command, code, source in (
        ("calibrate drive.gpx photo.jpg", "not_a_log", "photo.jpg"),
        ("correct job.toml --speeds fast", "speeds_unreadable", ""),
        ("plan job.toml --unit knots", "call_unusable", ""),
        ("axle --bogus", "call_unusable", ""),
    ):
        done = doc.run_block(doc.Block("", "sh", f"speedcal {command} --json", 0), folder)
        assert done.status == 2
        answer = json.loads(done.printed)
        assert {"error", "text", "values", "source", "line", "remedy"} == set(answer)
        assert (answer["error"], answer["source"]) == (code, source)


def test_a_reader_of_the_output_may_leave_early(folder: Path) -> None:
    """Showing the first line only is no fault of the command."""
    done = doc.run_block(doc.Block("", "sh", "speedcal inspect drive.gpx notes.csv | head -n 1", 0), folder)
    assert done.printed.startswith("drive.gpx: GPX")
    assert "Traceback" not in done.remarks


@pytest.mark.parametrize(("unread", "status"), [("pipe", 141), ("disk", 2)])
def test_an_answer_that_nobody_gets_is_no_verdict(unread: str, status: int) -> None:
    """A pipe closed before the first line, a disk that is full: status 1 would say that the vehicle failed."""
    if unread == "disk":
        if not Path("/dev/full").exists():
            pytest.skip("this system has no /dev/full")
        end = os.open("/dev/full", os.O_WRONLY)
    else:
        unread_end, end = os.pipe()
        os.close(unread_end)
    with open(end, "wb") as out:
        done = subprocess.run(
            [sys.executable, "-m", "speedcal", "tire", "P225/70R16", "--json"],
            stdout=out, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, "Traceback" in done.stderr) == (status, False), done.stderr


@pytest.mark.parametrize(
    ("call", "status"),
    [
        ("tire P225/70R16 >&-", 0),
        ("tire P225/70R16 2>&-", 0),
        ("calibrate nothing.gpx notes.csv 2>/dev/full", 2),
        ("calibrate --bogus 2>/dev/full", 2),
    ],
)
def test_who_closes_or_fills_an_output_still_gets_the_status(call: str, status: int, folder: Path) -> None:
    """A task of the system that starts the command without a terminal; 1 would say that the vehicle failed."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    line = f'"{sys.executable}" -m speedcal {call}'
    done = subprocess.run(["sh", "-c", line], capture_output=True, text=True, check=False)
    assert (done.returncode, "Traceback" in done.stdout + done.stderr) == (status, False), done


def test_python_callers_get_the_same_message() -> None:
    """The text of the error is the text of the command."""
    from speedcal import read_track

    with pytest.raises(SpeedcalError, match="this is a folder, not a file"):
        read_track(doc.ROOT)


def main_in(arguments: list[str]) -> None:
    """Run the command and expect it to end well."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 0


def test_every_command_explains_itself_with_an_example() -> None:
    """Each help text shows what to type."""
    from speedcal.cli import COMMANDS, cli

    for name in COMMANDS:
        result = CliRunner().invoke(cli, [name, "--help"])
        assert result.exit_code == 0
        assert f"  speedcal {name}" in result.output, name
        assert "=None" not in result.output, name


@pytest.mark.parametrize(
    ("fault", "status"),
    [(OSError(28, "No space left on device"), 2), (ZeroDivisionError("ours"), 2), (KeyboardInterrupt(""), 130)],
)
def test_what_breaks_is_no_verdict(
    fault: BaseException, status: int, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """A full disk below the output, a fault of ours, Ctrl+C: status 1 would say that the vehicle failed."""

    def broken(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("speedcal.cli.verify.emit_explained", broken)
    with pytest.raises(SystemExit) as ended:
        main(["verify", str(DEMO / "job.toml")])
    assert ended.value.code == status
    said = capfd.readouterr().err
    assert ("Traceback" in said) == isinstance(fault, ZeroDivisionError)
    assert str(fault.args[-1]) in said
