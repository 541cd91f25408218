"""Those who do the work: this process, worker processes of its own, or a cluster of dask that runs already."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from speedcal.errors import FleetError

if TYPE_CHECKING:
    from distributed import Client

_WAITING = 3
"""Tasks a worker has in hand or in line; the scheduler never holds more, however large the fleet."""
_DEATHS = 3
"""Workers that may die of a task before its items are tried one by one, and of an item before it is given up."""
_WORKERS_WITHIN_S = 30
_WORTH_SHARING = 16
"""Tasks from which on worker processes are started unasked: to start two costs as much as 40 drives."""
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
"""Settings of the cluster of its own: its workers are looked at seldom while they work, and keep the memory that the
next drive needs again; as dask has it they give it back after every array, which costs an eighth of the work."""

Item = TypeVar("Item")
Made = TypeVar("Made")


@dataclass(frozen=True)
class Work(Generic[Item, Made]):
    """One kind of work on many items, some of them at a time."""

    do: Callable[[Sequence[Item]], list[Made]]
    """Pure; can be sent to another process."""
    given_up: Callable[[Item, BaseException], Made]
    """What to say of an item with which no worker comes to an end."""
    size: int
    """What is done in one task, about a second of work: handing it out costs nothing, and little is lost with a
    worker."""
    weight: Callable[[Item], int] = lambda _: 1
    """How much of ``size`` an item is."""
    packed: Callable[[Item], Item] = lambda item: item
    """Makes an item ready to be sent to another machine."""


class Workers:
    """A context: worker processes are started when there is enough to do, and ended with it.

    Parameters
    ----------
    processes
        Worker processes on this machine; 1 works in this process. None takes one for every processor, and this
        process where dask is missing or there is little to do.
    scheduler
        Address of a cluster that runs already.
    """

    def __init__(self, processes: int | None, scheduler: str | None) -> None:
        self._asked, self._scheduler = processes, scheduler
        self._open = ExitStack()
        self._client: Client | None = None

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *fault: object) -> None:
        self._open.close()

    def each(self, items: Iterator[Item], work: Work[Item, Made]) -> Iterator[list[tuple[Item, Made]]]:
        """Yield the items with what was made of them, in batches, in the order in which they are ready.

        Raises
        ------
        FleetError
            dask is missing or the cluster cannot be reached.
        """
        batches = _batches(items, work)
        first = list(islice(batches, _WORTH_SHARING))
        client = self._client_for(len(first))
        batches = chain(first, batches)
        if client is not None:
            yield from _on_cluster(client, batches, work)
            return
        for batch in batches:
            yield list(zip(batch, work.do(batch), strict=True))

    def _client_for(self, tasks: int) -> Client | None:
        """Return the client of those who do so many tasks or more; None for this process."""
        if self._client is None and tasks and self._shares(tasks):
            self._client = self._open.enter_context(_client(self._scheduler, self._asked or _processors()))
        return self._client

    def _shares(self, tasks: int) -> bool:
        if self._scheduler is not None or self._asked is not None:
            return self._scheduler is not None or self._asked != 1
        return tasks >= _WORTH_SHARING and _has_dask() and _processors() > 1


def _processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _batches(items: Iterator[Item], work: Work[Item, Made]) -> Iterator[list[Item]]:
    batch: list[Item] = []
    weight = 0
    for item in items:
        batch.append(item)
        weight += work.weight(item)
        if weight >= work.size:
            yield batch
            batch, weight = [], 0
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


def _on_cluster(
    client: Client, batches: Iterator[list[Item]], work: Work[Item, Made]
) -> Iterator[list[tuple[Item, Made]]]:
    """Keep every worker busy and no more in line than needed; a batch that kills workers is taken apart."""
    _, distributed = _dask()
    at_work: dict[Any, list[Item]] = {}
    ready = distributed.as_completed(loop=client.loop, raise_errors=False)

    def hand_out(batch: list[Item]) -> None:
        future = client.submit(work.do, [work.packed(item) for item in batch], pure=False, retries=0)
        at_work[future.key] = batch
        ready.add(future)

    for batch in islice(batches, _room(client)):
        hand_out(batch)
    while at_work:
        future = next(ready)
        batch = at_work.pop(future.key)
        if future.status == "finished":
            yield list(zip(batch, future.result(), strict=True))
        elif len(batch) > 1:
            for item in batch:
                hand_out([item])
        else:
            yield [(batch[0], work.given_up(batch[0], future.exception()))]
        future.release()
        while len(at_work) < _room(client) and (batch := next(batches, [])):
            hand_out(batch)


def _room(client: Client) -> int:
    return _WAITING * max(len(client.scheduler_info(n_workers=-1)["workers"]), 1)
