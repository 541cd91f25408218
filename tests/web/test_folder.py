"""A job of the store is the folder that the command runs, as a zip too, and comes back as the same job."""

from __future__ import annotations

import io
import json
import tomllib
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from support.web_site import DEMO, Site, analysed_at_hand, open_site

from speedcal.errors import JobError
from speedcal.jobs.job_file import job_text
from speedcal.web.kept.folder import unpack
from speedcal.web.settings import Limits

keys = st.text(min_size=1, max_size=8).filter(lambda key: not any(0xD800 <= ord(c) < 0xE000 for c in key))
texts = st.text(max_size=20).filter(lambda text: not any(0xD800 <= ord(c) < 0xE000 for c in text))
numbers = st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | st.booleans()
plain = numbers | texts | st.lists(numbers, max_size=4) | st.lists(texts, max_size=3)
tables = st.dictionaries(keys, plain | st.dictionaries(keys, plain, max_size=3), max_size=5)


@given(
    st.dictionaries(
        st.from_regex(r"[a-z_]{1,8}", fullmatch=True), tables | st.lists(tables, min_size=1, max_size=3), max_size=4
    )
)
def test_every_document_comes_back_from_toml(document: dict) -> None:
    """Checked by Python's own TOML reader: texts with every sign, numbers, lists, tables in tables."""
    assert tomllib.loads(job_text(document)) == document


def zipped(files: dict[str, bytes | str], path: Path) -> Path:
    """Write a zip."""
    with zipfile.ZipFile(path, "w") as out:
        for name, content in files.items():
            out.writestr(name, content)
    return path


def refusal(files: dict[str, bytes | str], tmp_path: Path, limits: Limits = Limits()) -> str:  # noqa: B008 - frozen
    """Return what is said against a zip, and check that nothing was written outside its folder."""
    (tmp_path / "in").mkdir()
    out = tmp_path / "in" / "out"
    out.mkdir()
    source = zipped(files, tmp_path / "in" / "a.zip")
    with pytest.raises(JobError) as refused:
        unpack(source, out, limits)
    assert {path.name for path in tmp_path.iterdir()} == {"in"}
    assert all(path.name.startswith("file-") for path in out.iterdir())
    return str(refused.value)


JOB = '[job]\nnumber = "B-2"\n[before]\ntrack = "drives/a.gpx"\nheld = [30, 40]\n'


@pytest.mark.parametrize("name", ["../a.gpx", "/etc/a.gpx", "x/../../a.gpx", "..\\a.gpx"])
def test_a_name_that_leads_out_of_the_zip_is_refused(tmp_path: Path, name: str) -> None:
    """Zip slip."""
    assert "leads out" in refusal({"job.toml": JOB, name: b"x"}, tmp_path)


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({"a.gpx": b"x"}, "holds no job.toml"),
        ({"a/job.toml": JOB, "b/job.toml": JOB}, "holds 2 job.toml"),
        ({"job.toml": JOB}, "lacks the file 'drives/a.gpx'"),
        ({"job.toml": '[before]\ntrack = "../../etc/passwd"\n'}, "lacks the file"),
        ({"job.toml": "[job\n"}, "not valid TOML"),
        ({"job.toml": b"\xff\xfe"}, "not valid TOML"),
        ({"job.toml": "[jobs]\n"}, "no table 'jobs'"),
        ({"job.toml": "x = " + "[" * 5000}, "not valid TOML"),
        ({"job.toml": JOB, **{f"f{n}": b"" for n in range(64)}}, "more than 64 files"),
    ],
)
def test_what_is_no_job_folder_is_named(tmp_path: Path, files: dict, words: str) -> None:
    """Each with what to do instead."""
    assert words in refusal(files, tmp_path)


def test_the_unpacked_size_holds_at_its_edge(tmp_path: Path) -> None:
    """A zip that would unpack to a byte more than the limit is refused before anything is written."""
    job = JOB.replace("drives/", "")
    limits = Limits(zip_unpacked_bytes=2_000_000)
    fits = {"job.toml": job, "a.gpx": b"0" * (2_000_000 - len(job))}
    out = tmp_path / "fits"
    out.mkdir()
    assert unpack(zipped(fits, tmp_path / "fits.zip"), out, limits)["job"] == {"number": "B-2"}
    (tmp_path / "over").mkdir()
    assert "unpacks to more" in refusal({**fits, "b": b"0"}, tmp_path / "over", limits)


def test_an_entry_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    """The size in the directory of the zip is not trusted while unpacking."""
    packed = zipped({"job.toml": JOB, "drives/a.gpx": b"0" * 100_000}, tmp_path / "a.zip").read_bytes()
    lying = packed.replace((100_000).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    (tmp_path / "lying.zip").write_bytes(lying)
    (tmp_path / "out").mkdir()
    with pytest.raises(JobError):
        unpack(tmp_path / "lying.zip", tmp_path / "out", Limits())


def test_a_job_written_on_windows_finds_its_files(tmp_path: Path) -> None:
    """It parts folders by a backslash."""
    (tmp_path / "out").mkdir()
    packed = zipped({"job.toml": JOB.replace("/", r"\\"), "drives/a.gpx": b"x"}, tmp_path / "a.zip")
    (drive,) = unpack(packed, tmp_path / "out", Limits())["before"]
    assert (tmp_path / "out" / drive["track"]["file"]).read_bytes() == b"x"


def test_a_date_of_an_imported_job_is_kept(tmp_path: Path) -> None:
    """TOML has dates of its own, the store has not; the job file takes either."""
    job = '[work]\ndate = 2026-05-04\n[before]\ntrack = "a.gpx"\nheld = [30, 40]\ndate = 2026-05-01\n'
    (tmp_path / "out").mkdir()
    document = unpack(zipped({"job.toml": job, "a.gpx": b"x"}, tmp_path / "a.zip"), tmp_path / "out", Limits())
    assert json.loads(json.dumps(document["work"])) == {"date": "2026-05-04"}
    assert document["before"][0]["date"] == "2026-05-01"


@pytest.mark.parametrize("content", [b"", b"PK", b"no zip at all", b"PK\x03\x04" + b"\x00" * 100])
def test_what_is_no_zip_is_refused(tmp_path: Path, content: bytes) -> None:
    """One sentence, no traceback."""
    (tmp_path / "a.zip").write_bytes(content)
    (tmp_path / "out").mkdir()
    with pytest.raises(JobError, match="not a zip"):
        unpack(tmp_path / "a.zip", tmp_path / "out", Limits())


def test_a_zip_whose_contents_are_damaged_or_too_large_is_told_as_that(tmp_path: Path) -> None:
    """Nobody who runs the service need be asked."""
    (tmp_path / "out").mkdir()
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("drives/a.gpx", bytes(range(256)) * 40)
        out.writestr("job.toml", JOB)
    data = path.read_bytes()
    path.write_bytes(data[:60] + b"\xff" * 20 + data[80:])
    with pytest.raises(JobError, match="not a zip that can be read"):
        unpack(path, tmp_path / "out", Limits())
    path.write_bytes(data)
    with pytest.raises(JobError, match="a file in the zip is too large"):
        unpack(path, tmp_path / "out", Limits(written_bytes=10_000))


def demo_zip(path: Path) -> Path:
    """Pack the demo job as a person would."""
    names = [p for p in DEMO.iterdir() if p.suffix in (".toml", ".gpx", ".csv")]
    return zipped({f"my job/{p.name}": p.read_bytes() for p in names}, path)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """Bring the demo job in, let it be analysed, save it as a zip; return the zip and the numbers the page has."""
    folder = tmp_path_factory.mktemp("folder")
    with analysed_at_hand(), open_site(folder, workers=1) as site:
        with demo_zip(folder / "demo.zip").open("rb") as packed:
            answer = site.client.post("/import", files={"zip": ("demo.zip", packed)}, follow_redirects=False)
        assert answer.status_code == 303, answer.text
        base = answer.headers["location"]
        site.settle(base)
        numbers = site.client.get(f"{base}/files/result.json").json()
        content = site.client.get(f"{base}/export.zip").content
        assert content == site.client.get(f"{base}/export.zip").content
        assert not list((site.services.originals.root / "scratch").iterdir())
        with zipfile.ZipFile(io.BytesIO(content)) as packed_again:
            packed_again.extractall(folder / "exported")
    return folder / "exported" / "job", numbers


def test_the_page_and_the_command_give_the_same_numbers(told: tuple[Path, dict], tmp_path: Path) -> None:
    """Every number of the result, run by the command on the exported folder."""
    from speedcal.cli import cli

    folder, numbers = told
    outcome = CliRunner().invoke(cli, ["report", str(folder / "job.toml"), "--out", str(tmp_path / "out")])
    assert outcome.exit_code == 0, outcome.output
    assert json.loads((tmp_path / "out" / "result.json").read_text("utf-8")) == numbers


def test_the_numbers_are_those_of_the_folder_that_was_brought_in(told: tuple[Path, dict]) -> None:
    """Through the store and back nothing changed but the names of the files."""
    from speedcal.jobs import load_job

    folder, numbers = told
    original = load_job(DEMO / "job.toml").run().to_dict()
    assert {k: v for k, v in numbers.items() if k in ("before", "after", "corrections", "verification")} == json.loads(
        json.dumps({k: v for k, v in original.items() if k in ("before", "after", "corrections", "verification")})
    )
    for name, place in (("before-1-track.gpx", "before.gpx"), ("after-1-readings.csv", "after_notes.csv")):
        assert (folder / name).read_bytes() == (DEMO / place).read_bytes()


def test_a_bad_zip_makes_no_job(site: Site, tmp_path: Path) -> None:
    """It is refused by a worker process, and no trace stays."""
    source = zipped({"job.toml": JOB}, tmp_path / "a.zip")
    answer = site.client.post("/import", files={"zip": ("a.zip", source.read_bytes())})
    assert answer.status_code == 422
    assert "lacks the file" in answer.text
    assert 'href="/import">Choose another file' in answer.text
    other = site.client.post(
        "/import", files={"zip": ("drives.zip", zipped({"a.gpx": b""}, tmp_path / "b.zip").read_bytes())}
    )
    assert "drives.zip: The zip holds no job.toml" in other.text
    assert site.services.store.find_jobs() == []
    assert not list((site.services.originals.root / "scratch").iterdir())


def test_a_unit_written_otherwise_is_chosen_in_the_form(site: Site, tmp_path: Path) -> None:
    """Saving the form of the drive would lose it else."""
    job = '[before]\ntrack = "a.gpx"\nheld = [50, 60, 70, 80]\nunit = "KMH"\n'
    packed = zipped({"job.toml": job, "a.gpx": (DEMO / "before.gpx").read_bytes()}, tmp_path / "a.zip")
    base = site.client.post("/import", files={"zip": ("a.zip", packed.read_bytes())}, follow_redirects=False).headers[
        "location"
    ]
    (drive,) = site.services.store.drives(base.rpartition("/")[2])
    assert "<option selected>km/h" in site.client.get(f"{base}/drives/{drive.id}").text
