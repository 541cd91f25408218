"""Where the service listens, and under which addresses people open it."""

from __future__ import annotations

import contextlib
import errno
import os
import socket
from urllib.parse import urlsplit

from speedcal.web.settings import ServiceError, Settings, is_loopback

_REASONS = {errno.EADDRINUSE: "port_taken", errno.EACCES: "port_not_allowed", errno.EADDRNOTAVAIL: "host_not_here"}


def open_sockets(settings: Settings) -> list[socket.socket]:
    """Take the addresses at which the service listens.

    Raises
    ------
    ServiceError
        The port is taken or not allowed, or the host is not this machine.
    """
    port, opened = settings.port, []
    try:
        for family, address in _addresses(settings.host, port):
            made = socket.socket(family, socket.SOCK_STREAM)
            opened.append(made)
            if os.name != "nt":  # there it would let two programs take the same port
                made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6:
                made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            made.bind((address, port))
            made.listen()
            port = port or made.getsockname()[1]
    except OSError as error:
        for made in opened:
            made.close()
        code = _REASONS.get(error.errno or 0, "host_not_here")
        raise ServiceError(code, host=settings.host, port=port) from None
    return opened


def _addresses(host: str, port: int) -> list[tuple[socket.AddressFamily, str]]:
    if host.lower() == "localhost":
        return [(socket.AF_INET, "127.0.0.1")]
    found = socket.getaddrinfo(host.strip("[]"), port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    return list(dict.fromkeys((family, str(address[0])) for family, _, _, _, address in found))


def addresses_to_open(settings: Settings, port: int) -> tuple[str, ...]:
    """Return the addresses that a browser can open: the one for this machine first, then those for others.

    On this machine itself plain http is answered also beside https: nothing leaves it, and browsers trust it.
    """
    hosts = ["localhost"] if settings.listens_everywhere else [settings.host]
    hosts += [name for name in settings.host_names if name not in hosts]
    if settings.listens_everywhere and not settings.host_names and (own := own_address()):
        hosts.append(own)
    return tuple(_address(host, port, is_tls=settings.is_tls and not is_loopback(host)) for host in hosts)


def _address(host: str, port: int, *, is_tls: bool) -> str:
    scheme, usual = ("https", 443) if is_tls else ("http", 80)
    end = "" if port == usual else f":{port}"
    return f"{scheme}://{f'[{host}]' if ':' in host and host[0] != '[' else host}{end}/"


def trust_address(settings: Settings, port: int) -> str:
    """Return the address in plain http under which devices get the authority; empty when there is none of ours."""
    others = [address for address in addresses_to_open(settings, port) if address.startswith("https:")]
    if not settings.uses_made_certificate or not others:
        return ""
    return f"http://{urlsplit(others[0]).netloc.removesuffix(f':{port}')}:{port}/trust"


def is_open_to_listeners(settings: Settings) -> bool:
    """Tell whether passcode and drives cross a network that others may listen on."""
    return not settings.is_tls and not is_loopback(settings.host)


def own_address() -> str:
    """Return the address of this machine in its network; nothing is sent to find it."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])
    return ""
