"""Backup and restore: the whole shop, from a service that goes on working, into an empty one of either kind."""

from __future__ import annotations

import errno
import fcntl
import io
import os
import random
import stat
import threading
import time
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.postgres_server import new_schema

from speedcal.cli.backup import command as backup_command
from speedcal.cli.restore import command as restore_command
from speedcal.web.app import make_services
from speedcal.web.kept.backup import Counts, make_backup, restore_backup
from speedcal.web.pages.context import Services
from speedcal.web.settings import ServiceError, Settings

JOB = {"job": {"number": "A-17", "customer": "Zürich ☂"}}


def filled(settings: Settings) -> tuple[Services, dict[str, bytes]]:
    """Return a shop with two jobs, and the originals of its drives by their ids."""
    services = make_services(settings)
    contents: dict[str, bytes] = {}
    for n in range(2):
        job = services.store.add_job(JOB)
        for phase in ("before", "after"):
            content = f"track {n} {phase}".encode() * 1000
            contents[add(services, job, content, phase)] = content
    services.auth.set_passcode("brass kettle tide")
    return services, contents


def add(services: Services, job: str, content: bytes, phase: str = "before") -> str:
    """Hand a drive in as the page does: the file first, then the store."""
    kept = services.originals.put(job, io.BytesIO(content), limit=10**7)
    return services.store.add_drive(job, phase, {"track_name": "a.gpx", "track_digest": kept.digest, "held": "30"})


def finish(services: Services, job: str, text: str) -> str:
    """Give a job a result."""
    services.queue.put(job)
    run = services.queue.claim("w")
    out = services.originals.scratch(run.id) / "out"
    out.mkdir()
    (out / "report.html").write_text(text)
    services.originals.keep_result(job, run.id, out)
    assert services.queue.finish(run, "done", {"sentence": text})
    return run.id


@pytest.mark.parametrize("goal", ["sqlite", "postgresql"])
def test_the_whole_shop_comes_back(database: str, goal: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Jobs, drives, originals, results, links and passcode; also from one kind of database into the other."""
    services, contents = filled(Settings(data=tmp_path / "old", database=database))
    job = services.store.find_jobs()[0].id
    run = finish(services, job, "the report")
    token = services.auth.token(services.auth.add_link(job, "owner"))
    cookie = services.auth.sign_in("brass kettle tide", "a")
    services.queue.put(job)
    services.queue.claim("a worker that will be gone")
    made = make_backup(services.settings, tmp_path / "shop.zip")
    services.store.close()
    assert made == Counts(jobs=2, drives=4, missing=0)

    other = "" if goal == "sqlite" else new_schema(request.getfixturevalue("postgres"))
    settings = Settings(data=tmp_path / "new", database=other)
    assert restore_backup(settings, tmp_path / "shop.zip") == made
    back = make_services(settings)
    try:
        assert back.store.job(job).document == JOB
        for drive_id, content in contents.items():
            drive = back.store.drive(drive_id)
            assert back.originals.path(drive.job_id, drive.track_digest).read_bytes() == content
        assert back.auth.open_link(token, "owner").job_id == job
        assert back.auth.sign_in("brass kettle tide", "a")
        assert back.auth.person_of(cookie) is None
        assert back.queue.latest_done(job, 1)[0].outcome == {"sentence": "the report"}
        assert back.originals.result_file(job, run, "report.html").read_text() == "the report"
        assert back.queue.claim("w").attempts == 1, "what was being worked on waits again"
    finally:
        back.store.close()


def test_a_backup_of_a_shop_at_work_holds_together(database: str, tmp_path: Path) -> None:
    """While drives come and go, results are replaced and jobs deleted: what the backup mentions is whole in it.

    And what was there before it began, and stayed, is in it.
    """
    services, contents = filled(Settings(data=tmp_path / "old", database=database))
    steady = services.store.find_jobs()[0].id
    over = threading.Event()
    rounds: list[int] = []

    def work() -> None:
        rng = random.Random(4)  # noqa: S311 - not for secrets
        while not over.is_set() or len(rounds) < 5:
            job = services.store.add_job(JOB)
            drives = [add(services, job, rng.randbytes(50_000)) for _ in range(3)]
            services.store.remove_drive(drives[0])
            for gone in services.store.forget_removed(time.time() + 1):
                services.originals.remove(job, gone.track_digest)
            finish(services, steady, f"{len(rounds)}")
            for old in services.queue.forget_old(steady, keep=1):
                services.originals.remove_result(steady, old)
            if rng.random() < 0.7:
                services.store.delete_job(job)
                services.originals.remove_job(job)
            rounds.append(1)
            over.wait(0.2)  # a busy shop, but one whose drives come slower than they can be copied

    worker = threading.Thread(target=work)
    worker.start()
    try:
        counts = [make_backup(services.settings, tmp_path / f"{n}.zip") for n in range(3)]
    finally:
        over.set()
        worker.join()
        services.store.close()
    for n, made in enumerate(counts):
        assert made.missing == 0
        settings = Settings(data=tmp_path / f"new{n}")
        assert restore_backup(settings, tmp_path / f"{n}.zip") == made
        back = make_services(settings)
        assert all(back.store.drive(drive_id) for drive_id in contents)
        for row in (drive for job in back.store.find_jobs() for drive in back.store.drives(job.id)):
            assert back.originals.path(row.job_id, row.track_digest).exists()
        done = back.queue.latest_done(steady, 1)
        assert all(back.originals.result_file(steady, run.id, "report.html") for run in done)
        back.store.close()


def test_where_only_written_files_can_be_synced_a_shop_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows refuses to sync a file that was opened to be read, and has no sync of everything."""
    sync = os.fsync

    def sync_written(handle: int) -> None:
        only_reads = fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY
        if only_reads and stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EBADF, "not opened to be written")
        sync(handle)

    monkeypatch.setattr(os, "fsync", sync_written)
    monkeypatch.delattr(os, "sync")
    services, _ = filled(Settings(data=tmp_path / "old"))
    finish(services, services.store.find_jobs()[0].id, "the report")
    services.store.close()
    made = make_backup(services.settings, tmp_path / "shop.zip")
    assert restore_backup(Settings(data=tmp_path / "new"), tmp_path / "shop.zip") == made == Counts(2, 4, 0)


@pytest.mark.parametrize("name", ["what? 50%20", "100% #1 & co", 'a\'b "c" é'])
def test_a_shop_may_lie_in_a_folder_of_any_name(tmp_path: Path, name: str) -> None:
    """Signs that mean something in an address: all lies in the folder named, and nothing elsewhere."""
    services, _ = filled(Settings(data=tmp_path / name / "old"))
    services.store.close()
    made = make_backup(services.settings, tmp_path / name / "shop.zip")
    assert (
        restore_backup(Settings(data=tmp_path / name / "new"), tmp_path / name / "shop.zip") == made == Counts(2, 4, 0)
    )
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name / "old" / "jobs.sqlite").is_file()


def test_a_missing_original_is_told_and_does_not_stop_the_rest(tmp_path: Path) -> None:
    """Both ways."""
    services, _ = filled(Settings(data=tmp_path / "old"))
    drive = services.store.drives(services.store.find_jobs()[0].id)[0]
    services.originals.remove(drive.job_id, drive.track_digest)
    services.store.close()
    assert make_backup(services.settings, tmp_path / "shop.zip") == Counts(2, 4, 1)
    assert restore_backup(Settings(data=tmp_path / "new"), tmp_path / "shop.zip") == Counts(2, 4, 1)


def test_a_drive_that_was_looked_at_without_a_picture_lacks_nothing(tmp_path: Path) -> None:
    """A file that cannot be read, notes that wait for their track: nothing was drawn of them."""
    services, _ = filled(Settings(data=tmp_path / "old"))
    drive = services.store.drives(services.store.find_jobs()[0].id)[0]
    services.queue.put(drive.job_id, drive.id)
    run = services.queue.claim("w")
    assert services.queue.finish_look(run, drive.version, {"fit": None, "errors": [{}], "picture": ""})
    services.store.close()
    assert make_backup(services.settings, tmp_path / "shop.zip") == Counts(2, 4, 0)


def test_the_file_is_private_and_never_overwrites(tmp_path: Path) -> None:
    """It holds the key that makes links."""
    services, _ = filled(Settings(data=tmp_path / "old"))
    services.store.close()
    target = tmp_path / "shop.zip"
    make_backup(services.settings, target)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    with pytest.raises(ServiceError, match="exists already"):
        make_backup(services.settings, target)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["old", "shop.zip"]


def test_a_damaged_backup_puts_nothing_back(tmp_path: Path) -> None:
    """Six places damaged in turn: refused in words, or the damage lies where nothing is kept."""
    services, _ = filled(Settings(data=tmp_path / "old"))
    services.store.close()
    make_backup(services.settings, tmp_path / "shop.zip")
    whole = (tmp_path / "shop.zip").read_bytes()
    codes: list[str] = []
    for n in range(6):
        damaged = bytearray(whole)
        damaged[len(whole) * n // 6 + 7] ^= 0xFF
        (tmp_path / f"{n}.zip").write_bytes(damaged)
        settings = Settings(data=tmp_path / f"new{n}")
        try:
            restore_backup(settings, tmp_path / f"{n}.zip")
        except ServiceError as error:
            codes.append(error.code)
            back = make_services(settings)
            assert back.store.find_jobs() == []
            back.store.close()
    assert set(codes) <= {"backup_damaged", "no_backup"}
    assert len(codes) >= 4
    (tmp_path / "half.zip").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(ServiceError, match="damaged"):
        restore_backup(Settings(data=tmp_path / "half"), tmp_path / "half.zip")


@pytest.mark.parametrize("name", ["../jobs.sqlite", "originals/a/b", "/etc/passwd", "results/a/../../x"])
def test_a_zip_that_is_no_backup_is_refused(tmp_path: Path, name: str) -> None:
    """Also one that would write elsewhere."""
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as out:
        for one in ("jobs.sqlite", "secret.key", name):
            out.writestr(one, b"x")
    with pytest.raises(ServiceError, match="not a backup"):
        restore_backup(Settings(data=tmp_path / "new"), tmp_path / "other.zip")


def test_a_backup_is_never_mixed_with_jobs(tmp_path: Path) -> None:
    """Nothing of what is there changes."""
    services, contents = filled(Settings(data=tmp_path / "old"))
    make_backup(services.settings, tmp_path / "shop.zip")
    with pytest.raises(ServiceError, match="jobs already"):
        restore_backup(services.settings, tmp_path / "shop.zip")
    assert all(services.store.drive(drive_id) for drive_id in contents)
    services.store.close()


def test_the_two_commands(tmp_path: Path) -> None:
    """From the command line, with what they say."""
    services, _ = filled(Settings(data=tmp_path / "old"))
    services.store.close()
    made = CliRunner().invoke(backup_command, [str(tmp_path / "shop.zip"), "--data", str(tmp_path / "old")])
    assert "2 jobs with 4 drives" in made.output
    assert "like a key" in made.output
    back = CliRunner().invoke(restore_command, [str(tmp_path / "shop.zip"), "--data", str(tmp_path / "new")])
    assert "2 jobs with 4 drives are back" in back.output
