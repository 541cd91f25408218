"""What a supervisor learns: whether files, store, disk and workers do their work."""

from __future__ import annotations

import errno
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from support.web_site import Site, open_site

from speedcal.web.kept import originals
from speedcal.web.settings import Limits
from speedcal.web.work import runner


@pytest.fixture
def impatient(site: Site, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Return a service that looks each time it is asked."""
    monkeypatch.setattr("speedcal.web.work.health._KEPT_S", -1.0)
    return site


def told(site: Site) -> tuple[int, dict[str, bool]]:
    answer = site.client.get("/health", headers={"accept": "application/json"})
    return answer.status_code, answer.json()


def test_all_is_well(impatient: Site) -> None:
    """Short for a supervisor, in parts for a program."""
    assert impatient.client.get("/health").text == "ok\n"
    assert told(impatient) == (
        200,
        dict.fromkeys(("ok", "database", "writing", "disk", "workers", "certificate"), True),
    )


def test_a_data_folder_that_cannot_be_written(impatient: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """As an upload would find out."""

    def broken(*_args: object, **_more: object) -> None:
        raise OSError(errno.EROFS, "read-only")

    monkeypatch.setattr(originals, "_copy", broken)
    status, found = told(impatient)
    assert (status, [name for name, works in found.items() if not works]) == (503, ["ok", "writing"])
    assert impatient.client.get("/health").text == "The data folder cannot be written.\n"


def test_a_store_that_is_gone(impatient: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """The look does not fail itself."""

    def gone(*_args: object) -> None:
        raise sa.exc.OperationalError("", {}, Exception("gone"))

    monkeypatch.setattr(impatient.services.store, "set_fact", gone)
    assert told(impatient)[1]["database"] is False


def test_a_disk_without_room(tmp_path: Path) -> None:
    """Before uploads are refused somebody may want to know why."""
    with open_site(tmp_path, limits=Limits(free_disk_bytes=2**62)) as site:
        assert told(site)[1]["disk"] is False


def test_a_worker_that_hangs_or_has_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A thread without a sign of life for a minute and a half, and one that is no more."""
    monkeypatch.setattr("speedcal.web.work.health._KEPT_S", -1.0)
    with open_site(tmp_path, workers=1) as site:
        assert told(site)[1]["workers"]
        with monkeypatch.context() as later:
            later.setattr(runner, "_SILENT_S", -1.0)
            assert told(site)[1]["workers"] is False
        site.services.runner.stop()
        assert told(site)[1]["workers"] is False


def test_a_worker_outlives_a_failure_of_our_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run is tried again, up to three times, and the thread goes on with the next one."""
    with open_site(tmp_path, workers=1) as site:
        queue, work = site.services.queue, site.services.runner
        monkeypatch.setattr(queue, "lease_s", 0.0)
        seen: list[int] = []
        real = work._do

        def broken(run: runner.Run, child: runner.Child) -> None:
            seen.append(run.attempts)
            child.stop()
            if run.attempts < 3:
                raise RuntimeError("a bug")
            real(run, runner.Child())

        monkeypatch.setattr(work, "_do", broken)
        queue.put(site.new_job().split("/")[-1])
        until = time.monotonic() + 60
        while len(seen) < 3 and time.monotonic() < until:
            work.wake()
            work._threads[0].join(0.05)
        assert seen[:3] == [1, 2, 3]
        assert work._threads[0].is_alive()


def test_asked_often_it_looks_once(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Anybody may ask, and each look writes to the disk."""
    looks: list[int] = []
    real = site.services.originals.try_writing
    monkeypatch.setattr(site.services.originals, "try_writing", lambda: looks.append(1) or real())
    monkeypatch.setattr("speedcal.web.work.health._KEPT_S", 1000.0)
    for _ in range(10):
        site.client.get("/health")
    assert looks == [1]
