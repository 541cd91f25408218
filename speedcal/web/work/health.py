"""Whether the service can do its work: write files, write its store, have analyses done, and has room."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

if TYPE_CHECKING:
    from speedcal.web.kept.originals import Originals
    from speedcal.web.kept.store import Store
    from speedcal.web.work.runner import Runner

_KEPT_S = 5.0
"""Whoever asks more often gets the last answer: anybody may ask, and each look writes to the disk."""


class Health:
    """Looks at what the service stands on, at most once in a few seconds."""

    def __init__(
        self, store: Store, originals: Originals, runner: Runner, *, certified_until: float = math.inf
    ) -> None:
        self.store, self.originals, self.runner = store, originals, runner
        self.certified_until = certified_until
        """Until when the certificate is not one that somebody has to renew."""
        self._looking = threading.Lock()
        self._last: dict[str, bool] = {}
        self._looked_at = 0.0

    def look(self) -> dict[str, bool]:
        """Return what works, by name: ``database``, ``writing``, ``disk``, ``workers``, ``certificate``."""
        with self._looking:
            if not self._last or time.monotonic() - self._looked_at > _KEPT_S:
                self._last = {
                    "database": _works(lambda: self.store.set_fact("looked at", f"{time.time():.0f}")),
                    "writing": _works(self.originals.try_writing),
                    "disk": _works(self.originals.check_room),
                    "workers": self.runner.is_working,
                    "certificate": time.time() < self.certified_until,
                }
                self._looked_at = time.monotonic()
            return self._last


def _works(attempt: Callable[[], object]) -> bool:
    try:
        attempt()
    except (OSError, DBAPIError, PoolTimeoutError):
        return False
    return True
