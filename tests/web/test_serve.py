"""``speedcal serve``: what it refuses to start with, the passcode, https, a clean end."""

from __future__ import annotations

import shutil
import ssl
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.needs import missing
from support.web_server import WebServer

from speedcal.cli.serve import command
from speedcal.web.app import make_services
from speedcal.web.settings import Settings


def serve(*options: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    return subprocess.run(
        [sys.executable, "-m", "speedcal", "serve", *options], input=stdin, capture_output=True, text=True, timeout=60
    )


def test_without_a_passcode_it_refuses_other_addresses_with_status_2(tmp_path: Path) -> None:
    """One message that says what to do; no traceback."""
    done = serve("--data", str(tmp_path / "data"), "--host", "192.168.77.77")
    assert done.returncode == 2
    assert "--set-passcode" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_passcode_is_set_from_standard_input(tmp_path: Path) -> None:
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
        (["--database", "postgresql+psycopg://nobody@127.0.0.1:1/none"], "cannot be reached"),
    ],
)
def test_what_it_cannot_start_with_is_named(tmp_path: Path, options: list[str], words: str) -> None:
    """Status 2 and one message."""
    done = serve(*(["--data", str(tmp_path / "data")] if "--data" not in options else []), *options)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_every_option_has_a_help_text() -> None:
    """And the help says who drives and who writes."""
    shown = CliRunner().invoke(command, ["--help"]).output
    assert all(getattr(option, "help", None) for option in command.params)
    assert "A passenger writes or taps" in shown


def test_it_speaks_https_and_keeps_the_cookie_to_it(tmp_path: Path) -> None:
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
    server = WebServer(data, "--tls-cert", str(cert), "--tls-key", str(key), scheme="https").start()
    try:
        context = ssl.create_default_context(cafile=str(cert))
        request = urllib.request.Request(  # noqa: S310 - our own service
            f"{server.address}/sign-in", b"passcode=brass+kettle+tide", {"Origin": server.address}
        )
        opener = urllib.request.build_opener(urllib.request.HTTPSHandler(context=context), _NoRedirect())
        answer = opener.open(request)
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
