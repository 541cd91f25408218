"""What ``speedcal report`` still says where drives of a job are refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from speedcal.cli import main

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("job.toml", "before.gpx", "before_notes.csv", "after.gpx", "after_notes.csv"):
        shutil.copy(DEMO / name, tmp_path)
    return tmp_path


def spoil(folder: Path, name: str) -> None:
    """Have the notes jump about: they follow no track."""
    lines = (folder / name).read_text().splitlines()
    notes = [f"{line.split(',')[0]},{20 + 37 * i % 50}" for i, line in enumerate(lines[2:])]
    (folder / name).write_text("\n".join([*lines[:2], *notes]) + "\n")


def told(folder: Path, capfd: pytest.CaptureFixture[str], *options: str) -> tuple[str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["report", str(folder / "job.toml"), "--out", str(folder / "out"), *options])
    assert ended.value.code == 2
    assert not (folder / "out").exists()
    said = capfd.readouterr()
    return said.out, said.err


def test_a_drive_after_that_is_judged_alone_where_the_one_before_is_refused(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    spoil(folder, "before_notes.csv")
    out, err = told(folder, capfd)
    assert "before_notes.csv" in err
    assert "PASS" in out
    assert "no drive before" in out


def test_where_all_drives_are_refused_the_facts_and_the_next_step_are_told(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each refusal with its remedy; 22 teeth by the parts as stated, and another drive."""
    for name in ("before_notes.csv", "after_notes.csv"):
        spoil(folder, name)
    out, err = told(folder, capfd)
    assert "before_notes.csv" in err
    assert "after_notes.csv" in err
    assert "worked out from the parts as stated" in out
    assert "add a drive to the job" in out
    assert json.loads(told(folder, capfd, "--json")[0])["error"] == "foreign_readings"


def test_of_a_drive_given_twice_the_second_is_left_out(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    job = (folder / "job.toml").read_text()
    twice = '[[after]]\ntrack = "after.gpx"\nreadings = "after_notes.csv"\n'
    (folder / "job.toml").write_text(job.replace("[after]", f"{twice}[[after]]"))
    out, err = told(folder, capfd)
    assert "the same drive, given twice" in err
    assert "PASS" in out


def test_without_drive_and_facts_nothing_is_said_but_the_refusal(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    job = (folder / "job.toml").read_text()
    start, end = job.index("[vehicle]"), job.index("[before]")
    (folder / "job.toml").write_text(job[:start] + job[end:])
    for name in ("before_notes.csv", "after_notes.csv"):
        spoil(folder, name)
    assert told(folder, capfd)[0] == ""
