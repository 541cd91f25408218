"""Measuring many drives: in this process, on its own worker processes, or on a cluster of dask that runs already."""

from __future__ import annotations

import importlib
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from itertools import chain, islice
from typing import TYPE_CHECKING, Any

from speedcal.errors import FleetError
from speedcal.finding import json_ready
from speedcal.fleet.drive import DriveFiles, Outcome, measure
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from distributed import Client

BATCH = 8
"""Drives in one task: a few seconds of work, so that handing it out costs nothing and little is lost with a worker."""
_WAITING = 3
"""Tasks a worker has in hand or in line; the scheduler never holds more, however large the fleet."""
_DEATHS = 3
"""Workers that may die of a task before its drives are tried one by one, and of a drive before it is given up."""
_WORKERS_WITHIN_S = 30
_WORTH_SHARING = 16
"""Tasks from which on worker processes are started unasked: to start two costs as much as 60 drives."""
_LOCAL = {
    "distributed.scheduler.allowed-failures": _DEATHS,
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
}
"""Settings of the cluster of its own: its workers are not watched while they work."""

Done = tuple[DriveFiles, Outcome]


def measure_batch(batch: Sequence[DriveFiles], unit: DisplayUnit | None) -> list[Outcome]:
    """Measure some drives; the task that a worker gets."""
    return [measure(files, unit) for files in batch]


def measure_all(
    drives: Iterator[DriveFiles],
    unit: DisplayUnit | None,
    *,
    processes: int | None,
    scheduler: str | None,
) -> Iterator[list[Done]]:
    """Yield the outcomes of drives in batches, in the order in which they are ready.

    Parameters
    ----------
    drives
        What is to be measured.
    unit
        Unit for people.
    processes
        Worker processes on this machine; 1 works in this process. None takes one for every processor, and this
        process where dask is missing or there is little to do.
    scheduler
        Address of a cluster that runs already.

    Raises
    ------
    FleetError
        dask is missing or the cluster cannot be reached.
    """
    batches = _batches(drives)
    first = list(islice(batches, _WORTH_SHARING))
    if not first:
        return
    batches = chain(first, batches)
    count = processes or _processors()
    little = processes is None and (len(first) < _WORTH_SHARING or not _has_dask())
    if scheduler is None and (count == 1 or little):
        for batch in batches:
            yield list(zip(batch, measure_batch(batch, unit), strict=True))
        return
    with _client(scheduler, count) as client:
        yield from _on_cluster(client, batches, unit)


def _processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _batches(drives: Iterator[DriveFiles]) -> Iterator[list[DriveFiles]]:
    batch: list[DriveFiles] = []
    for files in drives:
        batch.append(files)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def _has_dask() -> bool:
    return find_spec("distributed") is not None


@contextmanager
def _client(scheduler: str | None, processes: int) -> Iterator[Client]:
    dask, distributed = _dask()
    if scheduler is not None:
        with _reached(scheduler) as client:
            yield client
        return
    with (
        dask.config.set(_LOCAL),
        distributed.LocalCluster(
            n_workers=processes, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0", silence_logs=50
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        yield client


def _dask() -> tuple[Any, Any]:
    if not _has_dask():
        raise FleetError("library_missing", library="dask")
    return importlib.import_module("dask"), importlib.import_module("distributed")


def _reached(scheduler: str) -> Client:
    _, distributed = _dask()
    try:
        client: Client = distributed.Client(scheduler, timeout=_WORKERS_WITHIN_S, set_as_default=False)
        client.wait_for_workers(1, timeout=_WORKERS_WITHIN_S)
    except (OSError, TimeoutError, ValueError) as problem:
        raise FleetError("scheduler_not_reached", source=scheduler, reason=str(problem)) from None
    return client


def _on_cluster(client: Client, batches: Iterator[list[DriveFiles]], unit: DisplayUnit | None) -> Iterator[list[Done]]:
    """Keep every worker busy and no more in line than needed; a batch that kills workers is taken apart."""
    _, distributed = _dask()
    at_work: dict[Any, list[DriveFiles]] = {}
    ready = distributed.as_completed(loop=client.loop, raise_errors=False)

    def hand_out(batch: list[DriveFiles]) -> None:
        sent = [files.packed() for files in batch]
        future = client.submit(measure_batch, sent, unit, pure=False, retries=0)
        at_work[future.key] = batch
        ready.add(future)

    for _ in range(_room(client)):
        batch = next(batches, None)
        if batch is not None:
            hand_out(batch)
    while at_work:
        future = next(ready)
        batch = at_work.pop(future.key)
        if future.status == "finished":
            yield list(zip(batch, future.result(), strict=True))
        elif len(batch) > 1:
            for files in batch:
                hand_out([files])
        else:
            yield [(batch[0], _given_up(batch[0], future))]
        future.release()
        while len(at_work) < _room(client) and (batch := next(batches, [])):
            hand_out(batch)


def _room(client: Client) -> int:
    return _WAITING * max(len(client.scheduler_info(n_workers=-1)["workers"]), 1)


def _given_up(files: DriveFiles, future: Any) -> Outcome:
    fault = future.exception()
    error = FleetError("drive_kills_workers", source=files.name, fault=type(fault).__name__, reason=str(fault)[:200])
    return {"key": "", "digests": [], "error": json_ready(error.to_dict())}
