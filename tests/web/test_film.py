"""A film of the dial on the page: piece by piece, marks, the needle shown, readings beside a track, the film gone."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.film_maker import FilmKind, MadeFilm, make_film
from support.web_site import TINY_GPX, Site, open_site

from speedcal.web import answers
from speedcal.web.kept.backup import make_backup
from speedcal.web.kept.film_store import Films
from speedcal.web.kept.queue import Queue, Run
from speedcal.web.settings import Limits
from speedcal.web.work import film_task
from speedcal.web.work.film_run import FilmWork

PRINT = "64-0a0b0c0d-0a0b0c0d"
JSON = {"accept": "application/json"}
CONTENT = bytes(range(256)) * 5
LIMITS = Limits(free_disk_bytes=0, film_piece_bytes=500, film_bytes=2000, films_per_job=2)


class InThisProcess:
    """Does a task at once, as a worker process would."""

    @staticmethod
    def do(name: str, task: dict[str, Any], **_: Any) -> dict[str, Any]:
        """Answer a task."""
        return {"done": getattr(film_task, name)(task, lambda _step, _part: None)}


def work(site: Site) -> Run:
    """Do what waits in the queue for a film."""
    services = site.services
    queue = Queue(services.store)
    run = queue.claim("test")
    assert run is not None
    FilmWork(Films(services.store), queue, services.originals, services.settings.limits).do(
        run, InThisProcess(), lambda _step, _part: True
    )  # type: ignore[arg-type]
    return run


def begin(site: Site, base: str, content: bytes = CONTENT, **more: str) -> Any:
    """Announce a film."""
    fields = {"name": "dial.mp4", "size": str(len(content)), "print": PRINT, **more}
    return site.client.post(f"{base}/films/new/before", data=fields, headers=JSON)


def piece(site: Site, film: str, at: int, content: bytes) -> Any:
    """Send a piece."""
    return site.client.post(f"{film}/pieces", data={"at": str(at)}, files={"piece": ("piece", content)}, headers=JSON)


def send(site: Site, base: str, content: bytes, **more: str) -> str:
    """Send a whole film and return its address."""
    told = begin(site, base, content, **more).json()
    while told["arrived"] < told["size"]:
        at = told["arrived"]
        told = piece(site, told["film"], at, content[at : at + told["piece"]]).json()
    return str(told["film"])


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Site]:
    """Start a service that takes small films in smaller pieces."""
    with open_site(tmp_path, limits=LIMITS) as opened:
        yield opened


def test_a_film_goes_on_where_it_stopped_and_no_piece_counts_twice(small: Site) -> None:
    """Pieces in order make the file; one sent again, or announced again after a reload, changes nothing."""
    base = small.new_job()
    film = begin(small, base).json()["film"]
    assert piece(small, film, 0, CONTENT[:500]).json()["arrived"] == 500
    assert piece(small, film, 0, b"x" * 500).json()["arrived"] == 500
    assert piece(small, film, 600, CONTENT[600:700]).json()["arrived"] == 500
    assert "of <bdi>dial.mp4</bdi> are here" in small.client.get(film).text
    again = begin(small, base).json()
    assert (again["film"], again["arrived"]) == (film, 500)
    piece(small, film, 500, CONTENT[500:1000])
    assert piece(small, film, 1000, CONTENT[1000:]).json()["arrived"] == len(CONTENT)
    (kept,) = (small.services.originals.root / "films").glob("*/*/film")
    assert kept.read_bytes() == CONTENT
    assert Queue(small.services.store).waiting() == 1


def test_a_piece_survives_a_server_that_died_before_it_could_say_so(small: Site) -> None:
    """What was written beyond what is known to be there is written anew, in its place."""
    base = small.new_job()
    film = begin(small, base).json()["film"]
    piece(small, film, 0, CONTENT[:500])
    (kept,) = (small.services.originals.root / "films").glob("*/*/film")
    kept.write_bytes(CONTENT[:500] + b"half of the next one")
    piece(small, film, 500, CONTENT[500:1000])
    piece(small, film, 1000, CONTENT[1000:])
    assert kept.read_bytes() == CONTENT


def test_limits_and_room_are_checked_before_the_first_byte(small: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Size, number of films, room on the disk together with what other films still bring, size of a piece."""
    base = small.new_job()
    assert begin(small, base, b"x" * 2001).json()["error"] == "film_size"
    assert begin(small, base, b"").json()["error"] == "film_size"
    assert begin(small, base, **{"print": "../../x"}).json()["error"] == "film_not_announced"
    film = begin(small, base, b"x" * 2000).json()["film"]
    assert piece(small, film, 0, b"x" * 501).json()["error"] == "film_piece_too_large"
    assert piece(small, film, 1900, b"x" * 101).json()["error"] == "film_piece_too_large"
    asked = []
    monkeypatch.setattr(small.services.originals, "check_room", asked.append)
    assert begin(small, base, b"x" * 1000, **{"print": "1-23456789"}).status_code == 201
    assert asked == [3000]
    assert begin(small, base, **{"print": "2-23456789"}).json()["error"] == "too_many_films"


def test_a_full_disk_is_said_before_anything_is_sent(tmp_path: Path) -> None:
    with open_site(tmp_path, limits=dataclasses.replace(LIMITS, free_disk_bytes=2**60)) as full:
        assert begin(full, full.new_job()).json()["error"] == "disk_full"


def test_without_the_extra_the_page_says_what_to_do(small: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Words for the shop and nothing to send; announced all the same it is refused."""
    monkeypatch.setattr(answers, "_FOR_FILMS", ("no_such_library",))
    base = small.new_job()
    page = small.client.get(f"{base}/films/new/before").text
    assert "speedcal[film]" in page
    assert "film-form" not in page
    assert begin(small, base).json()["error"] == "film_extra_missing"


def test_the_doors_of_a_film(small: Site) -> None:
    """The owner's link leads to films of the job before the work, the customer's to none, a closed job takes none."""
    base = small.new_job()
    links = {}
    for role in ("owner", "customer"):
        link = small.services.auth.add_link(base.split("/")[-1], role)
        links[role] = f"/{role[0]}/{small.services.auth.token(link)}"
    film = begin(small, links["owner"]).json()["film"]
    assert film.startswith(links["owner"])
    assert "film, sent in part" in small.client.get(links["owner"]).text
    other = small.new_job()
    assert small.client.get(f"{other}/films/{film.split('/')[-1]}").status_code == 404
    assert small.client.get(f"{links['owner']}/films/new/after").status_code == 404
    assert small.client.get(f"{links['customer']}/films/new/before").status_code == 404
    small.client.post(f"{base}/close", data={"closed": "yes"})
    assert piece(small, film, 0, CONTENT[:500]).json()["error"] == "job_closed"


def test_a_deleted_job_takes_its_films_along_and_no_backup_has_them(small: Site, tmp_path: Path) -> None:
    base = small.new_job()
    send(small, base, CONTENT)
    make_backup(small.services.settings, tmp_path / "backup.zip")
    assert CONTENT not in (tmp_path / "backup.zip").read_bytes()
    assert b"films" not in (tmp_path / "backup.zip").read_bytes()
    small.client.post(f"{base}/delete")
    assert not list((small.services.originals.root / "films").glob("*/*"))


def test_a_film_that_nobody_accepts_goes_after_some_days(small: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    base = small.new_job()
    send(small, base, CONTENT)
    monkeypatch.setattr("speedcal.web.kept.film_files.time.time", lambda: 1e10)
    begin(small, base, **{"print": "1-23456789"})
    assert len(Films(small.services.store).of_job(base.split("/")[-1], ("before",))) == 1
    assert not list((small.services.originals.root / "films").glob("*/*"))


def test_what_is_no_film_is_told(small: Site) -> None:
    """A worker's refusal stands on the page with the name of the file, and the film can be deleted."""
    film = send(small, small.new_job(), CONTENT)
    run = Queue(small.services.store).claim("test")
    assert run is not None
    work_of = FilmWork(Films(small.services.store), Queue(small.services.store), small.services.originals, LIMITS)
    with pytest.raises(Exception) as caught:  # noqa: PT011 - the library's own error, told on
        work_of.do(run, InThisProcess(), lambda _step, _part: True)  # type: ignore[arg-type]
    work_of.fail(run, caught.value)  # type: ignore[arg-type]
    page = small.client.get(film).text
    assert "dial.mp4: The film cannot be read" in page
    assert small.client.post(f"{film}/delete", follow_redirects=False).status_code == 303
    assert small.client.get(film).status_code == 404


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> MadeFilm:
    """Render a short film of a dial."""
    return make_film(tmp_path_factory.mktemp("film") / "film.mp4", FilmKind("plain"), seed=5, seconds=30, rate=1)


def test_from_the_film_to_readings_beside_a_track(site: Site, made: MadeFilm) -> None:
    """Ticks are proposed, marks taken, the needle shown, a part left out; the readings are true, the film gone."""
    base = site.new_job()
    track = site.client.post(f"{base}/drives/new/before", files={"track": ("a.gpx", TINY_GPX)}, follow_redirects=False)
    drive = track.headers["location"].split("/")[-1]
    Queue(site.services.store).claim("somebody else, for the look")
    film = send(site, base, made.path.read_bytes(), drive=drive)
    work(site)
    row = Films(site.services.store).film(film.split("/")[-1])
    assert row is not None
    stills = row.stills["stills"]
    assert site.client.get(f"{film}/{stills[0]['file']}").headers["content-type"] == "image/jpeg"
    assert site.client.get(f"{film}/film").status_code == 404
    assert "Mark the outer end" in site.client.get(film).text

    ticks = stills[row.stills["best"]]["ticks"]
    assert len(ticks) == 13
    form = {"still": str(row.stills["best"]), "unit": "mph"}
    marks = [[10.0 * i, x, y] for i, (x, y) in enumerate(ticks)]
    same = [[10.0, x, y] for _, x, y in marks]
    for wrong, code in (
        ("[[", "film_marks_not_read"),
        ("[[0,1,2]]", "dial_file_marks"),
        (same, "dial_file_mark_twice"),
    ):
        sent = wrong if isinstance(wrong, str) else json.dumps(wrong)
        answer = site.client.post(f"{film}/marks", data={**form, "marks": sent}, headers=JSON)
        assert answer.json()["error"] == code
    assert (
        site.client.post(f"{film}/marks", data={**form, "marks": json.dumps(marks)}, headers=JSON).json()["film"]
        == film
    )
    work(site)
    page = site.client.get(film).text
    assert page.count("<li><img") == 12
    row = Films(site.services.store).film(row.id)
    assert row is not None
    frames = row.reading["frames"]
    for frame in frames:
        assert frame["value"] == pytest.approx(np.interp(frame["time_s"], made.time_s, made.value), abs=1.5)

    old = site.client.post(f"{film}/accept", data={"version": "1"}, headers=JSON)
    assert old.json()["error"] == "film_changed_meanwhile"
    every = [str(n) for n in range(12)]
    none = site.client.post(f"{film}/accept", data={"version": str(row.version), "out": every}, headers=JSON)
    assert none.json()["error"] == "film_all_taken_out"
    fields = {"version": str(row.version), "out": ["3"], "drive": drive}
    answer = site.client.post(f"{film}/accept", data=fields, follow_redirects=False)
    assert answer.headers["location"] == f"{base}/drives/{drive}"
    joined = site.services.store.drive(drive)
    assert joined is not None
    assert joined.is_complete
    assert joined.options["read_from"] == "film"
    rows = site.services.originals.path(joined.job_id, joined.readings_digest).read_text().splitlines()
    assert rows[0] == "time (s),dial (mph),u (mph),u_common (mph)"
    seconds = np.array([float(line.split(",")[0]) for line in rows[1:]])
    assert len(seconds) == row.reading["count"] - np.subtract(*frames[3]["rows"][::-1])
    assert not ((seconds > frames[3]["from_s"]) & (seconds < frames[3]["to_s"])).any()
    assert site.client.get(film).status_code == 404
    assert not list((site.services.originals.root / "films").glob("*/*"))
    assert site.client.post(f"{film}/accept", data=fields).status_code == 404


def test_a_film_kept_on_purpose_can_be_marked_again(
    site: Site, made: MadeFilm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a track the readings are a drive that waits for one; the film stays until it is deleted."""
    monkeypatch.setattr(film_task, "_STILLS", 1)
    base = site.new_job()
    film = send(site, base, made.path.read_bytes())
    work(site)
    marks = json.dumps(made.marks)
    dial = {"still": "0", "unit": "mph", "marks": marks}
    site.client.post(f"{film}/marks", data=dial, headers=JSON)
    work(site)
    answer = site.client.post(f"{film}/accept", data={"version": "2", "keep": "yes"}, follow_redirects=False)
    waiting = site.services.store.drive(answer.headers["location"].split("/")[-1])
    assert waiting is not None
    assert waiting.has_readings
    assert not waiting.is_complete
    assert "was kept on purpose" in site.client.get(film).text
    assert "film, kept" in site.client.get(base).text
    assert "Mark the outer end" in site.client.get(f"{film}?mark").text
    site.client.post(f"{film}/delete")
    assert site.client.get(film).status_code == 404
    assert site.services.store.drive(waiting.id) is not None


def test_one_film_at_a_time_and_after_everything_else(site: Site) -> None:
    """Looks and jobs are not kept waiting by films, which take minutes."""
    queue = Queue(site.services.store)
    job = site.new_job().split("/")[-1]
    first, second = (queue.put(job, f"film:{n}") for n in "12")
    whole, look = queue.put(job), queue.put(job, "3")
    order = [queue.claim("one") for _ in range(3)]
    assert [run.id for run in order if run] == [look, whole, first]
    assert queue.claim("two") is None
    waiting = queue.latest(job, "film:2")
    assert waiting is not None
    assert queue.ahead(waiting) == 3
    assert order[2] is not None
    queue.finish(order[2], "done", {})
    claimed = queue.claim("two")
    assert claimed is not None
    assert claimed.id == second
