"""The cluster that does the work: one of this machine, or one that runs already."""

from __future__ import annotations

import importlib
import logging
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from importlib.metadata import version
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, TypeVar

from speedcal.errors import FleetError
from speedcal.fleet.helper import CAN_COPY

if TYPE_CHECKING:
    from distributed import Client

Answer = TypeVar("Answer")

_DEATHS = 3
"""Workers that may die of a task before its items are tried one by one, and of an item before it is given up."""
_WORKERS_WITHIN_S = 30
_ANSWERS_WITHIN_S = 60.0
_AT_ONCE = ("speedcal.fleet.fleet", "pandas", "scipy.linalg", "scipy.special")
"""What a worker loads before it is there, and not within its first drive."""
_ENVIRONMENT = {
    "MALLOC_TRIM_THRESHOLD_": str(2**27),
    "MALLOC_MMAP_THRESHOLD_": str(2**25),
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
}
"""Of the workers. They keep the memory that the next drive needs again; as dask has it they give it back after every
array, which costs an eighth of the work."""
_LOCAL = {
    "distributed.scheduler.allowed-failures": _DEATHS,
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
    "distributed.admin.system-monitor.interval": "2s",
    "distributed.worker.memory.monitor-interval": "1s",
    "distributed.scheduler.active-memory-manager.start": False,
    **{f"distributed.nanny.pre-spawn-environ.{name}": value for name, value in _ENVIRONMENT.items()},
}
"""Settings of a cluster of its own: its workers are looked at seldom while they work."""


def has_dask() -> bool:
    """Tell whether dask is installed."""
    return find_spec("distributed") is not None


@contextmanager
def own_cluster(processes: int) -> Iterator[Client]:
    """Give a client of so many worker processes of this machine, which end with it."""
    base, distributed = dask()
    with (
        base.config.set(_LOCAL),
        base.config.set({"distributed.worker.multiprocessing-method": "forkserver"} if CAN_COPY else {}),
        distributed.LocalCluster(
            n_workers=processes,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
            silence_logs=50,
            preload=_AT_ONCE,
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        yield client


def load_server() -> None:
    """Where workers are safely started as copies of one process, have that load what they need, beside this one.

    This process loads meanwhile what it needs itself: a copy of it helps until the workers are there.
    """
    if CAN_COPY:
        from multiprocessing.forkserver import ensure_running, set_forkserver_preload

        added = {name: value for name, value in _ENVIRONMENT.items() if name not in os.environ}
        os.environ.update(added)
        try:
            set_forkserver_preload(["distributed", *_AT_ONCE])
            ensure_running()
        finally:
            for name in added:
                del os.environ[name]
    load_libraries()


def load_libraries() -> None:
    """Load what measuring a drive needs, before this process is copied."""
    for name in _AT_ONCE:
        importlib.import_module(name)


def dask() -> tuple[Any, Any]:
    """Return dask and distributed, or refuse where they are missing."""
    if not has_dask():
        raise FleetError("library_missing", library="dask")
    return importlib.import_module("dask"), importlib.import_module("distributed")


@contextmanager
def reached(scheduler: str) -> Iterator[Client]:
    """Give a client of a cluster that runs already.

    Raises
    ------
    FleetError
        dask is missing, nothing answers at the address, or a worker has another version of this package.
    """
    _, distributed = dask()
    log = logging.getLogger("distributed.client")  # tells with tracebacks what is told in words when a scheduler goes
    level = log.level
    try:
        client: Client = answered(
            lambda: distributed.Client(scheduler, timeout=_WORKERS_WITHIN_S, set_as_default=False)
        )
        answered(lambda: client.wait_for_workers(1, timeout=_WORKERS_WITHIN_S))
    except (OSError, TimeoutError, ValueError) as problem:
        raise FleetError("scheduler_not_reached", source=scheduler, reason=str(problem)) from None
    try:
        log.setLevel(logging.CRITICAL)
        with client:
            _check_versions(client)
            yield client
    finally:
        log.setLevel(level)


def _check_versions(client: Client) -> None:
    """Refuse workers that have no package or another one: what they cannot unpack they die of, one after the other."""
    versions = answered(lambda: client.run(version, "speedcal", on_error="return"))
    for address, found in versions.items():
        if found != version("speedcal"):
            found = found if isinstance(found, str) else "none"
            raise FleetError("worker_of_another_version", source=address, found=found, expected=version("speedcal"))


def answered(ask: Callable[[], Answer]) -> Answer:
    """Return what a cluster answers, which dask waits for without end where the scheduler hangs.

    Raises
    ------
    FleetError
        Nothing has come for a minute.
    """
    answer = asked(ask)
    try:
        return answer.result(_ANSWERS_WITHIN_S)
    except TimeoutError:
        if answer.done():
            raise
        raise FleetError("scheduler_silent", waited_s=_ANSWERS_WITHIN_S) from None


def asked(ask: Callable[[], Answer]) -> Future[Answer]:
    """Ask a cluster, in a thread that does not keep this process from ending."""
    answer: Future[Answer] = Future()

    def wait() -> None:
        try:
            answer.set_result(ask())
        except BaseException as fault:
            answer.set_exception(fault)

    threading.Thread(target=wait, daemon=True).start()
    return answer
