"""What a device of the shop needs before it can use https: the authority, and how to trust it."""

from __future__ import annotations

from starlette.responses import FileResponse, Response

from speedcal.text.pages.page_labels import TRUST_TITLE
from speedcal.web.answers import RefusedError
from speedcal.web.entry.certificate import Facts
from speedcal.web.pages.context import Context


def trust_page(context: Context) -> Response:
    """Explain to each kind of device how it comes to trust the certificate."""
    https = f"https://{context.request.url.netloc}/"
    return context.page("trust.html", title=TRUST_TITLE, facts=_facts(context), https=https)


def authority_file(context: Context) -> Response:
    """Send the authority that devices are asked to trust."""
    _facts(context)
    return FileResponse(context.web.settings.made_authority, media_type="application/x-x509-ca-cert")


def _facts(context: Context) -> Facts:
    facts = context.web.certificate
    if facts is None or not facts.fingerprint:
        raise RefusedError(404, "no_such_page")
    return facts
