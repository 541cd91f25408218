"""The cluster that does the work: one of this machine, or one that runs already."""

from __future__ import annotations

import importlib
import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from speedcal.errors import FleetError

if TYPE_CHECKING:
    from distributed import Client

_DEATHS = 3
"""Workers that may die of a task before its items are tried one by one, and of an item before it is given up."""
_WORKERS_WITHIN_S = 30
_AT_ONCE = ("speedcal.fleet.fleet", "pandas", "scipy.linalg", "scipy.special")
"""What a worker loads before it is there, and not within its first drive."""
_LOCAL = {
    "distributed.scheduler.allowed-failures": _DEATHS,
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
    "distributed.admin.system-monitor.interval": "2s",
    "distributed.worker.memory.monitor-interval": "1s",
    "distributed.scheduler.active-memory-manager.start": False,
    "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": 2**27,
    "distributed.nanny.pre-spawn-environ.MALLOC_MMAP_THRESHOLD_": 2**25,
}
"""Settings of a cluster of its own: its workers are looked at seldom while they work, and keep the memory that the
next drive needs again; as dask has it they give it back after every array, which costs an eighth of the work."""


def has_dask() -> bool:
    """Tell whether dask is installed."""
    return find_spec("distributed") is not None


@contextmanager
def own_cluster(processes: int) -> Iterator[Client]:
    """Give a client of so many worker processes of this machine, which end with it."""
    base, distributed = dask()
    with (
        base.config.set(_LOCAL),
        base.config.set(_way_to_start()),
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


def _way_to_start() -> dict[str, str]:
    """Return the setting by which workers are started: where it is safe, as copies of one process that has loaded."""
    if sys.platform != "linux":
        return {}
    from multiprocessing import get_context

    key = "distributed.worker.multiprocessing-method"
    base, distributed = dask()
    with base.config.set({key: "forkserver"}):
        distributed.utils.get_mp_context()  # sets what it would load, once, which is more than is needed
    get_context("forkserver").set_forkserver_preload(["distributed", *_AT_ONCE])
    return {key: "forkserver"}


def dask() -> tuple[Any, Any]:
    """Return dask and distributed.

    Raises
    ------
    FleetError
        They are missing.
    """
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
        client: Client = distributed.Client(scheduler, timeout=_WORKERS_WITHIN_S, set_as_default=False)
        client.wait_for_workers(1, timeout=_WORKERS_WITHIN_S)
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
    for address, found in client.run(version, "speedcal", on_error="return").items():
        if found != version("speedcal"):
            found = found if isinstance(found, str) else "none"
            raise FleetError("worker_of_another_version", source=address, found=found, expected=version("speedcal"))
