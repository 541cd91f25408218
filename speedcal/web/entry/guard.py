"""What every request passes through: host check, cross-site check, security headers, one log line, no traceback."""

from __future__ import annotations

import ipaddress
import logging
import re
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from speedcal.web.answers import RefusedError, busy, refusal_response
from speedcal.web.entry.proxies import believe, is_forwarded, network_of
from speedcal.web.logbook import place_of
from speedcal.web.settings import LOCAL_NAMES, Network

log = logging.getLogger("speedcal.web")
_HOST = re.compile(r"(\[[0-9a-f:.]+\]|[^:\[\]]+)(?::\d{1,5})?")
_AT_ONCE = 64
"""Requests of one address that are being answered; the threads that work for all are fewer."""
_WENT_AWAY = 499
"""What the log says when nobody was there any more to be answered."""
_BEFORE_TRUST = ("/trust", "/static/", "/health")
"""Pages that are answered in plain http too."""
_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content security policy of every page: nothing inline, nothing from elsewhere."""

REPORT_POLICY = (
    "default-src 'none'; style-src {}; img-src data:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
"""Policy of the report, with the digests of the styles that stand in it: no script at all, nothing fetched."""

PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""Policy of pictures that are opened by themselves: a drawing has its styles on its lines."""

HEADERS = {
    "content-security-policy": PAGE_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # "no-referrer" would make browsers send "Origin: null" with our own forms
    "permissions-policy": "geolocation=(self), screen-wake-lock=(self), camera=(), microphone=(), payment=(), usb=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-robots-tag": "noindex, nofollow",
    "cache-control": "no-store",
}
"""Headers of every answer; an answer may set its own policy and its own caching."""


class Guard:
    """Outermost layer of the service."""

    def __init__(
        self, app: ASGIApp, *, allowed_hosts: Iterable[str], trusted: Iterable[Network], is_tls: bool = False
    ) -> None:
        self.app, self.allowed_hosts, self.trusted = app, frozenset(allowed_hosts), tuple(trusted)
        self.is_tls = is_tls
        self._under_way: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started, status = time.perf_counter(), 500

        async def send_guarded(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(raw=message["headers"])
                if scope["path"].startswith("/static/"):
                    headers.setdefault("cache-control", "no-cache")  # kept, and asked for whether it has changed
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                message["headers"] = headers.raw
            await send(message)

        try:
            await self._pass_on(scope, receive, send_guarded)
        except RefusedError as error:
            await refusal_response(scope, error)(scope, receive, send_guarded)
        except ClientDisconnect:
            status = _WENT_AWAY
        except Exception as error:  # whatever it is, the client gets a sentence and the log gets no data
            log.error("broke: %s", place_of(error), extra=scope.get("seen", {}))
            refused = RefusedError(500, "something_broke")
            await refusal_response(scope, refused)(scope, receive, send_guarded)
        finally:
            seconds = time.perf_counter() - started
            seen = scope.get("seen", {})
            log.info("%s %s %d %.0f ms", scope["method"], _name_of(scope), status, 1000 * seconds, extra=seen)

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send) -> None:
        believe(scope, self.trusted)
        self.check(scope)
        if self.is_tls and (address := _address_in_https(scope)):
            await RedirectResponse(address, 308)(scope, receive, send)
            return
        with self._place_for(network_of(scope["client"][0] if scope.get("client") else "")):
            await _check_forwarded(scope)
            await self.app(scope, receive, send)

    @contextmanager
    def _place_for(self, who: str) -> Iterator[None]:
        if self._under_way[who] >= _AT_ONCE:
            raise busy("address_busy")
        self._under_way[who] += 1
        try:
            yield
        finally:
            self._under_way[who] -= 1
            if not self._under_way[who]:
                del self._under_way[who]

    def check(self, scope: Scope) -> None:
        """Refuse requests under a foreign host name, writes that another site caused, and what can be read two ways."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not scope["path"].startswith("/") or ("transfer-encoding" in headers and "content-length" in headers):
            raise RefusedError(400, "not_possible", headers={"connection": "close"})
        if _without_port(host) not in self.allowed_hosts and not _is_own_address(scope, host):
            raise RefusedError(400, "other_host_name")
        if scope["method"] not in _SAFE_METHODS and not is_same_origin(headers, host):
            raise RefusedError(403, "other_site")


def _address_in_https(scope: Scope) -> str:
    """Return where a request in plain http has to go; empty for what may be answered as it came.

    That is what never leaves this machine, and what a device needs before it can trust the certificate.
    """
    host = Headers(scope=scope).get("host", "")
    if scope["scheme"] != "http" or _without_port(host) in LOCAL_NAMES or scope["path"].startswith(_BEFORE_TRUST):
        return ""
    question = scope.get("query_string", b"").decode("latin-1")
    return f"https://{host}{quote(scope['path'])}{f'?{question}' if question else ''}"


async def _check_forwarded(scope: Scope) -> None:
    """Refuse what came through a proxy or a tunnel while no passcode is set: it only looks as if it came from here."""
    if is_forwarded(Headers(scope=scope)):
        services = scope["app"].state.services
        if not await run_in_threadpool(lambda: services.auth.has_passcode):
            raise RefusedError(403, "forwarded_without_passcode")


def _is_own_address(scope: Scope, host: str) -> bool:
    """Tell whether the host is the very address at which the connection came in; no name can be pointed at that."""
    server = scope.get("server")
    try:
        return server is not None and ipaddress.ip_address(_without_port(host).strip("[]")) == ipaddress.ip_address(
            server[0]
        )
    except ValueError:
        return False


def is_same_origin(headers: Headers, host: str) -> bool:
    """Tell whether a write was caused by our own page (or by a program that is no browser).

    Browsers send ``Sec-Fetch-Site`` to https and to local addresses only; under a plain name in the workshop's own
    network just ``Origin`` tells. A request with neither does not come from a browser page.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == host.lower()


def _without_port(host: str) -> str:
    found = _HOST.fullmatch(host.lower())
    return found[1] if found else ""


def _name_of(scope: Scope) -> str:
    """Return the name of the page; the path itself may hold a link."""
    endpoint = scope.get("endpoint")
    return str(getattr(endpoint, "page_name", "") or getattr(endpoint, "__name__", type(endpoint).__name__))
