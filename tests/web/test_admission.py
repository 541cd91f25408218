"""Places for uploads: shared fairly, and taken from who dawdles."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Coroutine
from contextlib import ExitStack
from dataclasses import replace

import pytest

from speedcal.web.answers import RefusedError
from speedcal.web.entry.admission import Upload, Uploads
from speedcal.web.settings import Limits

LIMITS = replace(Limits(), uploads_at_once=6, uploads_per_address=4, uploads_per_link=3)
OLD = LIMITS.patience_seconds + 1


def run(work: Coroutine[None, None, None]) -> None:
    asyncio.run(work)


async def entered(
    uploads: Uploads, stack: ExitStack, address: str, link: str, *, age: float = 0, came: int = 0
) -> Upload:
    """Take a place for an upload of this age, which waits for its body."""
    upload = Upload(address, link, since=time.monotonic() - age, came=came)
    stack.enter_context(uploads.place(upload))
    upload.clock = asyncio.timeout(1000)
    await upload.clock.__aenter__()
    return upload


@pytest.mark.parametrize(
    ("held", "new", "fits"),
    [
        ([("a", "1")] * 2, ("a", "1"), True),
        ([("a", "1")] * 3, ("a", "1"), False),  # three of one link
        ([("a", "1")] * 2 + [("b", "1")], ("c", "1"), False),  # wherever they come from
        ([("a", "1")] * 3, ("a", "2"), True),
        ([("a", "1")] * 3 + [("a", "2")], ("a", "3"), False),  # four of one address
        ([("a", "")] * 4, ("a", ""), False),  # the shop too
        ([("a", "")] * 3, ("a", ""), True),  # which has no link to be counted by
        ([("a", "1")] * 3 + [("b", "2")] * 3, ("c", "3"), False),  # six in all
    ],
)
def test_places_in_all_for_an_address_and_for_a_link(
    held: list[tuple[str, str]], new: tuple[str, str], fits: bool
) -> None:
    """While all of them come at a good speed nobody gives way."""

    async def work() -> None:
        uploads = Uploads(LIMITS)
        with ExitStack() as stack:
            for address, link in held:
                await entered(uploads, stack, address, link, age=OLD, came=10**8)
            if fits:
                await entered(uploads, stack, *new)
            else:
                with pytest.raises(RefusedError, match="uploads_busy"):
                    await entered(uploads, stack, *new)

    run(work())


@pytest.mark.parametrize(
    ("held", "new", "victim"),
    [
        ([("a", "1")] * 3, ("a", "1"), 0),  # a phone that lost its network tries again
        ([("a", "1")] * 3 + [("a", "2")], ("a", "3"), 0),  # the link that holds most of one address
        ([("a", "1")] * 3 + [("a", "2")], ("a", "2"), 0),
        ([("a", "1")] * 2 + [("b", "2")] * 4, ("c", "3"), 2),  # the address that holds most
        ([("a", "1")] * 3 + [("b", "2")] * 3, ("b", "3"), 3),  # an address that holds as much takes it from itself
    ],
)
def test_who_dawdles_and_holds_more_gives_way(held: list[tuple[str, str]], new: tuple[str, str], victim: int) -> None:
    """The oldest of whoever holds most; never somebody who holds less than the one who comes."""

    async def work() -> None:
        uploads = Uploads(replace(LIMITS, uploads_per_link=4) if len(held) == 6 else LIMITS)
        with ExitStack() as stack:
            ups = [await entered(uploads, stack, *who, age=OLD + 10 - n) for n, who in enumerate(held)]
            await entered(uploads, stack, *new)
            assert [n for n, upload in enumerate(ups) if upload.gave_way] == [victim]

    run(work())


def test_nobody_gives_way_to_who_holds_as_much() -> None:
    """All places are taken; one address dawdles with three, the other has three at a good speed and wants a fourth."""

    async def work() -> None:
        uploads = Uploads(LIMITS)
        with ExitStack() as stack:
            for n in range(3):
                await entered(uploads, stack, "a", "1", age=OLD)
                await entered(uploads, stack, "b", f"b{n}", age=OLD, came=10**8)
            with pytest.raises(RefusedError, match="uploads_busy"):
                await entered(uploads, stack, "b", "4")

    run(work())


@pytest.mark.parametrize(("age", "rate", "gives_way"), [(5, 0, False), (OLD, 0.5, True), (OLD, 2, False)])
def test_only_who_had_time_and_brings_little_dawdles(age: float, rate: float, gives_way: bool) -> None:
    """Ten seconds, then 16 kB/s."""

    async def work() -> None:
        uploads = Uploads(replace(LIMITS, uploads_per_link=1))
        with ExitStack() as stack:
            came = int(rate * LIMITS.slow_bytes_per_s * age)
            one = await entered(uploads, stack, "a", "1", age=age, came=came)
            if gives_way:
                await entered(uploads, stack, "a", "1")
            else:
                with pytest.raises(RefusedError):
                    await entered(uploads, stack, "a", "1")
            assert one.gave_way is gives_way

    run(work())


def test_an_upload_that_is_in_keeps_its_place_until_it_is_on_the_disk() -> None:
    """Its body has come; taking its place away would lose what the answer is about to acknowledge."""

    async def work() -> None:
        uploads = Uploads(replace(LIMITS, uploads_per_link=1))
        with ExitStack() as stack:
            one = await entered(uploads, stack, "a", "1", age=OLD)
            one.clock = None
            with pytest.raises(RefusedError):
                await entered(uploads, stack, "a", "1")

    run(work())
