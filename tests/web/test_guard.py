"""What every request passes through: host, origin, headers, error shape, log."""

from __future__ import annotations

import logging
import mimetypes
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.routing import Mount, Route
from support.web_site import Site, analysed_at_hand, open_site

from speedcal.web import app as app_module
from speedcal.web.entry.guard import HEADERS

_STATIC_KINDS = {"page.js": "text/javascript", "style.css": "text/css", "icon.svg": "image/svg+xml"}


def routes() -> list[tuple[str, str]]:
    """Return every address of the service with a method, parts filled with what does not exist."""
    found = []
    for route in app_module._routes():
        if isinstance(route, Mount):
            found.append(("GET", "/static/style.css"))
        elif isinstance(route, Route):
            path = route.path
            for part, value in {
                "job": "0" * 20,
                "drive": "0" * 20,
                "film": "0" * 20,
                "link": "0" * 20,
                "token": "x.y",
                "phase": "before",
                "name": "report.html",
            }.items():
                path = path.replace("{" + part + "}", value)
            found += [(method, path) for method in route.methods if method != "HEAD"]
    return found


@pytest.fixture(scope="module")
def empty_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Start a service in which nothing of what is asked for exists."""
    with analysed_at_hand(), open_site(tmp_path_factory.mktemp("empty")) as opened:
        yield opened


@pytest.mark.parametrize(("method", "path"), routes())
def test_every_answer_carries_the_security_headers(empty_site: Site, method: str, path: str) -> None:
    """Also refusals; no policy allows a script that stands in the page or comes from elsewhere."""
    answer = empty_site.client.request(method, path, follow_redirects=False)
    for name in HEADERS:
        assert name in answer.headers, name
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(("method", "path"), [r for r in routes() if r[0] == "POST"])
def test_every_write_from_another_site_is_refused(site: Site, method: str, path: str) -> None:
    """By Sec-Fetch-Site where the browser sends it, by Origin where it does not (a plain name in the own network)."""
    for headers in (
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": "http://localhost"},
        {"origin": "http://elsewhere.example"},
        {"origin": "http://localhost.elsewhere.example"},
        {"origin": "null"},
        {"origin": ""},
    ):
        assert site.client.request(method, path, headers=headers).status_code == 403, headers


@pytest.mark.parametrize(
    "headers", [{"sec-fetch-site": "same-origin"}, {"sec-fetch-site": "none"}, {"origin": "http://localhost"}, {}]
)
def test_our_own_forms_are_carried_out(site: Site, headers: dict[str, str]) -> None:
    """Both branches, and programs that are no browser."""
    answer = site.client.post("/jobs/new", data={"job.number": "1"}, headers=headers, follow_redirects=False)
    assert answer.status_code == 303


def test_the_port_belongs_to_the_origin(site: Site) -> None:
    """Another port of the same machine is another site."""
    for origin, status in (("http://localhost:8000", 303), ("http://localhost:9000", 403)):
        headers = {"host": "localhost:8000", "origin": origin}
        answer = site.client.post("/jobs/new", data={"job.number": "1"}, headers=headers, follow_redirects=False)
        assert answer.status_code == status


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "", "127.0.0.1.evil.example", "[::1].x", "10.0.0.1"]
)
def test_a_foreign_host_name_is_refused(site: Site, host: str) -> None:
    """A name that somebody else points at this machine (DNS rebinding) reaches nothing."""
    assert site.client.get("/jobs", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["localhost:8000", "127.0.0.1", "[::1]:8000", "LOCALHOST"])
def test_local_names_are_answered(site: Site, host: str) -> None:
    """With and without a port."""
    assert site.client.get("/jobs", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "path", ["/nowhere", "/jobs/" + "0" * 20, "/o/x.y", "/c/x.y/files/report.html", "/jobs/../../etc/passwd"]
)
def test_errors_have_one_shape_for_people_and_programs(site: Site, path: str) -> None:
    """A page with problem and remedy, or JSON with the keys of an error of the command."""
    page = site.client.get(path, headers={"accept": "text/html"})
    told = site.client.get(path, headers={"accept": "application/json"})
    assert page.status_code == told.status_code == 404
    assert set(told.json()) == {"error", "text", "values", "source", "line", "remedy", "status", "field"}
    assert 'role="alert"' in page.text


def test_a_wrong_method_is_told_like_any_other_error(site: Site) -> None:
    """405, same shape."""
    answer = site.client.put("/jobs", headers={"accept": "application/json"})
    assert (answer.status_code, answer.json()["status"]) == (405, 405)


def test_a_failure_of_our_own_is_a_sentence_and_the_log_names_its_place_only(
    site: Site, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The text of an error may hold what users sent; neither page nor log repeats it."""

    def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("secret customer name")

    monkeypatch.setattr(site.services.store, "find_jobs", broken)
    with caplog.at_level(logging.INFO):
        answer = site.client.get("/jobs")
    assert answer.status_code == 500
    assert "secret" not in answer.text + caplog.text
    assert "RuntimeError at test_guard.py:" in caplog.text


def test_the_log_names_no_path_no_link_and_no_name(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """One line a request: method, page, status, time."""
    with caplog.at_level(logging.DEBUG), open_site(tmp_path) as site:
        base = site.new_job(**{"job.customer": "Quokka Customer"})
        token = site.services.auth.token(site.services.auth.add_link(base.split("/")[-1], "owner"))
        site.send(f"/o/{token}")
        site.client.get(f"/o/{token}")
        site.client.get("/jobs?q=Quokka")
    ours = "\n".join(record.getMessage() for record in caplog.records if not record.name.startswith("httpx2"))
    assert "owner_page 200" in ours
    for secret in (token, token.split(".")[0], base.split("/")[-1], "Quokka", "before.gpx"):
        assert secret not in ours


def test_a_health_check_answers_without_a_passcode(site: Site) -> None:
    """For a supervisor; it tells nothing else."""
    site.services.auth.set_passcode("brass kettle tide")
    assert site.client.get("/health").text == "ok\n"


def test_styles_and_scripts_are_kept_by_the_browser_and_pages_are_not(site: Site) -> None:
    """A page may hold a name; the style sheet is asked for again only to learn whether it has changed."""
    style = site.client.get("/static/style.css")
    assert style.headers["cache-control"] == "no-cache"
    again = site.client.get("/static/style.css", headers={"if-none-match": style.headers["etag"]})
    assert again.status_code == 304
    assert site.client.get("/jobs").headers["cache-control"] == "no-store"


def test_static_files_are_what_browsers_take_whatever_the_system_calls_them(tmp_path: Path) -> None:
    """On Windows another program may have made plain text of scripts, and with nosniff no browser would run them."""
    for suffix in (".js", ".css", ".svg"):
        mimetypes.add_type("text/plain", suffix)
    with open_site(tmp_path) as site:
        kinds = [site.client.get(f"/static/{name}").headers["content-type"] for name in _STATIC_KINDS]
    assert [kind.partition(";")[0] for kind in kinds] == list(_STATIC_KINDS.values())
