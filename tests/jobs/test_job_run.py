"""Running a job: as far as it has the parts, the truth within the intervals, the same bytes, nothing else touched."""

import csv
import hashlib
import io
import json
import os
import runpy
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from benchmark.outside.files import write_files
from benchmark.outside_score import outside_drive
from support.blank_pictures import leave_blank
from support.calibrations import make_calibration

import speedcal
from speedcal.calibration.readings.refusals import refuse_nonsense
from speedcal.cli import main
from speedcal.errors import FitError, JobError, SpeedcalError
from speedcal.jobs import JobResult, load_job, measure_job, output
from speedcal.jobs.contents import Drive
from speedcal.jobs.measured_drive import held_readings, ranges_of
from speedcal.jobs.pipeline import measure_usable
from speedcal.simulate import KINDS, Plateau, simulate, write_drive
from speedcal.units import MPH_MPS
from speedcal.vehicle import Vehicle
from speedcal.whole_file import write_whole

DEMO = Path(__file__).parents[2] / "data_demo"
TRUTH: dict[str, Any] = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def demo() -> JobResult:
    """Return the result of the demo job."""
    return load_job(DEMO / "job.toml").run()


@lru_cache(maxsize=1)
def files_of_demo() -> dict[str, bytes]:
    """Return the files of that result."""
    return demo().contents()


@pytest.fixture
def drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the demo be laid out once for all tests of how its files are written."""
    files = files_of_demo()
    monkeypatch.setattr(JobResult, "contents", lambda *_, **__: files)


@pytest.fixture
def blank(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the pictures blank where nobody looks at them."""
    monkeypatch.setattr(output, "draw_pictures", leave_blank)


@pytest.fixture
def variant(tmp_path: Path) -> Callable[..., Path]:
    """Make a copy of the demo job without some tables, with lines added."""

    def make(*without: str, more: str = "") -> Path:
        folder = tmp_path / "job"
        shutil.copytree(DEMO, folder, dirs_exist_ok=True)
        text = (DEMO / "job.toml").read_text(encoding="utf-8")
        parts = text.split("\n[")
        kept = [p for p in parts if not any(p.startswith(f"{name}]") for name in without)]
        (folder / "job.toml").write_text("\n[".join(kept) + more, encoding="utf-8")
        return folder / "job.toml"

    return make


def two_drives(job: Path) -> Path:
    """Let the job have two drives before the work: the notes of the first half of its drive, and of the second."""
    lines = (DEMO / "before_notes.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    tables = ""
    for name, part in (("one", lines[2:17]), ("two", lines[17:])):
        (job.parent / f"{name}.csv").write_text("".join([*lines[:2], *part]), encoding="utf-8")
        tables += f'\n[[before]]\ntrack = "before.gpx"\nreadings = "{name}.csv"\n'
    job.write_text(job.read_text(encoding="utf-8") + tables, encoding="utf-8")
    return job


def digests(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir()) if p.is_file()}


def test_the_demo_finds_the_truth_within_its_intervals() -> None:
    """Error factor, offset and clock of both drives; the wrong reading; the tooth count."""
    result = demo()
    for name, c in (("before", result.before), ("after", result.after)):
        assert c is not None
        assert c.error_factor.contains(TRUTH[f"error_factor_{name}"]), name
        assert c.offset_mps.contains(TRUTH["offset_mph"] * MPH_MPS), name
        assert c.clock_offset_s is not None
        days = np.round((c.clock_offset_s.value - TRUTH[f"clock_s_{name}"]) / 86400) * 86400
        assert c.clock_offset_s.contains(TRUTH[f"clock_s_{name}"] + days), name
    assert result.before is not None
    rejected = result.before.readings.query("~used")["line"].tolist()
    assert rejected == [TRUTH["wrong_reading_line_before"]]
    assert result.corrections is not None
    assert result.corrections.best is not None
    assert str(result.corrections.best) == f"driven gear {TRUTH['best_driven_gear']}"


def test_the_truth_of_the_demo_is_hand_arithmetic() -> None:
    """Factor = axle x drive teeth / driven teeth x turns of the tire a mile / turns expected a mile."""
    turns = 1609.344 / TRUTH["circumference_m"]
    assert TRUTH["error_factor_before"] == pytest.approx(41 / 11 * 8 / 19 * turns / 1000, abs=1e-6)
    assert TRUTH["error_factor_after"] == pytest.approx(41 / 11 * 8 / 22 * turns / 1000, abs=1e-6)


def test_the_demo_passes_and_the_change_is_the_planned_one() -> None:
    """The whole story of the job, in one verdict."""
    verification = demo().verification
    assert verification is not None
    assert verification.verdict == "pass"
    assert verification.predicted_agrees is True


def test_the_demo_is_made_by_the_script_beside_it(tmp_path: Path) -> None:
    """The committed files are byte for byte what the script writes."""
    runpy.run_path(str(DEMO / "make_demo.py"))["main"](tmp_path)
    made = digests(tmp_path)
    assert len(made) == 5
    committed = digests(DEMO)
    assert made == {name: committed[name] for name in made}


@pytest.mark.usefixtures("drawn_once")
def test_the_folder_holds_what_is_promised(tmp_path: Path) -> None:
    """Seven files, no more."""
    written = demo().write(tmp_path / "new" / "folder")
    names = {
        "report.html",
        "report.pdf",
        "before_after.png",
        "before_after.svg",
        "before_after.pdf",
        "result.json",
        "readings_aligned.csv",
    }
    assert {p.name for p in written} == names
    assert {p.name for p in (tmp_path / "new" / "folder").iterdir()} == names


@pytest.mark.usefixtures("blank")
def test_originals_are_unchanged_and_nothing_is_written_beside_them(
    variant: Callable[..., Path], tmp_path: Path
) -> None:
    """The job folder is the same before and after."""
    job = variant()
    before = digests(job.parent)
    load_job(job).run().write(tmp_path / "result")
    assert digests(job.parent) == before


@pytest.mark.usefixtures("blank")
def test_an_original_is_never_overwritten(variant: Callable[..., Path]) -> None:
    """A job file that reads from a file called result.json cannot be written over it."""
    job = variant("after", "work")
    (job.parent / "before_notes.csv").rename(job.parent / "result.json")
    job.write_text(job.read_text(encoding="utf-8").replace("before_notes.csv", "result.json"), encoding="utf-8")
    with pytest.raises(JobError, match="would be overwritten"):
        load_job(job).run().write(job.parent)


@pytest.mark.usefixtures("drawn_once")
def test_no_card_of_an_earlier_result_stays_beside_this_one(tmp_path: Path) -> None:
    """Its figures would go on the dash; what else lies in the folder is left alone."""
    for name in ("correction_card.pdf", "correction_card.png", "letter.pdf"):
        (tmp_path / name).touch()
    written = demo().write(tmp_path)
    assert set(tmp_path.iterdir()) == {*written, tmp_path / "letter.pdf"}


@pytest.mark.usefixtures("drawn_once")
def test_a_folder_that_cannot_be_written_is_one_message(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "taken").write_text("x")
    with pytest.raises(JobError, match="cannot be written"):
        demo().write(tmp_path / "taken")


def test_a_disk_that_fills_up_leaves_the_earlier_result_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No file cut off, none of this result beside those of that one, nothing left over."""
    out = tmp_path / "out"
    contents = files_of_demo()  # made before: what is made on the way there, fonts, would not fit either
    monkeypatch.setattr(JobResult, "contents", lambda *_, **__: {name: b"old" + contents[name] for name in contents})
    demo().write(out)
    earlier = {path.name: path.read_bytes() for path in out.iterdir()}
    largest = max(len(data) for data in earlier.values())
    resource = pytest.importorskip("resource")  # only where files can be held to a size
    monkeypatch.setattr(JobResult, "contents", lambda *_, **__: contents)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest // 2, before[1]))
    try:
        with pytest.raises(JobError, match="File too large"):
            demo().write(out)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == earlier


def test_a_link_in_the_folder_stays_a_link_and_a_file_keeps_its_rights(tmp_path: Path) -> None:
    elsewhere, link, device = tmp_path / "elsewhere", tmp_path / "link", Path(os.devnull)
    elsewhere.write_bytes(b"old")
    elsewhere.chmod(0o640)
    link.symlink_to(elsewhere)
    write_whole({link: b"new", device: b"gone"})
    assert (link.is_symlink(), elsewhere.read_bytes(), elsewhere.stat().st_mode & 0o777) == (True, b"new", 0o640)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["elsewhere", "link"]


def test_only_a_drive_before_still_gives_corrections(variant: Callable[..., Path]) -> None:
    """The usual first visit: what is wrong and what to fit."""
    result = load_job(variant("after", "work", "tolerance")).run()
    assert result.after is None
    assert result.verification is None
    assert result.corrections is not None
    assert result.to_dict()["after"] is None


def test_only_a_drive_after_and_a_tolerance_give_a_verdict(variant: Callable[..., Path]) -> None:
    """The verdict needs no drive before; corrections are not invented."""
    result = load_job(variant("before", "work")).run()
    assert result.before is None
    assert result.corrections is None
    assert result.verification is not None
    assert result.verification.predicted_agrees is None


def test_without_a_tolerance_there_is_no_verdict_and_without_a_vehicle_a_scaling(variant: Callable[..., Path]) -> None:
    """Nothing is guessed; the change of gain that would be right needs no vehicle.

    Hand arithmetic: an offset of 1.2 mph is 4.80 % at 25 mph and 1.85 % at 65, 3.32 % in the middle; the gain that
    splits it evenly is (1 - 0.0332) / 1.152642 = 0.8388.
    """
    result = load_job(variant("tolerance", "vehicle", "work")).run()
    assert result.verification is None
    assert result.corrections is not None
    assert result.corrections.ideal_gain.contains(0.8388)
    assert "no verdict" in result.summary()


def test_several_drives_are_pooled_and_all_are_reported(variant: Callable[..., Path]) -> None:
    """Two drives before: one calibration, both in the table of readings."""
    result = load_job(two_drives(variant("before"))).run()
    assert [d.name for d in result.drives] == ["before 1", "before 2", "after"]
    rows = list(csv.DictReader(io.StringIO(result.readings_csv())))
    assert {row["drive"] for row in rows} == {"before 1", "before 2", "after"}
    assert len(build_sources(result)) == len(set(build_sources(result)))


def build_sources(result: JobResult) -> list[str]:
    return [name for name, _ in result.files]


def test_every_reading_is_in_the_table_with_its_time_speed_residual_and_fate() -> None:
    """One row a reading, in the unit of the job; residual = shown - predicted; a rejected one has a reason."""
    rows = list(csv.DictReader(io.StringIO(demo().readings_csv())))
    notes = [len((DEMO / f"{n}_notes.csv").read_text().splitlines()) - 2 for n in ("before", "after")]
    assert len(rows) == sum(notes)
    for row in rows:
        residual = float(row["indicated_mph"]) - float(row["predicted_mph"])
        assert float(row["residual_mph"]) == pytest.approx(residual, abs=0.0021)
        assert row["time"].endswith("Z")
        assert (row["used"] == "no") == bool(row["reason"])
    wrong = [row["line"] for row in rows if row["used"] == "no" and row["drive"] == "before"]
    assert wrong == [str(TRUTH["wrong_reading_line_before"])]


def test_the_unit_of_the_job_rules_the_table(variant: Callable[..., Path]) -> None:
    """A job in km/h has columns in km/h: 1.609344 times the miles."""
    job = variant()
    job.write_text(job.read_text(encoding="utf-8").replace('unit = "mph"', 'unit = "km/h"'), encoding="utf-8")
    result = load_job(job).run()
    kmh = list(csv.DictReader(io.StringIO(result.readings_csv())))
    mph = list(csv.DictReader(io.StringIO(demo().readings_csv())))
    assert float(kmh[0]["indicated_kmh"]) == pytest.approx(1.609344 * float(mph[0]["indicated_mph"]), abs=0.002)
    assert result.to_dict()["before"]["speed_unit"] == "km/h"


def test_a_dial_that_is_marked_in_another_unit_has_its_own_figures_beside(variant: Callable[..., Path]) -> None:
    """The notes are in mph: a report in km/h names both, one in mph needs no other."""
    job = variant("after")
    assert load_job(job).run().model.units == ("mph",)
    job.write_text(job.read_text(encoding="utf-8").replace('unit = "mph"', 'unit = "km/h"'), encoding="utf-8")
    model = load_job(job).run().model
    assert model.units == ("km/h", "mph")
    assert all(len(row.true) == 2 and row.true[1].endswith(" mph") for row in model.rows)


def test_several_drives_before_are_told_apart_and_laid_in_order_of_time(variant: Callable[..., Path]) -> None:
    """[[before]] twice on one day: two rows, one date, no disagreement; the drives keep numbers of their own."""
    result = load_job(two_drives(variant("before", "after", "work", "tolerance"))).run().to_dict()
    assert [drive["name"] for drive in result["drives"]] == ["before 1", "before 2"]
    assert [row["date"] for row in result["history"]["before"]["drives"]] == ["2031-05-17"] * 2
    assert result["history"]["before"]["findings"] == []
    assert demo().to_dict()["history"] == {}


def test_a_drive_given_twice_is_refused(variant: Callable[..., Path]) -> None:
    """Two tables that name the same files tell no more than one."""
    more = '\n[[before]]\ntrack = "before.gpx"\nreadings = "before_notes.csv"\n' * 2
    with pytest.raises(JobError) as caught:
        load_job(variant("before", more=more)).run()
    assert caught.value.code == "duplicate_drive"


def test_readings_named_for_two_drives_and_a_clock_said_wrong_are_told(variant: Callable[..., Path]) -> None:
    """The notes before once more as those after, and an offset without the zone: neither was in what was refused."""
    job = variant("vehicle", "work", "tolerance")
    text = job.read_text(encoding="utf-8").replace("after_notes.csv", "before_notes.csv")
    for phase in ("[before]", "[after]"):
        text = text.replace(phase, f"{phase}\nclock_offset_s = 7200")
    job.write_text(text, encoding="utf-8")
    _, (before, after) = measure_usable(load_job(job))
    assert "its readings are those of drive before" in str(after)
    assert before.code == "clock_said_wrong"
    assert "Leave clock_offset_s in [before] out, or correct it" in str(before)


def test_what_explains_the_error_is_in_the_result() -> None:
    """The parts of the demo are as its job states, and that is the likeliest."""
    explanations = demo().to_dict()["explanations"]
    assert explanations["explanations"][0]["differs_in"] == []
    assert explanations["as_stated"] > 0.5
    stated = [prior for prior in explanations["priors"] if prior["values"].get("status") == "from memory"]
    assert stated
    assert all("not verified" in prior["text"] for prior in stated)


def test_the_json_says_what_went_in() -> None:
    """Files with digests, version, every part by its contract name."""
    result = json.loads(files_of_demo()["result.json"])
    parts = ["before", "after", "corrections", "explanations", "verification", "drives", "history"]
    assert list(result) == ["job", *parts, "files", "version"]
    found = {entry["name"]: entry["sha256"] for entry in result["files"]}
    assert found == {name: digest for name, digest in digests(DEMO).items() if name in found}
    assert set(found) == {"job.toml", "before.gpx", "before_notes.csv", "after.gpx", "after_notes.csv"}


def test_no_coordinate_leaves_the_job() -> None:
    """No latitude or longitude of the track is in any text the report writes."""
    track = (DEMO / "before.gpx").read_text(encoding="utf-8")
    latitude = track.partition('lat="')[2].partition('"')[0]
    short = latitude[: latitude.index(".") + 4]
    for name, data in files_of_demo().items():
        if name.endswith((".html", ".json", ".csv")):
            assert short.encode() not in data, name


def test_held_speeds_become_readings_without_times(tmp_path: Path) -> None:
    """Their step is that of a file: a job took fives for whole mph, and did not ask whether the dial was rounded."""
    speeds = (30.0, 40.0, 55.0, 65.0, 45.0)
    (tmp_path / "held.txt").write_text("mph\n" + "\n".join(f"{mph:g}" for mph in speeds), encoding="utf-8")
    in_file, readings = speedcal.read_readings(tmp_path / "held.txt"), held_readings(speeds, "mph")
    assert readings.clock == in_file.clock == "none"
    assert np.isnan(readings.time_s).all()
    assert readings.speed_mps[1] == pytest.approx(40 * MPH_MPS)
    assert readings.speed_resolution_mps == in_file.speed_resolution_mps == pytest.approx(5 * MPH_MPS)
    assert held_readings((30.5, 41.2), "km/h").speed_resolution_mps == pytest.approx(0.1 / 3.6)


def test_progress_is_told_in_order(variant: Callable[..., Path]) -> None:
    """Each step is named before it begins; the parts rise from 0 to 1."""
    told: list[tuple[str, float]] = []
    load_job(variant("after", "work")).run(progress=lambda step, part: told.append((step, part)))
    parts = [part for _, part in told]
    assert parts[0] == 0
    assert parts[-1] == 1
    assert parts == sorted(parts)
    assert "before" in told[0][0]


def test_a_drive_that_cannot_be_used_is_named(variant: Callable[..., Path]) -> None:
    """A job has several files; the message says which drive it is about."""
    job = variant()
    (job.parent / "after_notes.csv").write_text("time,dial (mph)\n01:00:00 AM,30\n", encoding="utf-8")
    with pytest.raises(SpeedcalError, match=r"after"):
        load_job(job).run()


def test_what_settles_it_is_named_as_a_job_file_has_it(variant: Callable[..., Path]) -> None:
    """``--unit`` of a command on jobs is the unit of the answer; that of the readings is a key of the drive."""
    job = variant("work", "after", "tolerance")
    job.write_text(job.read_text().replace('unit = "mph"\n', ""), encoding="utf-8")
    notes = job.parent / "before_notes.csv"
    notes.write_text(notes.read_text().replace("dial (mph)", "dial"), encoding="utf-8")
    with pytest.raises(SpeedcalError) as caught:
        load_job(job).run()
    assert "give unit in [before]" in caught.value.remedy
    assert "--" not in str(caught.value)
    job.write_text(job.read_text().replace("[before]\n", '[before]\nunit = "mph"\n'), encoding="utf-8")
    assert load_job(job).run().before is not None


def test_what_is_written_as_the_dial_is_marked_stays_so_in_another_unit(tmp_path: Path) -> None:
    """A needle 4 mph too low is set 4 mph higher: that is 6.4 km/h, 3200 miles are 5150 km, and held speeds are mph."""
    for name, off, seed in (("before", -4.0, 3), ("after", 0.0, 4)):
        (tmp_path / name).mkdir()
        write_drive(simulate(KINDS["noted"], seed, error_factor=1.0, offset_mps=off * MPH_MPS), tmp_path / name)
    lines = ['[job]\nunit = "mph"', "[work]\nneedle = 4\nodometer = 48200\nodometer_now = 51400"]
    for name in ("before", "after"):
        track, readings = sorted((tmp_path / name).iterdir(), key=lambda path: path.suffix != ".gpx")
        lines.append(f'[{name}]\ntrack = "{name}/{track.name}"\nreadings = "{name}/{readings.name}"')
    lines.append('[tolerance]\nrule = "us_393_82"')
    (tmp_path / "job.toml").write_text("\n".join(lines), encoding="utf-8")
    job = load_job(tmp_path / "job.toml")
    for unit, needle, shown in (("mph", 4.0, 3200.0), ("km/h", 6.437, 5149.9)):
        result = job.shown_in(unit).run()
        assert result.verification is not None
        assert result.verification.predicted_agrees is True
        assert result.job.work is not None
        assert result.job.work.needle == pytest.approx(needle, abs=0.001)
        assert result.distance is not None
        assert result.distance.shown == pytest.approx(shown, abs=0.1)
    held = Drive(track=tmp_path / "x.gpx", held=(30.0, 40.0))
    assert replace(job, before=(held,)).shown_in("km/h").before[0].unit == "mph"


def test_a_fit_that_does_not_settle_says_which_drive_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of its own kind keeps its kind and what it carries."""
    from speedcal import calibration
    from speedcal.calibration.logged.regression import LineFitError

    def unsettled(*_files: object, **_options: object) -> None:
        raise LineFitError(rounds=50, last=None)  # type: ignore[arg-type]

    monkeypatch.setattr(calibration, "calibrate", unsettled)
    with pytest.raises(LineFitError) as caught:
        load_job(DEMO / "job.toml").run()
    assert caught.value.values["of_drive"] == "before"


def test_measuring_one_phase_reads_no_other(variant: Callable[..., Path]) -> None:
    """What is not asked for is not computed: the drive after is not even opened."""
    job = variant()
    (job.parent / "after.gpx").write_text("broken", encoding="utf-8")
    measured = measure_job(load_job(job), phases=("before",))
    assert measured.before is not None
    assert (measured.after, measured.drives_after) == (None, ())


@pytest.mark.parametrize("kind", ["log", "notes"])
def test_a_job_measures_a_drive_as_calibrate_does(kind: str, tmp_path: Path) -> None:
    """The same two files, nothing said of how the dial was read: the same factor and the same interval."""
    write_files(outside_drive(kind, (19, 0)), tmp_path)
    job = tmp_path / "job.toml"
    job.write_text('[before]\ntrack = "track.gpx"\nreadings = "readings.csv"\n', encoding="utf-8")
    own = speedcal.calibrate(
        speedcal.read_track(tmp_path / "track.gpx"), speedcal.read_readings(tmp_path / "readings.csv")
    )
    measured = measure_job(load_job(job)).before
    assert measured is not None
    assert measured.error_factor == own.error_factor
    assert measured.budget == own.budget


def run_command(capsys: pytest.CaptureFixture[str], *arguments: str) -> SimpleNamespace:
    with pytest.raises(SystemExit) as ended:
        main(["report", *arguments])
    said = capsys.readouterr()
    return SimpleNamespace(returncode=ended.value.code, stdout=said.out, stderr=said.err)


@pytest.mark.usefixtures("blank")
def test_the_command_writes_the_folder_and_says_the_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Results on standard output, messages on standard error, no bar where nobody watches."""
    done = run_command(capsys, str(DEMO / "job.toml"), "--out", str(tmp_path / "a folder"), "--paper", "letter")
    assert done.returncode == 0
    assert done.stdout.startswith("At a true 60 mph the dial showed")
    assert "PASS" in done.stdout
    assert all(line.startswith("wrote ") for line in done.stderr.splitlines())
    assert len(list((tmp_path / "a folder").iterdir())) == 7


@pytest.mark.usefixtures("blank")
def test_the_command_gives_json_that_is_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is printed is what is written."""
    done = run_command(capsys, str(DEMO), "--out", str(tmp_path), "--json")
    assert json.loads(done.stdout) == json.loads((tmp_path / "result.json").read_text(encoding="utf-8"))


def test_the_command_ends_with_one_message_when_the_job_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 2, file, line and remedy; no traceback."""
    job = tmp_path / "job.toml"
    job.write_text("[before]\ntrak = 'x'\n", encoding="utf-8")
    done = run_command(capsys, str(job), "--out", str(tmp_path / "out"))
    assert done.returncode == 2
    assert "job.toml" in done.stderr
    assert "did you mean 'track'" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_the_help_carries_the_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    """Somebody reads only the help."""
    said = " ".join(run_command(capsys, "--help").stdout.split())
    for words in ("passenger", "rated stands", "Local rules", "licensed shop"):
        assert words in said


def test_choices_are_judged_at_the_speeds_that_the_job_names() -> None:
    """[tolerance] speeds = [30, 45, 60]: the offset at 25 mph, which nobody asked for, does not choose the gear."""
    corrections = demo().corrections
    assert corrections is not None
    assert corrections.speeds == (30, 45, 60)
    assert [row["ground"] for row in corrections.keep.errors] == [30, 45, 60]


def test_speeds_that_only_the_rule_names_do_not_choose_the_gear(variant: Callable[..., Path]) -> None:
    """UN R39 tests at 40, 80 and 120 km/h; without speeds of the customer's the driven range decides."""
    result = load_job(variant("tolerance", more='\n[tolerance]\nrule = "un_r39_type"\n')).run()
    assert result.corrections is not None
    assert result.corrections.speeds == tuple(range(25, 66, 5))


@pytest.mark.parametrize("low", [2.61, 4.0])
def test_a_drive_in_low_range_is_measured_where_the_job_states_one(tmp_path: Path, low: float) -> None:
    """Left in low range the dial shows so many times the speed; without such a transfer case nothing does."""
    plan = [Plateau(speed_mps, 60.0) for speed_mps in (4, 6, 8, 10) * 3]
    write_drive(simulate("logged", 21, error_factor=low, offset_mps=0.0, plan=plan), tmp_path)
    drive = '[vehicle]\nsecond_transfer_ratio = "{}"\n[before]\ntrack = "track.gpx"\nreadings = "readings.csv"\n'
    path = tmp_path / "job.toml"
    path.write_text(drive.format(low), encoding="utf-8")
    found = load_job(path).run()
    assert found.before is not None
    assert found.before.error_factor.value == pytest.approx(low, rel=0.01)
    assert found.corrections is not None
    steps = [(step.action, step.part) for step in found.corrections.advice]
    assert steps == [("check_count", "range"), ("drive_again", "readings")]
    if low < 3:  # four times is a wrong count of pulses too
        path.write_text(drive.format(1.1), encoding="utf-8")
        with pytest.raises(FitError, match="which no change of tires or gears explains"):
            load_job(path).run()


@pytest.mark.parametrize(
    ("factor", "of_a_sensor", "of_a_cable"),
    [(3.0, True, False), (1 / 3, True, False), (4.0, True, True), (0.12, False, False), (8.0, False, False)],
)
def test_a_sensor_may_count_by_threes_and_no_sensor_explains_eight_times_the_speed(
    factor: float, *, of_a_sensor: bool, of_a_cable: bool
) -> None:
    """Rings have three times the teeth; with the twos counted twice over a log at an eighth was given an answer."""

    def is_measured(**stated: int) -> bool:
        ranges = ranges_of(Vehicle.from_dict(stated))
        try:
            refuse_nonsense(make_calibration(factor=factor), held_readings((30.0, 50.0), "mph"), (), ranges)
        except FitError:
            return False
        return True

    assert (is_measured(pulses_per_turn=8), is_measured(driven_gear=18)) == (of_a_sensor, of_a_cable)
