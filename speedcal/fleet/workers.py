"""Those who do the work: this process, worker processes of its own, or a cluster of dask that runs already."""

from __future__ import annotations

import importlib
import os
import sys
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
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
_ALONE_AT_FIRST = 64
"""Items that this process does at most while its workers start."""
_COUNTED_EVERY_S = 2.0
"""Workers of a cluster come and go; they are counted this often."""
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
        batches = chain(first, batches)
        if self._client is None and first and self._shares(len(first)):
            batches = yield from self._start(batches, work)
        if self._client is not None:
            yield from _on_cluster(self._client, batches, work)
            return
        for batch in batches:
            yield list(zip(batch, work.do(batch), strict=True))

    def _start(
        self, batches: Iterator[list[Item]], work: Work[Item, Made]
    ) -> Generator[list[tuple[Item, Made]], None, Iterator[list[Item]]]:
        """Start the workers, do some items here until they are there, and return the batches that are left."""
        if self._scheduler is not None:
            self._client = self._open.enter_context(_reached(self._scheduler))
            return batches
        alone = 0
        rest: list[Item] = []
        with ThreadPoolExecutor(1) as aside:
            starting = aside.submit(self._open.enter_context, _own_cluster(self._asked or _processors()))
            while alone < _ALONE_AT_FIRST and not starting.done() and (rest := rest or next(batches, [])):
                yield [(rest[0], work.do(rest[:1])[0])]
                rest = rest[1:]
                alone += 1
            self._client = starting.result()
        return chain([rest], batches) if rest else batches

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
def _own_cluster(processes: int) -> Iterator[Client]:
    dask, distributed = _dask()
    with (
        dask.config.set(_LOCAL),
        dask.config.set(_way_to_start()),
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
    dask, distributed = _dask()
    with dask.config.set({key: "forkserver"}):
        distributed.utils.get_mp_context()  # sets what it would load, once, which is more than is needed
    get_context("forkserver").set_forkserver_preload(["distributed", *_AT_ONCE])
    return {key: "forkserver"}


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
    room = _Room(client)

    def hand_out(batch: list[Item]) -> None:
        future = client.submit(work.do, [work.packed(item) for item in batch], pure=False, retries=0)
        at_work[future.key] = batch
        ready.add(future)

    for batch in islice(batches, room.tasks()):
        hand_out(batch)
    while at_work:
        future = next(ready)
        batch = at_work.pop(future.key)
        while len(at_work) < room.tasks() and (more := next(batches, [])):
            hand_out(more)
        if future.status == "finished":
            yield list(zip(batch, future.result(), strict=True))
        elif len(batch) > 1:
            for item in batch:
                hand_out([item])
        else:
            yield [(batch[0], work.given_up(batch[0], future.exception()))]
        future.release()


class _Room:
    """How many tasks the workers may have, by how many workers there are."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._workers, self._counted = 0, -_COUNTED_EVERY_S

    def tasks(self) -> int:
        if time.monotonic() - self._counted >= _COUNTED_EVERY_S:
            self._workers = len(self._client.scheduler_info(n_workers=-1)["workers"])
            self._counted = time.monotonic()
        return _WAITING * max(self._workers, 1)
