"""What the commands of a job still say where drives of it are refused."""

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
    out, err = run(folder, capfd, "report", "--out", str(folder / "out"), *options)
    assert not (folder / "out").exists()
    return out, err


def run(
    folder: Path, capfd: pytest.CaptureFixture[str], command: str, *options: str, status: int = 2
) -> tuple[str, str]:
    with pytest.raises(SystemExit) as ended:
        main([command, str(folder / "job.toml"), *options])
    assert ended.value.code == status
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
    assert json.loads(told(folder, capfd, "--json")[0])["without_it"]["verification"]["verdict"] == "pass"
    assert "PASS" in run(folder, capfd, "verify")[0]


def test_verify_tells_the_gear_where_the_drive_after_the_work_is_refused(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Before any work is written down: the gear to fit; after it, the road test to drive."""
    spoil(folder, "after_notes.csv")
    job = (folder / "job.toml").read_text()
    out, err = run(folder, capfd, "verify")
    assert "after_notes.csv" in err
    assert "Drive the road test of the work (driven gear 22)" in out
    (folder / "job.toml").write_text(job[: job.index("[work]")] + job[job.index("[after]") :])
    out, _ = run(folder, capfd, "verify")
    assert "Fit a driven gear with 22 teeth" in out
    answer = json.loads(run(folder, capfd, "verify", "--json")[0])
    assert (answer["error"], answer["values"]["of_drive"]) == ("foreign_readings", "after")
    assert answer["without_it"]["corrections"]["advice"][0]["value"] == 22


@pytest.mark.parametrize("command", ["correct", "explain", "plan", "history"])
def test_a_command_says_what_it_would_of_the_job_without_the_refused_drive(
    command: str, folder: Path, tmp_path_factory: pytest.TempPathFactory, capfd: pytest.CaptureFixture[str]
) -> None:
    """To the last figure, and it names the drive by its place in the job as it stands."""
    alone = shutil.copytree(folder, tmp_path_factory.mktemp("alone"), dirs_exist_ok=True)
    wanted = json.loads(run(alone, capfd, command, "--json", status=0)[0])
    job = (folder / "job.toml").read_text()
    shutil.copy(folder / "before_notes.csv", folder / "foreign.csv")
    spoil(folder, "foreign.csv")
    foreign = '[[before]]\ntrack = "before.gpx"\nreadings = "foreign.csv"\n'
    job = job.replace("[before]", "[[before]]").replace("[after]", f"{foreign}[after]")
    (folder / "job.toml").write_text(job)
    answer = json.loads(run(folder, capfd, command, "--json")[0])
    assert (answer["error"], answer["values"]["of_drive"]) == ("foreign_readings", "before 2")
    without = answer["without_it"]
    assert (without if command == "explain" else next(iter(without.values()))) == wanted


def test_a_plan_is_made_without_the_drive_before_but_no_sheet(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    spoil(folder, "before_notes.csv")
    out, err = run(folder, capfd, "plan", "--sheet", str(folder / "sheet.pdf"))
    assert out.startswith("Without this drive:")
    assert "Nothing was written." in err
    assert not (folder / "sheet.pdf").exists()


def test_where_all_drives_are_refused_the_facts_and_the_next_step_are_told(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each refusal with its remedy; what the parts as stated come to, and another drive."""
    for name in ("before_notes.csv", "after_notes.csv"):
        spoil(folder, name)
    out, err = told(folder, capfd)
    assert "before_notes.csv" in err
    assert "after_notes.csv" in err
    assert "worked out from the parts as stated" in out
    assert "add a drive to the job" in out
    answer = json.loads(told(folder, capfd, "--json")[0])
    assert [answer["error"], *(further["error"] for further in answer["further"])] == ["foreign_readings"] * 2
    assert answer["without_it"]["drives"] == []


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
