"""Who comes in: the shop by passcode (or by sitting at the machine), owner and customer by their links."""

from __future__ import annotations

import json

from starlette.responses import Response

from speedcal.text.pages.page_labels import SESSION_OVER, WRONG_PASSCODE
from speedcal.web.answers import RefusedError, wants_json
from speedcal.web.entry.proxies import network_of
from speedcal.web.kept.auth import Link
from speedcal.web.kept.folder import PHASES
from speedcal.web.pages.context import Context, View, plain
from speedcal.web.pages.people import names


def cookie_name(context: Context) -> str:
    """Return the name of the session cookie; with https the browser itself refuses to have it set by others."""
    return "__Host-speedcal" if is_secure(context) else "speedcal"


def is_secure(context: Context) -> bool:
    """Tell whether the browser came by https."""
    return context.request.url.scheme == "https"


def is_shop(context: Context) -> bool:
    """Tell whether the request comes from the shop."""
    if not context.web.auth.has_passcode:
        return context.web.settings.is_local
    cookie = context.request.cookies.get(cookie_name(context), "")
    person = context.web.auth.person_of(cookie) if cookie else None
    context.person = person or ""
    return person is not None


def must_be_shop(context: Context) -> Response | None:
    """Return None for the shop, and the way to the passcode for everybody else."""
    if is_shop(context):
        return None
    if context.request.method == "GET" and not wants_json(context.request.scope):
        return context.go(f"/sign-in?next={context.request.url.path}")
    raise RefusedError(401, "sign_in_first")


def must_be_boss(context: Context) -> Response | None:
    """Let only those in who know the passcode of the shop itself, or sit at a machine that has none."""
    away = must_be_shop(context)
    if away is None and context.person:
        raise RefusedError(403, "shop_passcode_needed")
    return away


def shop_view(context: Context) -> View | Response:
    """Return the job that the address names, for the shop."""
    if (away := must_be_shop(context)) is not None:
        return away
    job = context.web.store.job(str(context.request.path_params["job"]))
    if job is None:
        raise RefusedError(404, "no_such_job")
    return View("shop", job, f"/jobs/{job.id}", PHASES)


def owner_view(context: Context) -> View:
    """Return the job of an owner's link."""
    return _linked(context, "owner", "o", ("before",))


def customer_view(context: Context) -> View:
    """Return the job of a customer's link."""
    return _linked(context, "customer", "c", ())


def _linked(context: Context, role: str, door: str, phases: tuple[str, ...]) -> View:
    token = str(context.request.path_params["token"])
    link: Link | None = context.web.auth.open_link(token, role)
    job = context.web.store.job(link.job_id) if link else None
    if job is None:
        raise RefusedError(404, "link_gone")
    return View(role, job, f"/{door}/{token}", phases)


def sign_in_page(context: Context) -> Response:
    """Ask for the passcode."""
    return _sign_in(context, context.request.query_params.get("next", "/jobs"))


def sign_in_and_go_on(context: Context) -> Response:
    """Ask for the passcode before a form is carried out; what was typed goes along."""
    typed = [[name, plain(value)] for name, value in context.form.multi_items() if isinstance(value, str)]
    return _sign_in(context, context.request.url.path, SESSION_OVER, typed=json.dumps(typed, ensure_ascii=False))


def _sign_in(context: Context, then: str, problem: str = "", *, typed: str = "") -> Response:
    status = 401 if problem else 200
    values = {"then": _inside(then), "problem": problem, "typed": typed, "has_people": bool(names(context.web.store))}
    return context.page("sign_in.html", status, title="Sign in", **values)


def _carry_on(context: Context, then: str, typed: str) -> Response:
    """Lead on; a form that waited for the passcode is shown again as it was typed."""
    if not typed:
        return context.go(then)
    try:
        fields = [(str(name), str(value)) for name, value in json.loads(typed)]
    except (ValueError, TypeError, RecursionError):
        return context.go(then)
    return context.page("carry_on.html", title="Signed in", then=then, fields=fields)


def sign_in(context: Context) -> Response:
    """Check the passcode."""
    then = _inside(context.text("next"))
    if not context.web.auth.has_passcode:
        return context.go(then)
    typed = context.text("typed", most=context.limits.form_bytes)
    auth, device_cookie = context.web.auth, f"{cookie_name(context)}-device"
    device = context.request.cookies.get(device_cookie, "")
    cookie = auth.sign_in(context.text("passcode"), network_of(context.address), device, name=context.text("name"))
    if cookie is None:
        return _sign_in(context, then, WRONG_PASSCODE, typed=typed)
    answer = _carry_on(context, then, typed)
    _keep_cookie(context, answer, cookie_name(context), cookie, hours=context.limits.session_hours)
    _keep_cookie(context, answer, device_cookie, auth.known_device(device), hours=24 * context.limits.device_days)
    return answer


def _keep_cookie(context: Context, answer: Response, name: str, value: str, *, hours: int) -> None:
    answer.set_cookie(name, value, max_age=hours * 3600, httponly=True, samesite="lax", secure=is_secure(context))


def sign_out(context: Context) -> Response:
    """End the session."""
    context.web.auth.sign_out(context.request.cookies.get(cookie_name(context), ""))
    answer = context.go("/sign-in")
    answer.delete_cookie(cookie_name(context), secure=is_secure(context), httponly=True, samesite="lax")
    return answer


def _inside(address: str) -> str:
    """Return an address of this service, never one that leads away."""
    inside = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return address if inside and address.isprintable() else "/jobs"
