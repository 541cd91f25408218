"""Who may send an upload now: places in all, for an address and for a link, and who gives way when all are taken."""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from speedcal.web.answers import busy
from speedcal.web.settings import Limits


@dataclass(eq=False)
class Upload:
    """One upload that is being received."""

    address: str
    link: str
    """The link it came through; empty for the shop."""
    since: float = field(default_factory=time.monotonic)
    came: int = 0
    """Bytes so far."""
    clock: asyncio.Timeout | None = None
    """Runs while the body arrives; set off early it takes the place away."""
    gave_way: bool = False
    """Whether its place was given to somebody else."""


class Uploads:
    """The uploads that are being received; used on the event loop only."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.under_way: set[Upload] = set()

    @contextmanager
    def place(self, new: Upload) -> Iterator[None]:
        """Hold a place for an upload.

        Raises
        ------
        RefusedError
            None is free, and nobody who holds more of them dawdles.
        """
        bounds = [(self.under_way, self.limits.uploads_at_once)]
        bounds.append(({one for one in self.under_way if one.address == new.address}, self.limits.uploads_per_address))
        if new.link:
            bounds.append(({one for one in self.under_way if one.link == new.link}, self.limits.uploads_per_link))
        for held, most in bounds:
            if len(held - self._giving_way()) >= most and not self._make_room(held, new):
                raise busy("uploads_busy")
        self.under_way.add(new)
        try:
            yield
        finally:
            self.under_way.discard(new)

    def _giving_way(self) -> set[Upload]:
        return {one for one in self.under_way if one.gave_way}

    def _make_room(self, held: set[Upload], new: Upload) -> bool:
        """Take the place of an upload that dawdles: one of the same link, or of whoever holds more places."""
        addresses = Counter(one.address for one in self.under_way)
        links = Counter((one.address, one.link) for one in self.under_way)

        def holds_more(one: Upload) -> bool:
            if one.address != new.address:
                return addresses[one.address] > addresses[new.address]
            return links[one.address, one.link] > links[new.address, new.link]

        dawdling = [one for one in held if self.dawdles(one) and (one.link == new.link or holds_more(one))]
        if not dawdling:
            return False
        victim = max(dawdling, key=lambda one: (addresses[one.address], links[one.address, one.link], -one.since))
        victim.gave_way = True
        assert victim.clock is not None  # noqa: S101 - it dawdles, so its body is still to come
        victim.clock.reschedule(0)
        return True

    def dawdles(self, upload: Upload) -> bool:
        """Tell whether an upload had its time and brings little."""
        age, limits = time.monotonic() - upload.since, self.limits
        is_coming = upload.clock is not None and not upload.clock.expired() and not upload.gave_way
        return is_coming and age > limits.patience_seconds and upload.came < limits.slow_bytes_per_s * age
