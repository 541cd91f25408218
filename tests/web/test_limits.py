"""Every limit at its edge: what fits is taken, one more is not, whether its size was announced or not."""

from __future__ import annotations

import asyncio
import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.web_site import FORM, Site, open_site

from speedcal.web.entry.admission import Upload
from speedcal.web.pages import drives
from speedcal.web.settings import Limits

SMALL = Limits(
    body_bytes=6000,
    form_bytes=2500,
    file_bytes=3000,
    fields=60,
    field_bytes=1500,
    text_characters=80,
    typed_rows=10,
    drives_per_job=3,
    zip_bytes=5000,
    free_disk_bytes=0,
)
EDGE = b"------edge\r\n"


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Start a service with small limits."""
    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with open_site(tmp_path, limits=SMALL) as opened:
        yield opened


def multipart(parts: list[tuple[str, str | None, bytes]]) -> bytes:
    """Return a multipart body; a part with a file name is a file."""
    body = b""
    for name, file_name, content in parts:
        named = f'; filename="{file_name}"' if file_name is not None else ""
        body += EDGE + f'Content-Disposition: form-data; name="{name}"{named}\r\n\r\n'.encode() + content + b"\r\n"
    return body + EDGE[:-2] + b"--\r\n"


def post(site: Site, path: str, body: bytes, *, chunked: bool) -> int:
    """Send a body with its length announced, or in chunks without."""
    headers = {"content-type": "multipart/form-data; boundary=----edge"}
    content = (body[i : i + 700] for i in range(0, len(body), 700)) if chunked else body
    answer = site.client.post(path, content=content, headers=headers, follow_redirects=False)
    sent = answer.request.headers
    assert ("content-length" in sent) is not chunked
    return answer.status_code


def padded(size: int, field: str = "held") -> bytes:
    """Return an upload of exactly this many bytes that would be taken."""
    parts: list[tuple[str, str | None, bytes]] = [
        (field, None, b"30 40"),
        ("a", None, b""),
        ("b", None, b""),
        ("c", None, b""),
    ]
    missing = size - len(multipart(parts))
    share = [missing // 3, missing // 3, missing - 2 * (missing // 3)]
    return multipart([parts[0], *((name, None, b"x" * n) for name, n in zip("abc", share, strict=True))])


@pytest.mark.parametrize("chunked", [False, True])
def test_the_body_of_an_upload(site: Site, chunked: bool) -> None:
    """6000 bytes here."""
    path = f"{site.new_job()}/drives/new/before"
    site.services.settings = replace(site.services.settings, limits=replace(SMALL, field_bytes=5000))
    assert post(site, path, padded(6000), chunked=chunked) == 303
    assert post(site, path, padded(6001), chunked=chunked) == 413
    assert len(site.services.store.drives(path.split("/")[2])) == 1


@pytest.mark.parametrize("chunked", [False, True])
def test_the_body_of_a_form_without_files(site: Site, chunked: bool) -> None:
    """2500 bytes here."""
    path = f"{site.new_job()}/close"
    assert post(site, path, padded(2500), chunked=chunked) == 303
    assert post(site, path, padded(2501), chunked=chunked) == 413


@pytest.mark.parametrize("chunked", [False, True])
def test_a_false_length_is_not_believed(site: Site, chunked: bool) -> None:
    """An endless body ends at the limit."""
    path = f"{site.new_job()}/drives/new/before"
    assert post(site, path, padded(200_000), chunked=chunked) == 413


@pytest.mark.parametrize("chunked", [False, True])
def test_one_file(site: Site, chunked: bool) -> None:
    """3000 bytes here; a larger one is refused, and what was typed next to it is kept and shown."""
    base = site.new_job()
    fits = multipart([("track", "a.gpx", b"x" * 3000), ("held", None, b"30 40")])
    assert post(site, f"{base}/drives/new/before", fits, chunked=chunked) == 303
    over = multipart([("track", "b.gpx", b"x" * 3001), ("held", None, b"35 45")])
    assert post(site, f"{base}/drives/new/before", over, chunked=chunked) == 303
    kept = site.services.store.drives(base.split("/")[-1])
    assert [(drive.track_name, drive.held) for drive in kept] == [("a.gpx", "30 40"), ("", "35 45")]
    assert kept[1].said["refused"][0]["status"] == 413


@pytest.mark.parametrize("chunked", [False, True])
def test_files_in_one_form(site: Site, chunked: bool) -> None:
    """Two, not three."""
    path = f"{site.new_job()}/drives/new/before"
    files: list[tuple[str, str | None, bytes]] = [("track", "a", b"x"), ("readings", "b", b"x"), ("more", "c", b"x")]
    assert post(site, path, multipart(files[:2]), chunked=chunked) == 303
    assert post(site, path, multipart(files), chunked=chunked) == 400


@pytest.mark.parametrize("chunked", [False, True])
def test_fields_in_one_form(site: Site, chunked: bool) -> None:
    """Sixty here."""
    path = f"{site.new_job()}/drives/new/before"
    fields: list[tuple[str, str | None, bytes]] = [("held", None, b"30"), *(("x", None, b"") for _ in range(60))]
    assert post(site, path, multipart(fields[:60]), chunked=chunked) == 303
    assert post(site, path, multipart(fields), chunked=chunked) == 400


@pytest.mark.parametrize("chunked", [False, True])
def test_text_in_one_field(site: Site, chunked: bool) -> None:
    """1500 bytes here."""
    path = f"{site.new_job()}/drives/new/before"
    for size, status in ((1500, 303), (1501, 400)):
        body = multipart([("held", None, b"30"), ("other", None, b"x" * size)])
        assert post(site, path, body, chunked=chunked) == status


def test_letters_in_a_one_line_field(site: Site) -> None:
    """Eighty here."""
    for length, status in ((80, 303), (81, 422)):
        answer = site.client.post("/jobs/new", data={"job.number": "é" * length}, follow_redirects=False)
        assert answer.status_code == status


def test_typed_rows(site: Site) -> None:
    """Ten here; the eleventh is refused and all are still in the form."""
    base = site.new_job()
    for rows, status in ((10, 303), (11, 422)):
        data = {"time": [f"10:{n:02}" for n in range(rows)], "speed": ["30"] * rows}
        answer = site.client.post(f"{base}/drives/new/before", data=data, follow_redirects=False)
        assert answer.status_code == status
    assert all(f'value="10:{n:02}"' in answer.text for n in range(11))


def test_drives_of_one_job(site: Site) -> None:
    """Three here."""
    base = site.new_job()
    statuses = [
        site.client.post(f"{base}/drives/new/before", data={"held": "30"}, follow_redirects=False).status_code
        for _ in range(4)
    ]
    assert statuses == [303, 303, 303, 409]


def test_waiting_analyses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When two wait, the third upload gets the busy answer with the time to wait, and nothing of it is kept."""
    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with open_site(tmp_path, limits=Limits(runs_waiting=2, free_disk_bytes=0)) as site:
        base = site.new_job()
        address = f"{base}/drives/new/before"
        answers = [site.client.post(address, data={"held": "30"}, follow_redirects=False) for _ in range(3)]
        assert [answer.status_code for answer in answers] == [303, 303, 503]
        assert answers[2].headers["retry-after"] == "5"
        assert len(site.services.store.drives(base.split("/")[-1])) == 2


def test_uploads_at_once(tmp_path: Path) -> None:
    """While as many are being received as may be, one more gets the busy answer."""
    with open_site(tmp_path, limits=Limits(uploads_at_once=1, free_disk_bytes=0)) as site:
        base = site.new_job()
        other = Upload("192.0.2.1", "")
        with site.services.uploads.place(other):
            assert site.send(base).status_code == 503
        assert site.send(base).status_code == 303
        assert not site.services.uploads.under_way


def test_a_disk_without_room(tmp_path: Path) -> None:
    """Uploads are refused in words before the disk is full."""
    with open_site(tmp_path, limits=Limits(free_disk_bytes=2**62)) as site:
        answer = site.send(site.new_job())
        assert answer.status_code == 507
        assert "disk of this service is full" in answer.text


def test_a_packed_job(site: Site) -> None:
    """5000 bytes here."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as out:
        out.writestr("job.toml", '[job]\nnumber = "B-2"\n')
    for size, status in ((5000, 303), (5001, 413)):
        content = packed.getvalue() + b"x" * (size - len(packed.getvalue()))
        answer = site.client.post("/import", files={"zip": ("a.zip", content)}, follow_redirects=False)
        assert answer.status_code == status


def test_every_limit_is_a_number_above_zero() -> None:
    """A limit of none or zero would be none."""
    assert all(getattr(Limits(), name) > 0 for name in Limits.__slots__)
    assert len(FORM) < Limits().fields


def test_a_body_that_does_not_arrive_is_not_waited_for(tmp_path: Path) -> None:
    """A client that stops in the middle of a form gives its place free after the time limit."""
    limits = Limits(form_seconds=1, receive_seconds=1, uploads_at_once=1, free_disk_bytes=0)
    with open_site(tmp_path, limits=limits) as site:
        path = f"{site.new_job()}/drives/new/before"

        headers = {"content-type": "multipart/form-data; boundary=----edge"}
        first = multipart([("held", None, b"30")])[:50]
        answer = asyncio.run(_stall(site, path, headers, first))
        assert answer == 408
        assert not site.services.uploads.under_way


async def _stall(site: Site, path: str, headers: dict[str, str], first: bytes) -> int:
    """Send the first part of a body and then nothing, straight to the application."""
    sent: list[dict] = []
    parts = iter([{"type": "http.request", "body": first, "more_body": True}])

    async def receive() -> dict:
        for part in parts:
            return part
        await asyncio.sleep(60)
        raise AssertionError

    async def send(message: dict) -> None:
        sent.append(message)

    raw = [(b"host", b"localhost"), *((k.encode(), v.encode()) for k, v in headers.items())]
    scope = {
        "type": "http", "method": "POST", "path": path, "raw_path": path.encode(), "query_string": b"", "headers": raw,
        "scheme": "http", "server": ("localhost", 80), "client": ("127.0.0.1", 1), "root_path": "",
        "http_version": "1.1", "asgi": {"version": "3.0"}, "state": {},
    }  # fmt: skip
    await site.client.app(scope, receive, send)  # type: ignore[arg-type]
    return int(sent[0]["status"])


def test_who_may_not_come_in_sends_no_body(site: Site) -> None:
    """The door is asked before anything of the body is taken in: a stranger cannot fill the disk or take a place."""
    headers = {"content-type": "multipart/form-data; boundary=----edge"}
    site.services.uploads.under_way |= {Upload(f"192.0.2.{n}", "") for n in range(SMALL.uploads_at_once)}
    answer = site.client.post("/o/not.alink/drives/new/before", content=padded(5000), headers=headers)
    assert answer.status_code == 404, "a busy answer would mean that the door comes second"


def test_what_takes_long_to_make_does_not_take_the_turns_of_pages(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two zips are being made; a third is told to wait, at once, and is made when there is a place again."""
    monkeypatch.setattr("speedcal.web.work.runner._WAIT_FOR_PLACE_S", 0.0)
    base, runner = site.new_job(), site.services.runner
    with runner.place(), runner.place():
        for path in ("export.zip", "road-test.pdf"):
            told = site.client.get(f"{base}/{path}")
            assert (told.status_code, told.headers["retry-after"]) == (503, "5")
            assert "being made right now" in told.text
        assert not list((site.services.originals.root / "scratch").iterdir())
    assert site.client.get(f"{base}/export.zip").status_code == 200
