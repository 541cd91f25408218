"""Refusals in one shape, for people and for programs, and the templates they and all pages are made with."""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2
from starlette.datastructures import Headers
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import Scope

from speedcal.errors import SpeedcalError
from speedcal.text.pages.page_labels import title_of
from speedcal.text.results.corrections import low_word, worth_a_row
from speedcal.text.words.numbers import signed

HERE = Path(__file__).parent
_TRY_AGAIN_S = "5"
_MOST_GEARS = 4
"""Rows of a table of gears, beside the fitted and the advised one; the report has more. Our own choice."""
_FOR_FILMS = ("av", "cv2")
"""What the extra for films brings."""


class RefusedError(Exception):
    """A request that is answered with a refusal: a status, and the error with its words."""

    def __init__(
        self,
        status: int,
        code: str,
        /,
        *,
        headers: Mapping[str, str] | None = None,
        source: str = "",
        line: int | None = None,
        at: str = "",
        **values: Any,
    ) -> None:
        self.status, self.headers = status, dict(headers or {})
        self.at = at
        """Field of the form that it is about, where it is about one."""
        self.error = SpeedcalError(code, source=source, line=line, **values)
        super().__init__(code)

    @classmethod
    def of(cls, error: SpeedcalError, status: int = 422) -> RefusedError:
        """Return the refusal for input that cannot be used."""
        refused = cls(status, error.code)
        refused.error = error
        return refused

    def to_dict(self) -> dict[str, Any]:
        """Return the parts, ready for JSON: the same as those of an error of the command, and the status."""
        return {**self.error.to_dict(), "status": self.status, "field": self.at}


def busy(code: str, **values: Any) -> RefusedError:
    """Return the busy answer: nothing was kept, and when to try again."""
    return RefusedError(503, code, headers={"retry-after": _TRY_AGAIN_S}, **values)


def refusal_response(scope: Scope, refused: RefusedError) -> Response:
    """Write a refusal as a page, or as JSON for a program that asks for it."""
    if wants_json(scope):
        return JSONResponse(refused.to_dict(), refused.status, refused.headers)
    told, path = refused.to_dict(), f"/{scope['path'].removeprefix('/')}".split("/")
    base = "/".join(path[:3]) if path[1] in ("o", "c") and len(path) > 3 else ""
    values = {
        "told": told,
        "title": title_of(refused.status),
        "base": base,
        "role": "shop" if path[1] in ("jobs", "import") else "",
        "form": "/import" if path[1] == "import" else "",
    }
    page = (
        environment()
        .get_template("refusal.html")
        .render({**values, "has_passcode": False, "is_linked": path[1] in ("o", "c")})
    )
    return HTMLResponse(page, refused.status, refused.headers)


def wants_json(scope: Scope) -> bool:
    """Tell whether the client is a program: it asks for JSON and not for a page."""
    accept = Headers(scope=scope).get("accept", "")
    return scope["path"].endswith(".json") or ("application/json" in accept and "text/html" not in accept)


def can_read_films() -> bool:
    """Tell whether the libraries that read films are installed."""
    return all(importlib.util.find_spec(name) for name in _FOR_FILMS)


@lru_cache(maxsize=1)
def environment() -> jinja2.Environment:
    """Return the templates; everything put into them is escaped."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(clock=_clock, day=day, utc=_utc, moment=_moment, sentence=_sentence, number=_number)
    made.filters.update(signed=signed, worth_a_row=_worth_a_row)
    made.globals.update(can_read_films=can_read_films, low_word=low_word)
    made.tests.update(holds=lambda items, item: item in items)
    return made


def _worth_a_row(choices: list[dict[str, Any]], advised: list[int]) -> list[dict[str, Any]]:
    fitted, named = [choice["fitted"] for choice in choices], [choice["teeth"] in advised for choice in choices]
    return [choices[i] for i in worth_a_row(fitted, named, _MOST_GEARS)]


def day(seconds: float, zone_s: float | None = None) -> str:
    """Return a day in a zone, without one in that of the shop: that of this machine."""
    if zone_s is not None:
        return datetime.fromtimestamp(seconds + zone_s, tz=UTC).strftime("%Y-%m-%d")
    return datetime.fromtimestamp(seconds, tz=UTC).astimezone().strftime("%Y-%m-%d")


def _moment(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, tz=UTC).astimezone().strftime("%Y-%m-%d %H:%M %Z")


def _utc(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, tz=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _clock(seconds: float) -> str:
    """Write a clock offset as a person would; readings with a time of day only are off by whole days as well."""
    within = (seconds + 43200) % 86400 - 43200
    sign, size = ("−" if within < 0 else "+"), round(abs(within), 1)
    hours, minutes = int(size // 3600), int(size % 3600 // 60)
    words = [f"{hours} h"] * bool(hours) + [f"{minutes} min"] * bool(hours or minutes) + [f"{size % 60:.1f} s"]
    return f"{sign}{' '.join(words)}"


def _sentence(text: object) -> str:
    """Write a problem or a remedy as a sentence: capital letter, full stop."""
    plain = str(text).strip()
    if not plain:
        return ""
    if "." not in plain.split()[0].rstrip("."):  # a file is called as its owner calls it
        plain = plain[0].upper() + plain[1:]
    return plain + ("" if plain[-1] in ".!?" else ".")


def _number(value: float, digits: int = 1) -> str:
    text = f"{float(value):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def attachment(name: str, suffix: str) -> str:
    """Return the header value under which a browser saves a file named after a job."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-")[:60] or "job"
    full = quote(re.sub(r"[/\\\x00-\x1f\x7f]+", "-", name)[:60] + suffix, safe="")
    return f"attachment; filename=\"{plain}{suffix}\"; filename*=UTF-8''{full}"
