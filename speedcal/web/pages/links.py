"""The links of a job: under which address they are handed out, how, and where that address works."""

from __future__ import annotations

import io
import ipaddress
from typing import Any
from urllib.parse import quote, urlsplit

import segno
from markupsafe import Markup

from speedcal.text.pages.page_labels import LINK_REACH, LINK_TEXTS
from speedcal.web.entry.listen import addresses_to_open
from speedcal.web.kept.auth import Link
from speedcal.web.kept.rows import JobRow
from speedcal.web.pages.context import Context
from speedcal.web.settings import is_loopback

_DOORS = {"owner": "o", "customer": "c"}
_HOME_ENDINGS = (".local", ".lan", ".home", ".internal", ".home.arpa")


def origin_of(context: Context) -> str:
    """Return what links begin with: the public address, else the one at which the shop itself came in.

    Who sits at the machine itself hands out the address under which others reach it.
    """
    settings, url = context.web.settings, context.request.url
    here = f"{url.scheme}://{url.netloc}"
    if is_loopback(url.hostname or ""):
        others = (
            one
            for one in addresses_to_open(settings, port_of(context))
            if not is_loopback(urlsplit(one).hostname or "")
        )
        here = next(others, here).rstrip("/")
    return settings.public_origin or here


def port_of(context: Context) -> int:
    """Return the port at which the browser came in."""
    url = context.request.url
    return url.port or {"https": 443}.get(url.scheme, 80)


def shown_links(context: Context, job: JobRow) -> list[dict[str, Any]]:
    """Return the links of a job, each with its address and, while it is open, what it is handed out with."""
    origin = origin_of(context)
    return [_shown(context, job, link, origin) for link in context.web.auth.links(job.id)]


def _shown(context: Context, job: JobRow, link: Link, origin: str) -> dict[str, Any]:
    address = f"{origin}/{_DOORS[link.role]}/{context.web.auth.token(link)}"
    if not link.is_open:
        return {"link": link, "address": address}
    subject, text = LINK_TEXTS[link.role]
    shop = str(job.get("job", "shop"))
    text = f"{shop}: {text}" if shop else text
    mail = f"mailto:?subject={quote(subject)}&body={quote(f'{text} {address}')}"
    return {"link": link, "address": address, "text": text, "subject": subject, "mail": mail, "qr": qr_code(address)}


def qr_code(address: str) -> Markup:
    """Return an address as a QR code, drawn as SVG with the quiet zone of four modules that scanners need."""
    written = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        written, kind="svg", xmldecl=False, svgns=False, omitsize=True, border=4, light="#fff", svgclass="qr"
    )
    return Markup(written.getvalue().decode())  # noqa: S704 - made of modules, nothing of the address stands in it


def reach_notes(context: Context) -> list[str]:
    """Return what the shop should know before it hands its links out."""
    settings = context.web.settings
    notes = [reach_of(origin_of(context))]
    if settings.uses_made_certificate and not settings.public_origin:
        notes.append(LINK_REACH["untrusted"])
    return [note for note in notes if note]


def reach_of(origin: str) -> str:
    """Return the words that tell how far links carry, empty when they open anywhere."""
    host = (urlsplit(origin).hostname or "").rstrip(".")
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        is_home = "." not in host or host.endswith(_HOME_ENDINGS)
        return LINK_REACH["machine"] if is_loopback(host) else LINK_REACH["network"] if is_home else ""
    if address.is_loopback:
        return LINK_REACH["machine"]
    if address.is_link_local:
        return LINK_REACH["cable"]
    return LINK_REACH["network"] if address.is_private else ""
