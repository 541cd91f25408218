"""Originals are kept whole or not at all, under the digest of their content, whatever happens in between."""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from speedcal.web.kept.originals import NoRoomError, Originals, TooLargeError

JOB = "a" * 20


@pytest.fixture
def kept(tmp_path: Path) -> Originals:
    """Return an empty file store."""
    return Originals(tmp_path)


def test_an_original_is_kept_byte_for_byte_under_its_digest(kept: Originals) -> None:
    """The name is the SHA-256 of the content; the mode keeps other users of the machine out."""
    content = os.urandom(3_000_000)
    stored = kept.put(JOB, io.BytesIO(content), limit=len(content))
    path = kept.path(JOB, stored.digest)
    assert stored.digest == hashlib.sha256(content).hexdigest()
    assert path.read_bytes() == content
    assert path.stat().st_mode & 0o077 == 0
    assert list((kept.root / "incoming").iterdir()) == []


def test_the_limit_holds_at_its_edge(kept: Originals) -> None:
    """A file of exactly the limit is taken, one byte more is not, and leaves nothing behind."""
    kept.put(JOB, io.BytesIO(b"x" * 1000), limit=1000)
    with pytest.raises(TooLargeError):
        kept.put(JOB, io.BytesIO(b"x" * 1001), limit=1000)
    assert len(list((kept.root / "originals" / JOB).iterdir())) == 1
    assert list((kept.root / "incoming").iterdir()) == []


def test_content_is_synced_before_it_gets_its_name_and_its_folder_after(
    kept: Originals, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order that survives a power cut: write, sync, rename, sync the folder."""
    calls: list[str] = []
    sync, replace = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda fd: (calls.append("sync"), sync(fd))[1])
    monkeypatch.setattr(os, "replace", lambda a, b: (calls.append("rename"), replace(a, b))[1])
    kept.put(JOB, io.BytesIO(b"content"), limit=100)
    assert calls == ["sync", "sync", "rename", "sync"]  # content, new folder's parent, name, folder


def test_a_full_disk_leaves_nothing_half_written(kept: Originals, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error while writing is passed on, and no part of the file stays."""

    def full(_fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        kept.put(JOB, io.BytesIO(b"content"), limit=100)
    assert list((kept.root / "incoming").iterdir()) == []
    assert not (kept.root / "originals" / JOB).exists()


def test_uploads_stop_before_the_disk_is_full(tmp_path: Path) -> None:
    """Less room than the service keeps free is a refusal of its own."""
    kept = Originals(tmp_path, free_disk_bytes=2**62)
    with pytest.raises(NoRoomError):
        kept.put(JOB, io.BytesIO(b"content"), limit=100)


@pytest.mark.parametrize("name", ["../a", "a/b", "", ".", "..", "A B", "a\x00", "é", "a" * 80])
def test_only_names_made_here_become_paths(kept: Originals, name: str) -> None:
    """Whatever is no id of our own making is refused before it touches the disk."""
    with pytest.raises(ValueError, match="not a name made by the service"):
        kept.path(JOB, name)
    with pytest.raises(ValueError, match="not a name made by the service"):
        kept.remove_job(name)
    assert kept.result_file(JOB, "b" * 20, name) is None


def test_removing_a_job_removes_originals_and_results_of_this_job_only(kept: Originals) -> None:
    """A job next to it stays."""
    for job in (JOB, "b" * 20):
        kept.put(job, io.BytesIO(b"same content"), limit=100)
        out = kept.scratch("c" * 20) / "out"
        out.mkdir()
        (out / "report.html").write_text("x")
        kept.keep_result(job, "d" * 20, out)
    kept.remove_job(JOB)
    assert not list(kept.root.rglob(f"*/{JOB}"))
    assert kept.result_file("b" * 20, "d" * 20, "report.html") is not None


def test_sweeping_removes_old_strays_and_nothing_that_is_known_or_young(kept: Originals) -> None:
    """What an interrupted upload left is removed an hour later; what a job mentions never."""
    known = kept.put(JOB, io.BytesIO(b"known"), limit=100).digest
    stray = kept.put(JOB, io.BytesIO(b"stray"), limit=100).digest
    young = kept.put(JOB, io.BytesIO(b"young"), limit=100).digest
    (kept.root / "incoming" / "half").write_text("half")
    old = time.time() - 7200
    for path in (kept.path(JOB, known), kept.path(JOB, stray), kept.root / "incoming" / "half"):
        os.utime(path, (old, old))
    assert kept.sweep(known={JOB: {known}}) == 2
    assert {path.name for path in (kept.root / "originals" / JOB).iterdir()} == {known, young}


def test_a_killed_writer_leaves_no_original_that_is_not_whole(tmp_path: Path) -> None:
    """Kill -9 in the middle of writing, five times: every file under a digest has that digest."""
    script = (
        "import io, os, sys, pathlib; from speedcal.web.kept.originals import Originals\n"
        f"kept = Originals(pathlib.Path({str(tmp_path)!r}))\n"
        "print('go', flush=True)\n"
        "while True: kept.put('a' * 20, io.BytesIO(os.urandom(400_000)), limit=10**7)\n"
    )
    for n in range(5):
        with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE) as process:
            process.stdout.readline()
            time.sleep(0.05 + 0.03 * n)
            process.kill()
    files = list((tmp_path / "originals" / JOB).iterdir())
    assert files
    assert all(hashlib.sha256(path.read_bytes()).hexdigest() == path.name for path in files)
