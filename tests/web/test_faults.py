"""Faults of what the service stands on: database away and back, power cuts, a full disk."""

from __future__ import annotations

import errno
import hashlib
import os
import random
import threading
import time
from pathlib import Path

import pytest
from support.postgres_server import PostgresServer, new_schema
from support.uploading import count_lost, new_job, send_track
from support.web_server import WebServer
from support.web_site import DEMO, Site, analysed_at_hand, open_site

from speedcal.web.pages import drives


def test_postgresql_goes_away_and_comes_back(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it is away every page says so in words with 503; when it is back nothing has to be started again."""
    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with analysed_at_hand(), open_site(tmp_path, database=new_schema(postgres), workers=1) as site:
        base = site.new_job()
        postgres.stop()
        try:
            for answer in (site.client.get(base), site.client.get("/jobs"), site.send(base)):
                assert answer.status_code == 503
                assert answer.headers["retry-after"] == "10"
                assert "job store cannot be reached" in answer.text
        finally:
            postgres.start()
        assert site.client.get(base).status_code == 200
        assert site.understand(site.send(base).headers["location"]).is_usable


def test_a_disk_that_fills_up_while_writing_costs_one_message(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """507 and nothing kept; the next upload works when there is room again."""
    base = site.new_job()

    def full(_fd: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as filled:
        filled.setattr(os, "fsync", full)
        answer = site.send(base)
    assert answer.status_code == 507
    assert "nothing was kept" in answer.text
    assert site.services.store.drives(base.split("/")[-1]) == []
    assert not [p for p in (site.services.originals.root / "originals").rglob("*") if p.is_file()]
    assert site.send(base).status_code == 303


def test_a_locked_sqlite_file_is_waited_for_or_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program that holds the file shortly only delays a write."""
    import sqlite3

    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with open_site(tmp_path) as site:
        base = site.new_job()
        holder = sqlite3.connect(tmp_path / "data" / "jobs.sqlite", check_same_thread=False, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        threading.Timer(0.5, lambda: holder.execute("COMMIT")).start()
        started = time.monotonic()
        assert site.send(base).status_code == 303
        assert time.monotonic() - started >= 0.4
        holder.close()


def kill_in_the_middle(
    folder: Path,
    rounds: int,
    *,
    options: tuple[str, ...] = (),
    seed: int = 1,
    uploads: int = 0,
    longest_s: float = 0.35,
) -> tuple[int, int, int]:
    """Kill the server in the middle of uploads, again and again; return kills, uploads acknowledged and lost ones.

    Every round four clients send tracks of different content without a pause, and after a random moment the server
    is killed with signal 9; in the last round as soon as one was acknowledged, where none was before. Afterwards every
    acknowledged drive must be in the store with its original byte for byte.
    """
    rng = random.Random(seed)  # noqa: S311 - not for secrets
    server = WebServer(folder / "data", "--workers", "0", *options)
    server.start()
    demo = (DEMO / "before.gpx").read_bytes()
    acknowledged: dict[str, str] = {}
    round_number = -1
    while (round_number := round_number + 1) < rounds or len(acknowledged) < uploads:
        stop = threading.Event()

        bases = [new_job(server.port) for _ in range(4)]

        def send(client: int, base: str, stop: threading.Event = stop, n: int = round_number) -> None:
            for i in range(20):  # a job takes no more
                content = demo + f"<!-- {n} {client} {i} -->".encode()
                if stop.is_set() or (where := send_track(server.port, f"{base}/drives/new/before", content)[1]) == "":
                    return
                acknowledged[where] = hashlib.sha256(content).hexdigest()

        clients = [threading.Thread(target=send, args=(c, base)) for c, base in enumerate(bases)]
        for thread in clients:
            thread.start()
        clients[0].join(rng.uniform(0.02, longest_s))
        while round_number + 1 >= rounds and not acknowledged and any(client.is_alive() for client in clients):
            time.sleep(0.01)
        server.kill()
        stop.set()
        for thread in clients:
            thread.join()
        server.start()
    server.stop()
    return round_number, len(acknowledged), count_lost(folder / "data", acknowledged, options)


def test_what_was_acknowledged_survives_kill_9(tmp_path: Path) -> None:
    """Three times here, or until one was; as often as a thousand uploads take in the load script."""
    kills, acknowledged, lost = kill_in_the_middle(tmp_path, 3, uploads=1)
    assert kills >= 3
    assert acknowledged > 0
    assert lost == 0
