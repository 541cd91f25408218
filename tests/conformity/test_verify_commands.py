"""The commands verify, plan and history on simulated jobs: texts, JSON and exit status."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from speedcal.cli import cli
from speedcal.simulate import KINDS, simulate, write_drive
from speedcal.units import MPH_MPS


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a folder with a drive before (10 % high, 20 teeth) and one after (22 teeth), seeds fixed."""
    folder = tmp_path_factory.mktemp("shop")
    for name, factor, seed in (("before", 1.10, 1), ("after", 1.10 * 20 / 22, 2)):
        drive = simulate(KINDS["noted"], seed, error_factor=factor, offset_mps=0.5 * MPH_MPS)
        (folder / name).mkdir()
        write_drive(drive, folder / name)
    return folder


def _job(
    shop: Path, name: str, *, tolerance: str, work: int = 22, parts: tuple[str, ...] = ("before", "after")
) -> Path:
    lines = [
        '[job]\nunit = "mph"\n[vehicle]\nlabel = "Invented truck"\ndriven_gear = 20',
        f"[work]\ndriven_gear = {work}",
    ]
    for part in parts:
        track, readings = sorted((shop / part).iterdir(), key=lambda p: p.suffix != ".gpx")
        lines.append(f'[{part}]\ntrack = "{part}/{track.name}"\nreadings = "{part}/{readings.name}"')
    lines.append(f"[tolerance]\n{tolerance}")
    path = shop / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(cli, [str(a) for a in arguments])


@pytest.mark.parametrize(
    ("tolerance", "status", "word"),
    [("percent = 8", 0, "pass"), ("high_percent = -5", 1, "fail"), ("percent = 0.05", 3, "not proven")],
)
def test_the_exit_status_tells_the_verdict(shop: Path, tolerance: str, status: int, word: str) -> None:
    """0 pass, 1 fail, 3 not proven; the JSON says the same."""
    result = _run("verify", _job(shop, f"{status}.toml", tolerance=tolerance), "--json")
    assert result.exit_code == status, result.output
    shown = json.loads(result.stdout)
    assert shown["verdict"] == word
    assert shown["predicted_agrees"] is True


def test_the_text_names_rule_source_and_decision_rule(shop: Path) -> None:
    """What a person reads: the word first, then the rule with its source and each speed; how it is decided is asked."""
    job = _job(shop, "text.toml", tolerance='rule = "un_r39_type"\nspeeds = [30, 50]')
    text, full = _run("verify", job).stdout, _run("verify", job, "--explain").stdout
    assert text.split()[0] in ("PASS", "FAIL", "NOT")
    for expected in ("UN Regulation No. 39", "at a true 30 mph it shows", "they agree"):
        assert expected in text
        assert expected in full
    assert "JCGM 106" in full
    assert "JCGM 106" not in text


def test_a_rule_from_memory_says_so_in_text_and_json(shop: Path) -> None:
    """Wherever the value is shown."""
    job = _job(shop, "memory.toml", tolerance='rule = "un_r39_cop_mn"\nspeeds = [40]')
    assert "not verified" in _run("verify", job).stdout
    assert "not verified" in _run("verify", job, "--json").stdout


def test_work_that_did_not_happen_is_noticed(shop: Path) -> None:
    """25 teeth planned, 22 fitted: 25/22 = +13.6 %."""
    result = _run("verify", _job(shop, "other.toml", tolerance="percent = 8", work=25), "--json")
    shown = json.loads(result.stdout)
    assert shown["predicted_agrees"] is False
    gear = shown["changes"][0]["causes"][0]
    assert gear["fits"]
    assert "22 teeth would change it by +13.6 %" in gear["text"]


def test_a_job_without_an_after_drive_or_tolerance_cannot_be_verified(shop: Path) -> None:
    """One message that says what to add."""
    from speedcal.errors import JobError

    result = _run("verify", _job(shop, "early.toml", tolerance="percent = 8", parts=("before",)))
    assert isinstance(result.exception, JobError)
    assert "no drive after the work" in str(result.exception)


def test_a_road_test_can_be_planned_before_anything_was_driven(tmp_path: Path) -> None:
    """A job with a vehicle alone: the plan answers half a tooth, writes sheet and table, and prints cautions first."""
    path = tmp_path / "new.toml"
    path.write_text('[job]\nshop = "Invented shop"\nnumber = "7"\n[vehicle]\ndriven_gear = 20\n', encoding="utf-8")
    sheet, table = tmp_path / "sheet.pdf", tmp_path / "table.csv"
    result = _run("plan", path, "--sheet", sheet, "--table", table, "--speed-limit", 60)
    assert result.exit_code == 0, result.output
    assert sheet.read_bytes().startswith(b"%PDF")
    assert table.read_text(encoding="utf-8").startswith("hold,time hh:mm:ss,indicated mph,odometer mi\n")
    assert result.stdout.index("CAUTION") < result.stdout.index("hold ")
    assert "mph by GPS for" in result.stdout  # a mark of a dial that nobody measured may be any speed
    assert "--" not in result.stdout  # which is what str() of a plan says in Python and on the page
    assert "--explain" in result.stderr
    assert "written to" not in result.stdout
    assert _run("plan", path, "--table", table, "--speed-limit", 60).exit_code == 0
    table.write_text("filled in", encoding="utf-8")
    again = _run("plan", path, "--table", table, "--speed-limit", 60)
    assert "exists already" in str(again.exception)
    assert table.read_text(encoding="utf-8") == "filled in"


@pytest.mark.parametrize("work", ['[work]\nnote = "The instrument was repaired."\n', ""])
def test_a_dial_that_nobody_can_foretell_is_tested_at_speeds_held_by_gps(shop: Path, work: str) -> None:
    """The dial before reads half and is repaired, or is still to be mended: its marks would be driven at twice."""
    tolerance = "absolute = 1.5\nnever_low = true\nspeeds = [30, 45, 60]"
    job = _job(shop, "repaired.toml", tolerance=tolerance, parts=("before",))
    job.write_text(job.read_text().replace("[work]\ndriven_gear = 22\n", work), encoding="utf-8")
    result = _run("plan", job, "--speed-limit", 65)
    assert "by GPS, not by the dial" in result.stdout
    assert "on the dial for" not in result.stdout
    assert "may not settle" in result.stdout  # what was repaired is tested, however narrow the rule
    shown = json.loads(_run("plan", job, "--json", "--speed-limit", 65).stdout)
    assert shown["held_by"] == "gps"
    assert all(row["hold"] == row["true"] <= 65 for row in shown["plateaus"])


def test_the_plan_for_a_verdict_uses_the_drive_before_and_the_work(shop: Path) -> None:
    """Expected after the work: 1.10 x 20/22 = 1.0; a true 60 shows about 60."""
    job = _job(shop, "plan.toml", tolerance="low_percent = 4\nhigh_percent = 8")
    shown = json.loads(_run("plan", job, "--json", "--speed-limit", 65).stdout)
    assert shown["held_by"] == "dial"
    assert shown["question"] == "tolerance"
    assert all(abs(p["hold"] - p["true"]) < 2 for p in shown["plateaus"])
    tooth = json.loads(_run("plan", job, "--json", "--question", "tooth", "--assume", "pointer_scatter=0.4").stdout)
    assert tooth["question"] == "tooth"


def test_marks_are_those_of_the_dial_whatever_unit_is_asked_for(shop: Path) -> None:
    """The notes say mph: nobody can hold 40 km/h on that dial, and a job that names no unit does not change it."""
    job = _job(shop, "marks.toml", tolerance="low_percent = 4\nhigh_percent = 8", parts=("before",))
    wanted = json.loads(_run("plan", job, "--json", "--speed-limit", 65).stdout)["plateaus"]
    for unit in ('unit = "km/h"', ""):
        job.write_text(re.sub(r"unit = .*", unit, job.read_text(), count=1), encoding="utf-8")
        shown = json.loads(_run("plan", job, "--json", "--speed-limit", 65, "--unit", "km/h").stdout)
        assert shown["speed_unit"] == "mph"
        assert [row["hold"] for row in shown["plateaus"]] == [row["hold"] for row in wanted]
        assert "The dial is marked in mph" in _run("plan", job, "--speed-limit", 65, "--unit", "km/h").stdout


def test_an_assumption_without_a_number_is_refused(shop: Path) -> None:
    """Says how to write it."""
    from speedcal.errors import PlanError

    job = _job(shop, "assume.toml", tolerance="percent = 8")
    result = _run("plan", job, "--assume", "pointer_scatter")
    assert isinstance(result.exception, PlanError)
    assert "pointer_scatter=0.5" in str(result.exception)


def test_a_sheet_that_cannot_be_written_is_one_message(tmp_path: Path) -> None:
    """No traceback: the file, the reason."""
    from speedcal.errors import PlanError

    path = tmp_path / "new.toml"
    path.write_text("[vehicle]\ndriven_gear = 20\n", encoding="utf-8")
    result = _run("plan", path, "--sheet", tmp_path / "nowhere" / "sheet.pdf")
    assert isinstance(result.exception, PlanError)
    assert "cannot be written (No such file or directory)" in str(result.exception)


def test_the_history_of_a_job_shows_the_gear_change(shop: Path) -> None:
    """Two drives, 9 % apart: in whichever order their dates come, a jump."""
    result = _run("history", _job(shop, "history.toml", tolerance="percent = 8"), "--json")
    assert result.exit_code == 0, result.output
    shown = json.loads(result.stdout)
    assert len(shown["drives"]) == 2
    assert [f["code"] for f in shown["findings"]] == ["jump"]
