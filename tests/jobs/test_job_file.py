"""The job file: what it accepts, and how it says what is wrong."""

from pathlib import Path

import pytest

from speedcal.errors import JobError
from speedcal.jobs import load_job


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


def message(folder: Path, text: str) -> str:
    with pytest.raises(JobError) as caught:
        load_job(job_file(folder, text))
    return str(caught.value)


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
    ("text", "wrong", "nearest"),
    [
        (DRIVE + "[jobs]\n", "jobs", "job"),
        (DRIVE + "[job]\ncostumer = 'x'\n", "costumer", "customer"),
        (DRIVE + "reading = 'x'\n", "reading", "readings"),
        (DRIVE + "[work]\ndriven = 20\n", "driven", "driven_gear"),
        ("shop = 'x'\n" + DRIVE, "shop", "known are"),
        (DRIVE + "[vehicle]\nlable = 'x'\n", "lable", "label"),
    ],
)
def test_an_unknown_name_is_refused_with_the_nearest_valid_one(
    folder: Path, text: str, wrong: str, nearest: str
) -> None:
    """A misspelt key must not be silently ignored."""
    said = message(folder, text)
    assert f"'{wrong}'" in said
    assert nearest in said.partition(wrong)[2]


def test_every_problem_is_listed_at_once_with_its_line(folder: Path) -> None:
    """One run of the command shows all there is to mend."""
    said = message(
        folder,
        '[job]\nunit = "knots"\n\n[before]\ntrack = "befor.gpx"\n\n[after]\n'
        'track = "after.gpx"\nheld = []\nzome = "x"\n',
    )
    assert said.startswith("job.toml: 5 problems")
    for line, words in [
        (2, '"mph" or "km/h" was expected'),
        (4, "names no readings"),
        (5, "did you mean 'before.gpx'?"),
        (9, "a list of speeds such as"),
        (10, "'zone'"),
    ]:
        assert any(row.startswith(f"  line {line}: ") and words in row for row in said.splitlines()), (line, said)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the job has no drive"),
        ("[job]\nnumber = '1'\n", "the job has no drive"),
        ("before = 3\n", "must be a table"),
        ("[before]\nreadings = 'before.csv'\n", "names no track"),
        (DRIVE + "held = [30]\n", "both readings and held"),
        ("[before]\ntrack = 'before.gpx'\nheld = [30, 40]\n", "has no unit"),
        (DRIVE + "clock_offset_s = '3'\n", "a number was expected"),
        (DRIVE + "clock_offset_s = nan\n", "a number was expected"),
        (DRIVE + "[work]\ndriven_gear = 20.5\n", "whole number"),
        (DRIVE + "[work]\npulse_scaler = 0\n", "ratio"),
        ("work = 3\n" + DRIVE, "must be a table"),
        (DRIVE + "[job]\nshop = ['x']\n", "a text in quotes was expected"),
        ("[before]\ntrack = 'no/such/folder.gpx'\nheld = [30]\nunit = 'mph'\n", "its folder is missing too"),
        ("[before]\ntrack = ''\nheld = [30]\nunit = 'mph'\n", "there is no such file"),
        ("[before]\ntrack = \"a\\u0000b\"\nheld = [30]\nunit = 'mph'\n", "there is no such file"),
    ],
)
def test_what_cannot_be_used_is_named(folder: Path, text: str, words: str) -> None:
    """Each wrong value is quoted with what was expected instead."""
    assert words in message(folder, text)


def test_broken_toml_names_the_line_and_the_usual_slip(folder: Path) -> None:
    """A backslash in a file name is the slip people make."""
    said = message(folder, '[before]\ntrack = "drives\\before.gpx\n')
    assert said.startswith("job.toml:2: this is not valid TOML")
    assert "use /" in said


@pytest.mark.parametrize("data", [b"\xff\xfe[\x00j\x00", b"\x89PNG\r\n\x1a\n\x00\x00", b'[job]\nshop = "\xe9"\n'])
def test_a_file_that_is_no_text_is_refused(folder: Path, data: bytes) -> None:
    """A photo, UTF-16 or Latin-1 given as the job file ends in one message."""
    path = folder / "job.toml"
    path.write_bytes(data)
    with pytest.raises(JobError, match="UTF-8"):
        load_job(path)


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
    said = message(folder, DRIVE + "".join(f"key{i} = 1\n" for i in range(30)))
    assert "and 10 more" in said
