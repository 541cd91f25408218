"""The job file: what it accepts, and how it says what is wrong."""

from pathlib import Path

import pytest
from support.calibrations import make_calibration

from speedcal.errors import JobError, ReadingsFormatError
from speedcal.jobs import load_job
from speedcal.jobs.contents import JobContents
from speedcal.jobs.pipeline import MeasuredJob
from speedcal.logs.film.marks import read_dial
from speedcal.report import DriveFacts
from speedcal.units import DisplayUnit


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Make a job folder with empty original files."""
    for name in ("before.gpx", "before.csv", "after.gpx", "after notes.csv"):
        (tmp_path / name).write_text("")
    return tmp_path


def job_file(folder: Path, text: str) -> Path:
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refused(folder: Path, text: str) -> JobError:
    with pytest.raises(JobError) as caught:
        load_job(job_file(folder, text))
    return caught.value


DRIVE = '[before]\ntrack = "before.gpx"\nreadings = "before.csv"\n'


def test_paths_are_relative_to_the_job_file(
    folder: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch
) -> None:
    """The folder one stands in does not matter."""
    job_file(folder, DRIVE)
    monkeypatch.chdir(tmp_path_factory.mktemp("elsewhere"))
    job = load_job(folder / "job.toml")
    assert job.before[0].track == folder / "before.gpx"
    assert job.files == (folder / "before.gpx", folder / "before.csv")


def test_a_folder_stands_for_the_job_file_in_it(folder: Path) -> None:
    """A job is a folder with a job.toml beside its originals."""
    job_file(folder, DRIVE)
    assert load_job(folder).source == folder / "job.toml"


def test_everything_a_job_says_is_kept(folder: Path) -> None:
    """Texts, units, several drives, held speeds, work."""
    text = """
    [job]
    number = 17            # a number is as good as a text
    shop = "Werkstatt Überall"
    unit = "kmh"
    [[before]]
    track = "before.gpx"
    held = [30, 40.5]
    clock_offset_s = -3600
    [[before]]
    track = "before.gpx"
    readings = "before.csv"
    unit = "miles per hour"
    zone = "+05:30"
    column = "speed"
    [after]
    track = "after.gpx"
    readings = "after notes.csv"
    [work]
    driven_gear = 20
    note = "new seal"
    """
    job = load_job(job_file(folder, text))
    assert (job.number, job.shop, job.unit) == ("17", "Werkstatt Überall", "km/h")
    assert [d.held for d in job.before] == [(30.0, 40.5), ()]
    assert job.before[0].clock_offset_s == -3600
    assert (job.before[1].unit, job.before[1].zone, job.before[1].column) == ("mph", "+05:30", "speed")
    assert job.after[0].readings == folder / "after notes.csv"
    assert (job.work.driven_gear, job.work.note) == (20, "new seal")


@pytest.mark.parametrize(
    ("text", "wrong", "near"),
    [
        (DRIVE + "[jobs]\n", "jobs", "job"),
        (DRIVE + "[job]\ncostumer = 'x'\n", "costumer", "customer"),
        (DRIVE + "reading = 'x'\n", "reading", "readings"),
        (DRIVE + "[work]\ndriven = 20\n", "driven", "driven_gear"),
        (DRIVE + "[vehicle]\nlable = 'x'\n", "lable", "label"),
    ],
)
def test_an_unknown_name_is_refused_with_the_nearest_valid_one(
    folder: Path, text: str, wrong: str, near: str | None
) -> None:
    """A misspelt key must not be silently ignored."""
    error = refused(folder, text)
    assert error.code in ("unknown_key", "unknown_table")
    assert (error.values["found"], error.values["near"]) == (wrong, near)
    assert wrong in str(error)
    assert near is None or f"did you mean '{near}'?" in str(error)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("shop = 'x'\n" + DRIVE, "a job file has no table 'shop'; it belongs in [job]"),
        (DRIVE + "[job]\npulses_per_mile = 4000\n", "[job] has no key 'pulses_per_mile'; it belongs in [vehicle]"),
        (DRIVE + "[vehicle]\nneedle = 'reset'\n", "[vehicle] has no key 'needle'; it belongs in [work]"),
        (DRIVE + "[job]\nterrain = 'level'\n", "[job] has no key 'terrain'; it belongs in [before] or [after]"),
    ],
)
def test_a_key_in_the_wrong_table_is_told_the_right_one(folder: Path, text: str, told: str) -> None:
    """It used to be told the nearest word, which is another."""
    assert told in str(refused(folder, text))


def test_every_problem_is_listed_at_once_with_its_line(folder: Path) -> None:
    """One run of the command shows all there is to mend."""
    error = refused(
        folder,
        '[job]\nunit = "knots"\n\n[before]\ntrack = "befor.gpx"\n\n[after]\n'
        'track = "after.gpx"\nheld = []\nzome = "x"\n[vehicle]\n[vehicle.settings]\n[vehicle.settings.axle_ratio]\n'
        "step = 0\n",
    )
    assert error.code == "job_file_problems"
    assert [(problem.line, problem.code) for problem in error.problems] == [
        (2, "not_a_dial_unit"),
        (4, "no_readings"),
        (5, "no_such_file"),
        (9, "not_speeds"),
        (10, "unknown_key"),
        (14, "out_of_range"),
    ]
    assert error.problems[2].values["near"] == "before.gpx"
    assert "  line 5: [before] track: there is no file 'befor.gpx'; did you mean 'before.gpx'?" in str(error)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "job_without_drive"),
        ("[job]\nnumber = '1'\n", "job_without_drive"),
        ("before = 3\n", "table_expected"),
        ("[before]\nreadings = 'before.csv'\n", "no_track"),
        (DRIVE + "held = [30]\nunit = 'mph'\n", "two_kinds_of_readings"),
        ("[before]\ntrack = 'before.gpx'\nheld = [30, 40]\n", "held_without_unit"),
        ("[before]\ntrack = 'before.gpx'\nchecks = 'before.csv'\n", "two_kinds_of_readings"),
        ("[before]\nchecks = 'mile.csv'\n", "no_such_file"),
        (DRIVE + "clock_offset_s = '3'\n", "not_a_number"),
        (DRIVE + "clock_offset_s = nan\n", "not_a_number"),
        (DRIVE + f"clock_offset_s = {'9' * 400}\n", "not_a_number"),
        (DRIVE + f"[vehicle]\ndriven_gear = {'9' * 400}\n", "not_whole"),
        (DRIVE + "[work]\ndriven_gear = 20.5\n", "not_whole"),
        (DRIVE + "[work]\npulse_scaler = 0\n", "not_a_ratio"),
        (DRIVE + "[work]\ndate = 'May'\n", "not_a_date"),
        (DRIVE + "cold_pressure_psi = 35\ncold_pressure_kpa = 240\n", "said_twice"),
        ("work = 3\n" + DRIVE, "table_expected"),
        (DRIVE + "[job]\nshop = ['x']\n", "not_a_text"),
        ("[before]\ntrack = 'no/such/folder.gpx'\nheld = [30]\nunit = 'mph'\n", "no_such_file"),
        ("[before]\ntrack = ''\nheld = [30]\nunit = 'mph'\n", "no_such_file"),
        ("[before]\ntrack = \"a\\u0000b\"\nheld = [30]\nunit = 'mph'\n", "no_such_file"),
    ],
)
def test_what_cannot_be_used_is_named(folder: Path, text: str, code: str) -> None:
    """Each wrong value is quoted with what was expected instead."""
    error = refused(folder, text)
    assert error.code == code
    assert str(error).startswith("job.toml")


def test_a_job_written_on_windows_is_read_everywhere(folder: Path) -> None:
    r"""Folders parted by ``\``, line ends and mark of a Windows editor."""
    (folder / "drives").mkdir()
    (folder / "drives" / "a.gpx").touch()
    (folder / "drives" / "shelf.toml").write_text(
        'name = "a"\n[driven]\nteeth = [17, 18]\nsource = "b"\nstatus = "measured"'
    )
    lines = [
        "[vehicle]",
        r"gear_family = 'drives\shelf.toml'",
        "[before]",
        r"track = 'drives\a.gpx'",
        "held = [30, 40]",
    ]
    text = "\r\n".join([*lines, "unit = 'mph'", ""])
    (folder / "job.toml").write_bytes(text.encode("utf-8-sig"))
    job = load_job(folder)
    assert job.before[0].track == folder / "drives" / "a.gpx"
    assert job.vehicle.family.name == "a"


def test_dates_pressures_and_how_it_was_read_are_kept(folder: Path) -> None:
    """A date is a date of TOML or a text in the same form."""
    drive = "date = 2026-05-04\nodometer = 84210\ncold_pressure_psi = 35\nread_from = 'side'\nterrain = 'level'\n"
    job = load_job(job_file(folder, f"{DRIVE}{drive}[work]\ndate = '2026-05-03'\nodometer = 84200\n"))
    before = job.before[0]
    assert (before.date, before.odometer, before.cold_pressure_psi) == ("2026-05-04", 84210, 35)
    assert (before.read_from, before.terrain) == ("side", "level")
    assert (job.work.date, job.work.odometer) == ("2026-05-03", 84200)


def test_checks_take_the_place_of_a_track(folder: Path) -> None:
    """A measured mile has no track."""
    job = load_job(job_file(folder, '[before]\nchecks = "before.csv"\n'))
    assert (job.before[0].checks, job.before[0].track) == (folder / "before.csv", None)
    assert job.files == (folder / "before.csv",)


def test_broken_toml_names_the_line_and_the_usual_slip(folder: Path) -> None:
    """A backslash in a file name is the slip people make."""
    error = refused(folder, '[before]\ntrack = "drives\\before.gpx\n')
    assert (error.code, error.line) == ("job_file_not_toml", 2)
    assert "with /" in error.remedy


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 50_000], ids=["long number", "brackets"])
def test_toml_that_python_gives_up_on_is_no_toml(folder: Path, value: str) -> None:
    """A number of thousands of digits, brackets without end; in the job file and in the gear family beside it."""
    assert refused(folder, f"[vehicle]\ndriven_gear = {value}\n").code == "job_file_not_toml"
    (folder / "shelf.toml").write_text(f"name = {value}\n", encoding="utf-8")
    assert refused(folder, '[vehicle]\ngear_family = "shelf.toml"\n').code == "gear_family_unreadable"


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no file without an end here")
def test_a_gear_family_or_a_dial_without_an_end_is_refused(folder: Path) -> None:
    (folder / "endless.toml").symlink_to("/dev/zero")
    assert "too large" in str(refused(folder, '[vehicle]\ngear_family = "endless.toml"\n'))
    with pytest.raises(ReadingsFormatError, match="too large"):
        read_dial(folder / "endless.toml")


@pytest.mark.parametrize("data", [b"\xff\xfe[\x00j\x00", b"\x89PNG\r\n\x1a\n\x00\x00", b'[job]\nshop = "\xe9"\n'])
def test_a_file_that_is_no_text_is_refused(folder: Path, data: bytes) -> None:
    """A photo, UTF-16 or Latin-1 given as the job file ends in one message."""
    path = folder / "job.toml"
    path.write_bytes(data)
    with pytest.raises(JobError) as caught:
        load_job(path)
    assert caught.value.code == "job_file_not_text"


def test_a_missing_or_huge_job_file_is_refused(folder: Path) -> None:
    """Nothing is read that cannot be a job file."""
    with pytest.raises(JobError, match="cannot be opened"):
        load_job(folder / "none.toml")
    big = folder / "big.toml"
    big.write_bytes(b"#" * 1_000_001)
    with pytest.raises(JobError, match="larger than"):
        load_job(big)


def test_bom_and_crlf_are_no_obstacle(folder: Path) -> None:
    """Editors on other systems add both."""
    path = folder / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + DRIVE.replace("\n", "\r\n").encode())
    assert len(load_job(path).before) == 1


def test_a_very_long_list_of_problems_is_cut(folder: Path) -> None:
    """The first twenty are shown, then how many more."""
    said = str(refused(folder, DRIVE + "".join(f"key{i} = 1\n" for i in range(30))))
    assert "and 10 more" in said


@pytest.mark.parametrize(
    ("drives", "job_unit", "dial"),
    [
        ((("km/h", True),), "mph", "mph"),
        ((("km/h", True), ("mph", False)), None, "mph"),
        ((("km/h", True),), None, "km/h"),
        ((("km/h", False),), "mph", "km/h"),
    ],
)
def test_what_a_machine_logs_does_not_say_what_the_dial_is_marked_in(
    drives: tuple[tuple[DisplayUnit, bool], ...], job_unit: DisplayUnit | None, dial: DisplayUnit
) -> None:
    """Many a log of a dial in mph is in km/h: its road test asked for marks that are not on the dial."""
    facts = tuple(DriveFacts("before", make_calibration(), noted_in=unit, is_logged=logged) for unit, logged in drives)
    job = JobContents(Path("job.toml"), "", unit=job_unit)
    assert MeasuredJob(job, facts, (), None, None).dial_unit == dial
