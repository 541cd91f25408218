"""A process that works beside this one: a copy of it, so that what ends it does not end the run."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Sequence
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Generic, TypeVar

CAN_COPY = sys.platform == "linux"
"""Whether processes can be copied safely."""
_LOOKED_EVERY_S = 0.1
_PATIENCE_S = 10.0
"""How long it may take for an item once it is no longer needed; the workers do the item then."""

Item = TypeVar("Item")
Made = TypeVar("Made")


class Helper(Generic[Item, Made]):
    """One process more, where processes can be copied safely; it ends with this one."""

    def __init__(self, do: Callable[[Sequence[Item]], list[Made]]) -> None:
        self._ours: Connection | None = None
        if not CAN_COPY:
            return
        self._ours, theirs = get_context("fork").Pipe()
        self._process = get_context("fork").Process(target=_serve, args=(do, theirs, self._ours), daemon=True)
        self._process.start()
        theirs.close()

    def close(self) -> None:
        """End it, whatever it does."""
        if self._ours is not None:
            self._ours.close()
            self._process.kill()
            self._process.join()
            self._ours = None

    def make(self, item: Item, needed: Callable[[], bool]) -> Made | None:
        """Return what is made of an item; None where the item ends the process, and for all items after it.

        Parameters
        ----------
        needed
            Tells whether help is needed; once it is not, it is not waited for long.
        """
        if self._ours is None:
            return None
        try:
            self._ours.send(item)
            last = time.monotonic()
            while not self._ours.poll(_LOOKED_EVERY_S):
                last = time.monotonic() if needed() else last
                if time.monotonic() - last > _PATIENCE_S:
                    raise TimeoutError
            made: Made = self._ours.recv()
        except (EOFError, OSError):
            self.close()
            return None
        return made


def _serve(do: Callable[[Sequence[Item]], list[Made]], theirs: Connection, ours: Connection) -> None:
    """Do items until nobody asks for more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks is told, and ends this
    ours.close()
    try:
        while True:
            theirs.send(do([theirs.recv()])[0])
    except (EOFError, OSError):
        return
