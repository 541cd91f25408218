"""The server that answers where the service listens."""

from __future__ import annotations

import contextlib
import socket
import ssl
import sys
from typing import TYPE_CHECKING

from speedcal.web.settings import ServiceError, Settings

if TYPE_CHECKING:
    import uvicorn


def certificate(settings: Settings) -> ssl.SSLContext | None:
    """Return what https is spoken with, or None for http; what cannot be used is refused."""
    if settings.tls_pair is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(*settings.tls_pair)
    except OSError:
        raise ServiceError("certificate_unusable", source=settings.tls_pair[0].name) from None
    return context


def make_server(settings: Settings) -> uvicorn.Server:
    """Return the server with its deadlines and its room for connections."""
    import uvicorn

    from speedcal.web.app import create_app
    from speedcal.web.entry.gate import GatedServer
    from speedcal.web.entry.protocol import Lines, room_for_connections

    config = uvicorn.Config(
        create_app(settings),
        http="h11",
        ws="none",
        access_log=False,  # it would write down paths, and links are paths
        log_config=None,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=10,
        h11_max_incomplete_event_size=32 * 1024,
    )
    lines = Lines(room_for_connections(settings.limits.connections), settings.limits)
    return GatedServer(config, lines, certificate(settings))


def serve(settings: Settings, sockets: list[socket.socket]) -> None:
    """Answer until somebody stops the service."""
    sys.setswitchinterval(0.0005)  # threads that work for a page get their turn while connections pour in
    with contextlib.suppress(KeyboardInterrupt):
        make_server(settings).run(sockets)
