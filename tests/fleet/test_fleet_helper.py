"""The process that works while the workers start: what ends it, or hangs, costs nothing but its help."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager

import psutil
import pytest

from speedcal.fleet import helper, workers
from speedcal.fleet.helper import Helper
from speedcal.fleet.workers import Work, Workers

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are copied on Linux only")
HERE = os.getpid()


def doubled(items: Sequence[int]) -> list[int]:
    """Double numbers; 3 ends the process that has it in hand, unless that is the one that asks, and 4 never comes."""
    if os.getpid() != HERE:
        if 3 in items:
            os.kill(os.getpid(), signal.SIGKILL)
        if 4 in items:
            threading.Event().wait()
    return [2 * item for item in items]


def test_an_item_that_ends_the_helper_is_told_by_none() -> None:
    with closing(Helper(doubled)) as made:
        assert made.make(2, needed=lambda: True) == 4
        assert made.make(3, needed=lambda: True) is None
        assert made.make(2, needed=lambda: True) is None


def test_a_helper_that_hangs_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is ended too."""
    monkeypatch.setattr(helper, "_PATIENCE_S", 0.1)
    before = set(psutil.Process().children())
    with closing(Helper(doubled)) as made:
        assert len(set(psutil.Process().children()) - before) == 1
        assert made.make(4, needed=lambda: False) is None
    assert set(psutil.Process().children()) <= before


@pytest.mark.parametrize("deadly", [3, 4])
def test_what_the_helper_could_not_do_is_left_to_the_workers(deadly: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is lost and nothing done twice; here the process that asks takes the place of the workers."""
    asked = threading.Event()

    @contextmanager
    def started_late(_: int) -> Iterator[None]:
        asked.wait(30)
        yield None

    class Asked(Helper[int, int]):
        def make(self, item: int, needed: Callable[[], bool]) -> int | None:
            if item == deadly:
                asked.set()
            return super().make(item, needed)

    monkeypatch.setattr(helper, "_PATIENCE_S", 0.1)
    monkeypatch.setattr(workers, "_WORTH_SHARING", 2)
    monkeypatch.setattr(workers, "own_cluster", started_late)
    monkeypatch.setattr(workers, "load_server", lambda: None)
    monkeypatch.setattr(workers, "Helper", Asked)
    work: Work[int, int] = Work(doubled, lambda item, _: item, 1)
    with Workers(2, None) as crew:
        found = [pair for batch in crew.each(iter([0, 1, deadly, 5, 6]), work) for pair in batch]
    assert found == [(n, 2 * n) for n in (0, 1, deadly, 5, 6)]
