"""``speedcal serve``: what it refuses to start with, the passcode, https, a clean end."""

from __future__ import annotations

import asyncio
import configparser
import io
import json
import shlex
import shutil
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner
from support.needs import missing
from support.web_server import WebServer

from speedcal.cli import main
from speedcal.cli.serve import command
from speedcal.web import server
from speedcal.web.app import make_services
from speedcal.web.entry.listen import addresses_to_open, is_open_to_listeners, open_sockets
from speedcal.web.server import make_server
from speedcal.web.settings import ServiceError, Settings

Serve = Callable[..., SimpleNamespace]


@pytest.fixture
def serve(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Serve:
    """Return what runs the command to its end; a page that would start is an error."""

    def started(*_: object) -> None:
        raise AssertionError("the page started")

    def run(*options: str, stdin: str = "") -> SimpleNamespace:
        monkeypatch.setattr(server, "serve", started)
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
        with pytest.raises(SystemExit) as ended:
            main(["serve", *options])
        said = capsys.readouterr()
        return SimpleNamespace(returncode=ended.value.code, stdout=said.out, stderr=said.err)

    return run


def test_without_a_passcode_it_refuses_other_addresses_with_status_2(tmp_path: Path) -> None:
    """One message that says what to do; no traceback. A process of its own, for its status."""
    options = ["--data", str(tmp_path / "data"), "--host", "192.168.77.77"]
    command = [sys.executable, "-m", "speedcal", "serve", *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "--set-passcode" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_passcode_is_set_from_standard_input(serve: Serve, tmp_path: Path) -> None:
    """Only its digest is kept."""
    data = tmp_path / "data"
    assert serve("--data", str(data), "--set-passcode", stdin="brass kettle tide\n").returncode == 0
    services = make_services(Settings(data=data))
    assert services.auth.sign_in("brass kettle tide", "a")
    services.store.close()
    assert b"brass kettle" not in b"".join(path.read_bytes() for path in data.iterdir() if path.is_file())
    assert serve("--data", str(data), "--set-passcode", stdin="short\n").returncode == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--tls-cert", __file__], "go together"),
        (["--database", "mysql://x/y"], "postgresql+psycopg"),
        (["--data", "/proc/nowhere"], "data folder cannot be used"),
        (["--port", "70000"], "70000"),
        (["--trusted-proxy", "proxy.example"], "not an address or a network"),
        (["--public-url", "drives.example/page"], "not the address of a whole site"),
        (["--tls-cert", __file__, "--tls-key", __file__], "do not belong together"),
        (["--database", "postgresql+psycopg://nobody@127.0.0.1:1/none"], "cannot be reached"),
    ],
)
def test_what_it_cannot_start_with_is_named(serve: Serve, tmp_path: Path, options: list[str], words: str) -> None:
    """Status 2 and one message."""
    done = serve(*(["--data", str(tmp_path / "data")] if "--data" not in options else []), *options)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_a_port_that_is_taken_is_told_in_words(serve: Serve, tmp_path: Path) -> None:
    """Status 2, no traceback, and nothing of the server's own language."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        done = serve("--data", str(tmp_path / "data"), "--port", str(other.getsockname()[1]))
    assert done.returncode == 2
    assert "is taken by another program" in done.stderr
    assert "Errno" not in done.stderr
    assert "Traceback" not in done.stderr


def test_a_host_that_is_not_this_machine_is_told(tmp_path: Path) -> None:
    """An address of a documentation network (RFC 5737)."""
    with pytest.raises(ServiceError, match="not an address of this machine"):
        open_sockets(Settings(data=tmp_path, host="192.0.2.1", port=0))


@pytest.mark.parametrize(
    ("options", "addresses"),
    [
        ({}, ("http://127.0.0.1:8000/",)),
        ({"host": "::1"}, ("http://[::1]:8000/",)),
        ({"host": "0.0.0.0", "host_names": ("shop-pc.example",)},  # noqa: S104
         ("http://localhost:8000/", "http://shop-pc.example:8000/")),
        ({"host": "::", "host_names": ("shop-pc.example",), "tls_cert": Path("a"), "tls_key": Path("b")},
         ("http://localhost:8000/", "https://shop-pc.example:8000/")),
    ],
)  # fmt: skip
def test_the_addresses_it_prints_can_be_opened(options: dict[str, object], addresses: tuple[str, ...]) -> None:
    """Never one that means every address, such as 0.0.0.0; the host is one the service answers to."""
    settings = Settings(data=Path(), **options)  # type: ignore[arg-type]
    assert addresses_to_open(settings, 8000) == addresses
    assert all(urlsplit(address).hostname.strip("[]") in str(settings.allowed_hosts) for address in addresses)


def test_the_usual_port_is_left_out() -> None:
    """As browsers do."""
    settings = Settings(data=Path(), host="shop-pc.example", tls_cert=Path("a"), tls_key=Path("b"))
    assert addresses_to_open(settings, 443) == ("https://shop-pc.example/",)


def test_without_a_name_the_address_in_the_network_is_printed_and_answers(serve: Serve, tmp_path: Path) -> None:
    """The host of a request may be the address at which it came in; a name that is not known may not."""
    assert serve("--data", str(tmp_path / "data"), "--set-passcode", stdin="brass kettle tide\n").returncode == 0
    server = WebServer(tmp_path / "data", "--host", "0.0.0.0", "--workers", "0").start()  # noqa: S104
    try:
        said = server.log.read_text()
        assert "plain http" in said
        for line in (line for line in said.splitlines() if "http://" in line):
            address = next(word for word in line.split() if word.startswith("http://"))
            with urllib.request.urlopen(f"{address}sign-in") as answer:  # noqa: S310 - our own service
                assert answer.status == 200
        named = urllib.request.Request(f"{server.address}/sign-in", headers={"Host": "rebound.example"})  # noqa: S310
        with pytest.raises(urllib.error.HTTPError, match="400"):
            urllib.request.urlopen(named)  # noqa: S310
    finally:
        server.stop()
    log = tmp_path / "data" / "log" / f"serve-{server.port}.jsonl"
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    assert any(line["message"].startswith("GET sign_in_page 200") for line in lines)


def test_on_this_machine_alone_nothing_is_warned_about() -> None:
    """Http does not leave it."""
    assert not is_open_to_listeners(Settings(data=Path()))
    assert is_open_to_listeners(Settings(data=Path(), host="0.0.0.0"))  # noqa: S104
    assert not is_open_to_listeners(Settings(data=Path(), host="0.0.0.0", tls_cert=Path("a"), tls_key=Path("b")))  # noqa: S104


def test_the_shop_unlocks_its_door_from_the_machine_itself(serve: Serve, tmp_path: Path) -> None:
    """While the service runs."""
    data = tmp_path / "data"
    services = make_services(Settings(data=data))
    services.auth.set_passcode("brass kettle tide")
    for _ in range(5):
        services.auth.sign_in("wrong passcode", "a")
    assert serve("--data", str(data), "--unlock").returncode == 0
    assert services.auth.sign_in("brass kettle tide", "a")
    services.store.close()


def test_the_service_file_starts_the_page_with_the_same_options(serve: Serve, tmp_path: Path) -> None:
    """At boot, from any folder; what systemd would read as something else is written so that it does not."""
    data = tmp_path / 'a "b" 100% $x\n'
    options = ["--data", str(data), "--port", "8123", "--keep-drives", "90"]
    options += ["--host-name", "shop-pc.example", "--host-name", "lan.example"]
    done = serve(*options, "--unit-file")
    assert done.returncode == 0
    assert not data.exists()
    parts = configparser.ConfigParser(interpolation=None, strict=True)
    parts.optionxform = str  # type: ignore[assignment,method-assign]
    parts.read_string(done.stdout)
    words = shlex.split(parts["Service"]["ExecStart"].replace("%%", "%").replace("$$", "$").replace("\\x0a", "\n"))
    assert words[:4] == [sys.executable, "-m", "speedcal", "serve"]
    told = command.make_context("serve", words[4:]).params
    asked = command.make_context("serve", options).params
    assert told == asked


def test_every_option_has_a_help_text() -> None:
    """And the help says who drives and who writes."""
    shown = CliRunner().invoke(command, ["--help"]).output
    assert all(getattr(option, "help", None) for option in command.params)
    assert "A passenger writes or taps" in shown


def test_it_speaks_https_and_keeps_the_cookie_to_it(serve: Serve, tmp_path: Path) -> None:
    """With a certificate of one's own; the session cookie is for https only."""
    if shutil.which("openssl") is None:
        missing("openssl")
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out", str(cert),
         "-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"],
        check=True, capture_output=True,
    )  # fmt: skip
    data = tmp_path / "data"
    assert serve("--data", str(data), "--set-passcode", stdin="brass kettle tide\n").returncode == 0
    server = WebServer(data, "--workers", "0", "--tls-cert", str(cert), "--tls-key", str(key), scheme="https").start()
    try:
        context = ssl.create_default_context(cafile=str(cert))
        request = urllib.request.Request(  # noqa: S310 - our own service
            f"{server.address}/sign-in", b"passcode=brass+kettle+tide", {"Origin": server.address}
        )
        opener = urllib.request.build_opener(urllib.request.HTTPSHandler(context=context), _NoRedirect())
        with opener.open(request) as answer:  # a line that is left open is waited for when the service ends
            cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-speedcal=")
        assert "secure" in cookie.lower()
    finally:
        server.stop()
    assert "Traceback" not in server.log.read_text()
    assert server.process is not None
    assert server.process.returncode == 0


class _NoRedirect(urllib.request.HTTPErrorProcessor):
    def http_response(self, request: object, response: object) -> object:
        return response

    https_response = http_response


def test_it_runs_where_the_usual_loop_cannot_watch_sockets(monkeypatch: pytest.MonkeyPatch) -> None:
    """The usual loop of Windows; the gate watches the sockets itself."""

    class OtherLoop(asyncio.SelectorEventLoop):
        def add_reader(self, *_: object) -> None:
            raise NotImplementedError

    async def watch(_sockets: list[socket.socket]) -> None:
        ours, theirs = socket.socketpair()
        with ours, theirs:
            said = asyncio.Event()
            asyncio.get_running_loop().add_reader(ours, said.set)
            theirs.send(b".")
            await said.wait()
            asyncio.get_running_loop().remove_reader(ours)
            watched.append(ours)

    watched: list[socket.socket] = []
    monkeypatch.setattr(asyncio.events, "new_event_loop", OtherLoop)
    server = make_server(Settings(data=Path("none")))
    monkeypatch.setattr(server, "serve", watch)
    server.run([])
    assert watched
