"""Who is at the other end: the address of the client, also behind a proxy that is trusted by its address."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterable
from functools import lru_cache

from starlette.datastructures import Headers
from starlette.types import Scope

from speedcal.web.settings import Network

_MARKS = re.compile(r"via|(?:x-)?forwarded(?:-.*)?|x-original-.*|(?:.*-)?(?:client|connecting|real)-ip")


@lru_cache(maxsize=4096)
def network_of(address: str) -> str:
    """Return whom an address stands for: an IPv6 client has a whole /64 to choose its address from."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if known.version == 4:
        return str(known)
    if known.ipv4_mapped:
        return str(known.ipv4_mapped)
    return str(ipaddress.ip_network((known, 64), strict=False))


def is_forwarded(headers: Headers) -> bool:
    """Tell whether a proxy or a tunnel passed a request on."""
    return any(_MARKS.fullmatch(name) for name in headers)


def believe(scope: Scope, trusted: Iterable[Network]) -> None:
    """Put the client and the scheme that a trusted proxy names into a request; nobody else is believed."""
    trusted = tuple(trusted)
    client = scope.get("client")
    if not trusted or not client or not _is_within(client[0], trusted):
        return
    headers = Headers(scope=scope)
    hops = [hop.strip() for line in headers.getlist("x-forwarded-for") for hop in line.split(",")]
    strangers = [hop for hop in hops if not _is_within(hop, trusted)]
    if strangers:
        scope["client"] = (strangers[-1].strip("[]"), 0)
    if (scheme := headers.get("x-forwarded-proto", "")) in ("http", "https"):
        scope["scheme"] = scheme


def _is_within(address: str, networks: tuple[Network, ...]) -> bool:
    try:
        known = ipaddress.ip_address(address.strip("[]"))
    except ValueError:
        return False
    return any(known in network for network in networks)
