"""What a client may make the server wait for, over real sockets: nothing for long, and never at the cost of others."""

from __future__ import annotations

import hashlib
import select
import socket
import ssl
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from support.needs import missing
from support.uploading import count_lost, new_job, send_track
from support.web_thread import serve_in_thread, until_closed

from speedcal.web.entry import guard, protocol
from speedcal.web.settings import Limits

LIMITS = replace(Limits(), free_disk_bytes=0)
HEAD = b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n"


def hurried(**seconds: float) -> Limits:
    """Return limits with other times."""
    return replace(LIMITS, **seconds)  # type: ignore[arg-type]


@pytest.mark.parametrize("first", [b"", b"GET / HTTP/1.1\r\nHost: loc"])
def test_a_client_that_says_nothing_or_half_a_request_is_let_go(tmp_path: Path, first: bytes) -> None:
    """Nothing is answered: browsers open lines ahead of time, and an answer nobody asked for would confuse them."""
    with serve_in_thread(tmp_path, hurried(header_seconds=0.2)) as served:
        assert until_closed(served.line(first)) == b""


@pytest.mark.parametrize(
    "first",
    [
        b"OPTIONS * HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"CONNECT elsewhere.example:80 HTTP/1.1\r\nHost: localhost\r\n\r\n",
        HEAD + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /sign-in HTTP/1.1\r\n\r\n",
    ],
    ids=["no path", "for a proxy", "two lengths"],
)
def test_what_is_no_request_to_a_page_is_refused_and_the_line_closed(tmp_path: Path, first: bytes) -> None:
    """A body whose end two programs see in two places is the beginning of somebody else's request to one of them."""
    with serve_in_thread(tmp_path, LIMITS) as served:
        told = until_closed(served.line(first))
        assert told.startswith(b"HTTP/1.1 400 ")
        assert told.count(b"HTTP/1.1") == 1


def test_words_that_trickle_in_do_not_buy_time(tmp_path: Path) -> None:
    """The deadline is for the whole request, not for the next byte."""
    with serve_in_thread(tmp_path, hurried(header_seconds=0.5)) as served:
        line = served.line(b"GET / HTTP/1.1\r\n")
        for n in range(10_000):
            if select.select([line], [], [], 0.02)[0]:
                break
            line.sendall(b"X-%d: 1\r\n" % n)
        else:
            raise AssertionError("the line is still open")


def test_the_second_request_on_a_line_has_a_deadline_too(tmp_path: Path) -> None:
    """After a good one."""
    with serve_in_thread(tmp_path, hurried(header_seconds=0.5)) as served:
        line = served.line(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n")
        answer = line.recv(65536)
        line.sendall(b"GET /sign-in HT")
        assert b"200 OK" in answer + until_closed(line)


def test_a_body_that_does_not_come_is_answered_and_let_go(tmp_path: Path) -> None:
    """408 in words, then the line ends although the body is still missing."""
    with serve_in_thread(tmp_path, hurried(form_seconds=0.2, rest_seconds=0.2)) as served:
        line = served.line(HEAD + b"Content-Length: 100\r\n\r\npass")
        assert until_closed(line).startswith(b"HTTP/1.1 408")


def test_a_body_nobody_asked_for_is_not_taken_in_for_long(tmp_path: Path) -> None:
    """A page that does not exist is answered at once; the rest of the body has seconds."""
    with serve_in_thread(tmp_path, hurried(rest_seconds=0.2)) as served:
        line = served.line(HEAD.replace(b"/sign-in", b"/nowhere") + b"Content-Length: 100000\r\n\r\nx")
        assert until_closed(line).startswith(b"HTTP/1.1 404")


def test_an_answer_that_is_not_taken_is_thrown_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A client that asks for much and reads nothing holds a line for seconds only."""
    ended: list[str] = []
    real = protocol.PatientProtocol.end

    def noted(self: protocol.PatientProtocol) -> None:
        ended.append("untaken" if self._untaken else "deadline")
        real(self)

    monkeypatch.setattr(protocol.PatientProtocol, "end", noted)
    with serve_in_thread(tmp_path, hurried(taking_seconds=0.3)) as served:
        line = socket.socket()
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        line.settimeout(30)
        line.connect(("127.0.0.1", served.port))
        served.open.append(line)
        request = b"GET /static/style.css HTTP/1.1\r\nHost: localhost\r\n\r\n"
        poller = select.poll()
        poller.register(line, select.POLLERR | select.POLLHUP)
        line.setblocking(False)
        for _ in range(20_000):
            try:
                line.send(request)
            except BlockingIOError:
                pass
            except (ConnectionResetError, BrokenPipeError):
                break
            if poller.poll(5):
                break
    assert ended[:1] == ["untaken"]


def test_whoever_has_most_lines_loses_the_oldest_idle_one(tmp_path: Path) -> None:
    """Room for twenty: a hundred half requests from five addresses do not keep another out, nor end its line."""
    with serve_in_thread(tmp_path, replace(LIMITS, connections=20)) as served:
        mine = served.line(b"GET /sign-in HTTP/1.1\r\n", source="127.0.0.1")
        theirs = [served.line(b"GET / HTTP/1.1\r\n", source=f"127.0.0.{n % 5 + 4}") for n in range(100)]
        assert served.ask(source="127.0.0.3") == b"HTTP/1.1 200 OK"
        mine.sendall(b"Host: localhost\r\n\r\n")
        assert mine.recv(4096).startswith(b"HTTP/1.1 200 OK")
        assert until_closed(theirs[0]) == b""


def test_an_address_with_many_requests_does_not_take_the_turns_of_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three forms whose bodies do not come are all that one address may have; it is told so, another is served."""
    monkeypatch.setattr(guard, "_AT_ONCE", 3)
    with serve_in_thread(tmp_path, LIMITS) as served:
        for _ in range(3):
            served.line(HEAD + b"Content-Length: 100\r\n\r\n", source="127.0.0.2")
        for source, status in (("127.0.0.2", b"HTTP/1.1 503"), ("127.0.0.3", b"HTTP/1.1 200")):
            until = time.monotonic() + 30
            while not served.ask(source=source).startswith(status) and time.monotonic() < until:
                pass
            assert time.monotonic() < until


def test_many_uploads_at_the_same_moment_are_kept_or_told_busy(tmp_path: Path) -> None:
    """Forty from one address; the load script has three hundred from as many."""
    with serve_in_thread(tmp_path, LIMITS) as served:
        base, start = new_job(served.port), threading.Barrier(40)

        def send(n: int) -> tuple[int, str]:
            start.wait()
            return send_track(served.port, f"{base}/drives/new/before", b"x" * 50_000 + b"%d" % n, "127.0.0.1")

        with ThreadPoolExecutor(40) as pool:
            answers = list(pool.map(send, range(40)))
    kept = {
        where: hashlib.sha256(b"x" * 50_000 + b"%d" % n).hexdigest()
        for n, (code, where) in enumerate(answers)
        if code == 303
    }
    assert {code for code, _ in answers} <= {303, 503}
    assert kept
    assert count_lost(tmp_path / "data", kept, ()) == 0


def test_the_descriptors_of_the_process_are_never_used_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines, as many that knock, and what files and workers need stay below the limit of the system."""
    resource = pytest.importorskip("resource")
    for soft, hard in ((1024, 1024), (1024, 4096), (256, 512), (1_000_000, 1_000_000)):
        limit = [soft, hard]
        monkeypatch.setattr(resource, "getrlimit", lambda _which, limit=limit: tuple(limit))
        monkeypatch.setattr(resource, "setrlimit", lambda _which, new, limit=limit: limit.__setitem__(0, new[0]))
        room = protocol.room_for_connections(2000)
        assert room + 200 <= limit[0] <= hard
        assert room == min(2000, hard - 200)
    monkeypatch.setitem(sys.modules, "resource", None)
    assert protocol.room_for_connections(2000) < 512, "Windows has no such limit, and waits for 512 sockets"


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Make a certificate for this machine."""
    folder = tmp_path_factory.mktemp("pair")
    cert, key = folder / "cert.pem", folder / "key.pem"
    try:
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out", str(cert),
             "-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"],
            check=True, capture_output=True,
        )  # fmt: skip
    except FileNotFoundError:
        missing("openssl")
    return cert, key


def test_https_is_under_the_same_deadlines(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    """A handshake that does not go on, and half a request after it; a whole request is answered."""
    context = ssl.create_default_context(cafile=str(pair[0]))
    limits = hurried(header_seconds=1)
    with serve_in_thread(tmp_path, limits, tls_cert=pair[0], tls_key=pair[1]) as served:
        assert until_closed(served.line(b"\x16\x03\x01")) == b""
        with context.wrap_socket(served.line(), server_hostname="localhost") as line:
            line.sendall(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert line.recv(4096).startswith(b"HTTP/1.1 200 OK")
            line.sendall(b"GET /sign-in")
            while line.recv(65536):
                pass


def test_handshakes_that_do_not_go_on_are_counted_as_lines(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    """Room for twenty; another address is still served."""
    context = ssl.create_default_context(cafile=str(pair[0]))
    limits = replace(LIMITS, connections=20)
    with serve_in_thread(tmp_path, limits, tls_cert=pair[0], tls_key=pair[1]) as served:
        theirs = [served.line(b"\x16", source=f"127.0.0.{n % 5 + 4}") for n in range(60)]
        with context.wrap_socket(served.line(), server_hostname="localhost") as line:
            line.sendall(b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert line.recv(4096).startswith(b"HTTP/1.1 200 OK")
        assert until_closed(theirs[0]) == b""
