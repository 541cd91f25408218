"""Those who do the work: this process, worker processes of its own, or a cluster of dask that runs already."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import ExitStack, closing
from dataclasses import dataclass
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from speedcal.errors import FleetError
from speedcal.fleet.cluster import answered, asked, dask, has_dask, load_libraries, load_server, own_cluster, reached
from speedcal.fleet.drive import method
from speedcal.fleet.helper import CAN_COPY, Helper

if TYPE_CHECKING:
    from distributed import Client

_WAITING = 3
"""Tasks a worker has in hand or in line; the scheduler never holds more, however large the fleet."""
_WORTH_SHARING = 16
"""Tasks from which on worker processes are started unasked: to start two costs as much as 40 drives."""
_COUNTED_EVERY_S = 2.0
"""Workers of a cluster come and go; they are counted this often."""
_TRIED_BESIDE = 2
"""How often an item is tried beside one process that works alone: whoever ends a process by hand may strike any."""
_LOOKED_EVERY_S = 0.05
_WITHOUT_WORKERS_S = 60.0
"""How long a cluster may be without any worker before the run ends; new ones take the place of those that died."""

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
    may_end_process: bool = False
    """Whether an item may end the process that has it in hand, as foreign files may."""


class Workers:
    """A context: worker processes are started when there is enough to do, and ended with it.

    Parameters
    ----------
    processes
        Worker processes on this machine; 1 works in this process, what may end it in a copy of it. None takes one for
        every processor, and this process where dask is missing or there is little to do.
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
        if first and work.may_end_process and CAN_COPY:
            yield from _beside(batches, work)
            return
        for batch in batches:
            yield list(zip(batch, work.do(batch), strict=True))

    def _start(
        self, batches: Iterator[list[Item]], work: Work[Item, Made]
    ) -> Generator[list[tuple[Item, Made]], None, Iterator[list[Item]]]:
        """Start the workers, have some items done until they are there, and return the batches that are left."""
        if self._scheduler is not None:
            self._client = self._open.enter_context(reached(self._scheduler))
            return batches
        load_server()
        helper: Helper[Item, Made] = Helper(work.do)  # before there are threads, with which no process is copied safely
        rest: list[Item] = []
        with closing(helper), ThreadPoolExecutor(1) as aside:
            starting = aside.submit(self._open.enter_context, own_cluster(self._asked or _processors()))
            while not starting.done() and (rest := rest or next(batches, [])):
                made = helper.make(rest[0], needed=lambda: not starting.done())
                if made is None:
                    break
                yield [(rest[0], made)]
                rest = rest[1:]
            try:
                self._client = starting.result()
            except (RuntimeError, OSError) as problem:
                raise FleetError("workers_not_started", reason=str(problem).rstrip(".")) from None
        return chain([rest], batches) if rest else batches

    def _shares(self, tasks: int) -> bool:
        if self._scheduler is not None or self._asked is not None:
            return self._scheduler is not None or self._asked != 1
        return tasks >= _WORTH_SHARING and has_dask() and _processors() > 1


def _beside(batches: Iterator[list[Item]], work: Work[Item, Made]) -> Iterator[list[tuple[Item, Made]]]:
    """Have a copy of this process do the work, and another copy where an item ends the first."""
    load_libraries()
    helper: Helper[Item, Made] = Helper(work.do)
    try:
        for batch in batches:
            done: list[tuple[Item, Made]] = []
            for item in batch:
                made: Made | None = None
                for _ in range(_TRIED_BESIDE):
                    made = helper.make(item, needed=lambda: True)
                    if made is not None:
                        break
                    helper = Helper(work.do)
                done.append((item, work.given_up(item, EOFError()) if made is None else made))
            yield done
    finally:
        helper.close()


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


def _on_cluster(
    client: Client, batches: Iterator[list[Item]], work: Work[Item, Made]
) -> Iterator[list[tuple[Item, Made]]]:
    """Keep every worker busy and no more in line than needed.

    Whatever a worker had in hand or in line when it died is suspected: it is tried at the end, one item at a time.
    """
    room = _Room(client)
    suspects: list[Item] = []
    for batch, made, fault in _handed_out(client, batches, work, room.tasks):
        if fault is None:
            yield list(zip(batch, made, strict=True))
        else:
            suspects += batch
    for (item,), made, fault in _handed_out(client, ([item] for item in suspects), work, lambda: min(room.tasks(), 1)):
        yield [(item, made[0] if fault is None else work.given_up(item, fault))]


def _handed_out(
    client: Client, batches: Iterator[list[Item]], work: Work[Item, Made], room: Callable[[], int]
) -> Iterator[tuple[list[Item], list[Made], BaseException | None]]:
    """Yield the batches with what was made of them, or with what it was that workers died of."""
    at_work: dict[Any, list[Item]] = {}
    ready = dask()[1].as_completed(loop=client.loop, raise_errors=False)

    def hand_out() -> None:
        while len(at_work) < room() and (batch := next(batches, [])):
            packed = [work.packed(item) for item in batch]
            future = client.submit(_done_alike, work.do, packed, method(), pure=False, retries=0)
            at_work[future.key] = batch
            ready.add(future)

    hand_out()
    while at_work:
        while not ready.has_ready():
            room()
            time.sleep(_LOOKED_EVERY_S)
        future = next(ready)
        if future.status in {"pending", "lost"}:  # the worker that kept it has died: it is done once more
            ready.add(future)
            continue
        batch = at_work.pop(future.key)
        hand_out()
        yield batch, *_outcome_of(future, room)
        future.release()


def _outcome_of(future: Any, room: Callable[[], int]) -> tuple[list[Any], BaseException | None]:
    """Fetch what was made; where the worker that kept it has died meanwhile it is made once more, however long."""
    from distributed.scheduler import KilledWorker

    try:
        if future.status == "finished":
            made = asked(future.result)
            while not wait([made], _LOOKED_EVERY_S).done:
                room()
            return made.result(), None
    except KilledWorker as fault:
        return [], fault
    return [], _fault_of(future)


def _done_alike(do: Callable[[list[Item]], list[Made]], items: list[Item], asked: str) -> list[Made]:
    """Do the work where it is done as the client would do it."""
    if method() != asked:
        raise FleetError("worker_of_another_version", found=method(), expected=asked)
    return do(items)


def _fault_of(future: Any) -> BaseException:
    """Return that workers died of a task; whatever else keeps it from being done keeps all others too.

    Raises
    ------
    FleetError
        The scheduler is gone, or a worker has another version of the package, or none.
    """
    from distributed.scheduler import KilledWorker

    if future.status != "error":
        raise FleetError("scheduler_lost")
    fault: BaseException = answered(future.exception)
    if isinstance(fault, KilledWorker):
        return fault
    if isinstance(fault, FleetError):
        raise fault
    raise FleetError("worker_differs", fault=type(fault).__name__, reason=str(fault)[:200])


class _Room:
    """How many tasks the workers may have, by how many workers there are."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._workers, self._counted = 0, -_COUNTED_EVERY_S
        self._seen = time.monotonic()

    def tasks(self) -> int:
        """Count them, if that was long ago.

        Raises
        ------
        FleetError
            The scheduler is gone, or all workers are and none has come.
        """
        now = time.monotonic()
        if now - self._counted >= _COUNTED_EVERY_S:
            known = answered(lambda: self._client.scheduler_info(n_workers=-1)).get("workers")
            if known is None:
                raise FleetError("scheduler_lost")
            self._workers, self._counted = len(known), now
            self._seen = now if known else self._seen
            if now - self._seen > _WITHOUT_WORKERS_S:
                raise FleetError("no_worker_left")
        return _WAITING * max(self._workers, 1)
