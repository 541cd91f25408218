"""Many processes: the same result as one, a worker that dies loses nothing, a run that was stopped goes on."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import psutil
import pytest
from support.fleets import NOTED, drive_on, write_pair
from support.needs import missing

import speedcal
from speedcal.fleet import cluster, drive, workers
from speedcal.fleet.drive import DriveFiles
from speedcal.fleet.helper import CAN_COPY, Helper
from speedcal.fleet.remembered import Remembered
from speedcal.units import DisplayUnit

VEHICLES = 12
needs_copies = pytest.mark.skipif(not CAN_COPY, reason="processes are copied on Linux only")
SHORT = replace(NOTED, count=(10, 12))


@pytest.fixture(scope="module", autouse=True)
def with_dask() -> None:
    """Skip where dask is not installed."""
    if find_spec("distributed") is None:
        missing("dask")


@pytest.fixture(scope="module")
def drives(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return vehicles with one short drive each, the last of them broken."""
    folder = tmp_path_factory.mktemp("fleet") / "drives"
    for number in range(VEHICLES):
        made = drive_on(number, number, 1.0 + 0.002 * number, kind=SHORT, minutes=5)
        write_pair(made, folder / f"{number:02d}", "day0")
    (folder / f"{VEHICLES - 1:02d}" / "day0.gpx").write_text("<gpx>", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def alone(drives: Path) -> dict[str, object]:
    """Return the result of one process."""
    return speedcal.fleet(drives, processes=1).to_dict()


def killed_once(choose: Callable[[], psutil.Process]) -> Callable[[int, int], None]:
    """Return a progress that kills a process when the first batch is there."""
    victims: list[psutil.Process] = []

    def tell(done: int, total: int) -> None:
        assert total == VEHICLES
        if not victims and done < total:
            victims.append(choose())
            victims[0].send_signal(signal.SIGKILL)

    return tell


def a_worker() -> psutil.Process:
    """Return a worker process of the cluster that this process has started."""
    own = os.getpid()
    return [p for p in psutil.Process().children(recursive=True) if p.ppid() != own][-1]


def test_a_local_worker_that_is_killed_loses_no_vehicle(
    drives: Path, alone: dict[str, object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Batches of two; the outcome is that of one process, and the next run measures only what was not read."""
    monkeypatch.setattr(import_module("speedcal.fleet.fleet"), "DRIVES_A_TASK", 2)
    monkeypatch.setattr(Helper, "make", lambda *_, **__: None)
    result = speedcal.fleet(drives, processes=2, remember=tmp_path, progress=killed_once(a_worker))
    assert result.to_dict() == alone
    memory = Remembered(tmp_path)
    again = [f"{number:02d}" for number in range(VEHICLES) if memory.known(files_of(drives, number), None) is None]
    memory.close()
    assert again == []


def files_of(drives: Path, number: int) -> DriveFiles:
    place = drives / f"{number:02d}"
    return DriveFiles(f"{number:02d}", "day0", (str(place / "day0.csv"), str(place / "day0.gpx")))


def test_a_cluster_that_does_not_answer_is_told(drives: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "_WORKERS_WITHIN_S", 1)
    with pytest.raises(speedcal.SpeedcalError, match="no cluster answers at this address"):
        speedcal.fleet(drives, scheduler="tcp://127.0.0.1:9")


def at_third_batch(what: Callable[[], object]) -> Callable[[int, int], None]:
    """Return a progress that does something once, while there is work left."""
    seen: list[int] = []

    def tell(done: int, total: int) -> None:
        seen.append(done)
        if len(seen) == 3:
            what()

    return tell


@pytest.fixture
def small_cluster(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Give a scheduler and a worker in threads of this process, and small tasks."""
    from distributed import LocalCluster

    monkeypatch.setattr(import_module("speedcal.fleet.fleet"), "DRIVES_A_TASK", 1)
    monkeypatch.setattr(workers, "_COUNTED_EVERY_S", 0.05)
    monkeypatch.setattr(cluster, "_WORKERS_WITHIN_S", 2)
    with LocalCluster(
        1, threads_per_worker=1, processes=False, dashboard_address="127.0.0.1:0", silence_logs=50
    ) as small:
        yield small


def test_a_scheduler_that_goes_away_is_told(drives: Path, small_cluster: Any, tmp_path: Path) -> None:
    """What was measured until then is kept."""
    with pytest.raises(speedcal.SpeedcalError, match="the cluster no longer answers"):
        speedcal.fleet(
            drives,
            scheduler=small_cluster.scheduler_address,
            remember=tmp_path,
            progress=at_third_batch(lambda: small_cluster.close(10)),
        )
    assert len(known_to(tmp_path)) >= 3


def test_a_scheduler_that_hangs_is_not_waited_for_without_end(
    drives: Path, small_cluster: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It keeps the connection and answers nothing any more."""
    from distributed import Client

    woken = threading.Event()

    def hang() -> None:
        monkeypatch.setattr(cluster, "_ANSWERS_WITHIN_S", 0.1)
        monkeypatch.setattr(Client, "scheduler_info", lambda *_, **__: woken.wait(30))

    try:
        with pytest.raises(
            speedcal.SpeedcalError, match=r"has not answered for 0 s\. Start scheduler and workers anew"
        ):
            speedcal.fleet(
                drives, scheduler=small_cluster.scheduler_address, remember=tmp_path, progress=at_third_batch(hang)
            )
    finally:
        woken.set()
    assert len(known_to(tmp_path)) >= 3


def test_a_cluster_without_workers_is_not_waited_for_without_end(
    drives: Path, small_cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "_WITHOUT_WORKERS_S", 0.2)
    with pytest.raises(speedcal.SpeedcalError, match="no worker left"):
        speedcal.fleet(
            drives, scheduler=small_cluster.scheduler_address, progress=at_third_batch(lambda: small_cluster.scale(0))
        )


def test_a_result_that_goes_with_the_last_worker_is_not_waited_for_without_end(
    drives: Path, small_cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was ready, and its worker ends before it is fetched: the scheduler answers, and nobody can make it again."""
    from distributed import Future

    fetch = Future.result

    def late(future: Any, timeout: float | None = None) -> object:
        small_cluster.scale(0)
        while small_cluster.scheduler.workers:
            time.sleep(0.01)
        return fetch(future, timeout)

    monkeypatch.setattr(workers, "_WITHOUT_WORKERS_S", 0.2)
    monkeypatch.setattr(Future, "result", late)
    with pytest.raises(speedcal.SpeedcalError, match="no worker left"):
        speedcal.fleet(drives, scheduler=small_cluster.scheduler_address)


@pytest.mark.parametrize("found", ["0.0.9", ModuleNotFoundError("speedcal")])
def test_workers_of_another_version_are_refused(
    found: object, drives: Path, small_cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked before there is work: one that cannot unpack it would die of it."""
    from distributed import Client

    monkeypatch.setattr(Client, "run", lambda *_, **__: {"tcp://10.0.0.7:40000": found})
    with pytest.raises(speedcal.SpeedcalError, match=r"10\.0\.0\.7:40000: a worker has another version of speedcal"):
        speedcal.fleet(drives, scheduler=small_cluster.scheduler_address)


def test_a_worker_with_another_method_refuses_the_work() -> None:
    """One that came later, or of the same version before its release."""
    assert workers._done_alike(list, [1, 2], drive.method()) == [1, 2]
    with pytest.raises(
        speedcal.SpeedcalError, match=r"another version of speedcal \(.*\) than this machine \(0\.0\.9, 1\)"
    ):
        workers._done_alike(list, [1, 2], "0.0.9, 1")


@contextmanager
def processes(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers as a person would, each a process."""
    address = folder / "scheduler.json"
    start = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--scheduler-file", str(address), "--no-dashboard"]
    start += ["--port", "0", "--host", "127.0.0.1"]
    running = [subprocess.Popen(start, cwd=folder, stderr=subprocess.DEVNULL)]
    try:
        end = time.monotonic() + 60
        while not address.exists() and time.monotonic() < end:
            time.sleep(0.1)
        where = json.loads(address.read_text(encoding="utf-8"))["address"]
        one = [sys.executable, "-m", "distributed.cli.dask_worker", where, "--nthreads", "1", "--no-nanny"]
        one += ["--no-dashboard"]
        several = [subprocess.Popen(one, cwd=folder, stderr=subprocess.DEVNULL) for _ in range(2)]
        running += several
        yield where, several
    finally:
        for process in running:
            process.kill()
            process.wait()


@pytest.mark.benchmark
def test_a_cluster_goes_on_when_one_of_its_workers_is_killed(
    drives: Path, alone: dict[str, object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scheduler and two workers, each a process; one is killed in the middle."""
    monkeypatch.setattr(import_module("speedcal.fleet.fleet"), "DRIVES_A_TASK", 2)
    with processes(tmp_path) as (address, several):
        result = speedcal.fleet(
            drives,
            scheduler=address,
            remember=tmp_path / "out",
            progress=killed_once(lambda: psutil.Process(several[0].pid)),
        )
        assert several[0].wait(30) == -signal.SIGKILL
    assert result.to_dict() == alone


def measured_but_deadly(several: Sequence[DriveFiles], unit: DisplayUnit | None) -> list[drive.Written]:
    """Measure drives; those of two vehicles end the process, as one that runs out of memory is ended."""
    if {files.vehicle for files in several} & {"00", "07"}:
        os.kill(os.getpid(), signal.SIGKILL)
    return drive.measure_all(several, unit)


@pytest.mark.parametrize("several", [pytest.param(1, marks=needs_copies), pytest.param(2, marks=pytest.mark.benchmark)])
def test_a_drive_that_kills_its_process_is_a_row_and_costs_no_other(
    several: int, drives: Path, alone: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first, which a copy of this process has in hand, and one beside others."""
    monkeypatch.setattr(import_module("speedcal.fleet.fleet"), "DRIVES_A_TASK", 3)
    monkeypatch.setattr(import_module("speedcal.fleet.fleet"), "measure_all", measured_but_deadly)
    rows = {row.vehicle: row for row in speedcal.fleet(drives, processes=several).rows}
    for known in alone["vehicles"]:
        if known["vehicle"] in {"00", "07"}:
            reason = rows[known["vehicle"]].reason
            assert reason is not None
            assert reason["error"] == "drive_kills_workers"
        else:
            assert rows[known["vehicle"]].to_dict()["error_factor"] == known["error_factor"]


@pytest.mark.benchmark
def test_a_command_that_is_killed_goes_on_where_it_was(drives: Path, alone: dict[str, object], tmp_path: Path) -> None:
    """Killed after the first batch; the second start measures the rest, and what was there before stays as it was."""
    out = tmp_path / "out"
    command = [sys.executable, "-m", "speedcal", "fleet", str(drives), "--out", str(out), "--processes", "1"]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=os.environ)
    try:
        end = time.monotonic() + 120
        while not known_to(out) and running.poll() is None and time.monotonic() < end:
            time.sleep(0.02)
    finally:
        running.kill()
        running.wait()
    before = known_to(out)
    assert 0 < len(before) < VEHICLES
    measured: list[int] = []
    result = speedcal.fleet(drives, remember=out, progress=lambda done, _: measured.append(done))
    assert measured[0] >= len(before) + 1
    assert result.to_dict() == alone
    assert before.items() <= known_to(out).items()


def known_to(folder: Path) -> dict[str, str]:
    """Return what is remembered in a folder."""
    import sqlite3

    if not (folder / "drives.sqlite").exists():
        return {}
    db = sqlite3.connect(folder / "drives.sqlite")
    try:
        return dict(db.execute("SELECT key, outcome FROM outcomes").fetchall())
    except sqlite3.OperationalError:
        return {}
    finally:
        db.close()
