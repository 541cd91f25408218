"""The service file by which a Linux machine starts the page when it boots."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path

from speedcal.web.settings import Settings

_FILE = """[Unit]
Description=speedcal upload page
Wants=network-online.target
After=network-online.target

[Service]
User={user}
ExecStart={command}
KillSignal=SIGINT
Restart=on-failure
RestartSec=5
LimitNOFILE=4096
NoNewPrivileges=yes
ProtectSystem=full
PrivateTmp=yes

[Install]
WantedBy=multi-user.target
"""
_WRITTEN = str.maketrans(
    {"\\": "\\\\", '"': '\\"', "%": "%%", "$": "$$"} | {chr(code): f"\\x{code:02x}" for code in range(1, 32)}
)
"""Signs that stand for something else in a service file, or end its line."""


def unit_file(settings: Settings) -> str:
    """Return the service file that starts the page with these settings."""
    words = [sys.executable, "-m", "speedcal", "serve", "--data", str(settings.data.absolute())]
    words += ["--host", settings.host, "--port", str(settings.port), "--workers", str(settings.workers)]
    words += ["--keep-drives", str(settings.keep_drives)] * bool(settings.keep_drives)
    given = {
        "--database": (settings.database,),
        "--host-name": settings.host_names,
        "--public-url": (settings.public_url,),
        "--tls-cert": (_absolute(settings.tls_cert),),
        "--tls-key": (_absolute(settings.tls_key),),
        "--trusted-proxy": settings.trusted_proxies,
    }
    for option, values in given.items():
        for value in values:
            words += [option, value] if value else []
    return _FILE.format(user=getpass.getuser(), command=" ".join(_quoted(word) for word in words))


def _absolute(path: Path | None) -> str:
    return str(path.absolute()) if path else ""


def _quoted(word: str) -> str:
    """Write a word as systemd reads it."""
    return f'"{word.translate(_WRITTEN)}"'
