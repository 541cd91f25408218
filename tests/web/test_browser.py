"""The three roles through the whole story in a real browser, on the invented demo job, on a phone and on a desktop."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest
from support.browser import Browsing, open_browsing, until
from support.needs import missing
from support.web_server import WebServer
from support.web_site import DEMO, analysed_at_hand
from support.web_thread import Served, serve_in_thread

from speedcal.web.app import make_services
from speedcal.web.entry.certificate import make_certificate
from speedcal.web.settings import Limits, Settings

PHONE, DESKTOP = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
PLACE = {"latitude": 0.5, "longitude": -30.0, "accuracy": 4}
PASSCODE = "brass kettle tide"
JOB = {
    "job.number": "J-0417",
    "job.customer": "Sample Customer (invented)",
    "job.shop": "Saltmarsh Gauge Works (invented)",
    "vehicle.label": "Brindlewood half-ton pickup (invented)",
    "vehicle.tire": "P225/70R16",
    "vehicle.axle": "41/11",
    "vehicle.drive_gear": "8",
    "vehicle.driven_gear": "19",
    "vehicle.expects": "1000",
    "tolerance.speeds": "30 45 60",
}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve and analyse in this process; the whole story is told by a service started as users do."""
    with analysed_at_hand(), serve_in_thread(tmp_path_factory.mktemp("web"), Limits(), workers=1) as served:
        yield served


@pytest.fixture
def started_server(tmp_path: Path) -> Iterator[WebServer]:
    """Start the service as users do."""
    server = WebServer(tmp_path / "data").start()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def started() -> Iterator[Browsing]:
    """Start a browser."""
    with open_browsing() as opened:
        yield opened


@pytest.fixture
def browsing(started: Browsing) -> Iterator[Browsing]:
    """Return the browser without a page."""
    yield started
    started.close_pages()


def await_result(page: Any, sign: str, seconds: float = 120) -> None:
    """Wait until a page shows a result; a failed analysis ends the waiting with its message."""
    page.wait_for_selector(f"{sign}, .note.bad", timeout=1000 * seconds)
    assert page.locator(".note.bad").count() == 0, page.inner_text(".note.bad")


def new_job(page: Any, address: str, *, rule: str = "", **fields: str) -> str:
    """Fill the form of a job and return its address; without facts of a vehicle there is nothing to analyse yet."""
    page.goto(f"{address}/jobs/new")
    for field, text in fields.items():
        page.fill(f'[id="{field}"]', text)
    if rule:
        page.select_option('[id="tolerance.rule"]', rule)
    page.click("text=Save the job")
    page.wait_for_selector("h1 >> text=" + fields["job.number"])
    return str(page.url)


def link_of(page: Any, role: str) -> str:
    """Make a link of a role and return its address."""
    page.click(f"text=New {role}'s link")
    letter = {"owner": "o", "customer": "c"}[role]
    return str(page.locator(f".address a[href*='/{letter}/']").first.get_attribute("href"))


def test_the_whole_story(started_server: WebServer, browsing: Browsing) -> None:
    """Tech makes a job; owner sends the drive; tech fits a gear and sends the road test; customer reads the report."""
    server = started_server
    tech, check = browsing.page(PHONE), browsing.check
    tech.goto(server.address)
    check(tech)
    base = new_job(tech, server.address, rule="un_r39_type", **JOB)
    tech.wait_for_selector("#progress", state="detached", timeout=120_000)  # until then it loads itself again
    check(tech)
    owner_link, customer_link = (link_of(tech, role) for role in ("owner", "customer"))
    tech.click("[data-do=copy] >> nth=0")
    tech.wait_for_selector("text=Copied.")
    tech.click("summary:has-text('QR code') >> nth=0")
    check(tech)

    owner = browsing.page(PHONE)
    owner.goto(owner_link)
    check(owner)
    owner.click("text=Send files or notes")
    check(owner)
    owner.set_input_files("#track", DEMO / "before.gpx")
    owner.click("text=Type or paste times and speeds")
    owner.fill("#pasted", "10:33:06 40x\n10:33:23 42")
    owner.click("text=Send the drive")
    owner.wait_for_selector("text=This needs a change")
    check(owner)
    assert "no reading in '10:33:06 40x'" in owner.inner_text("#pasted-wrong")
    owner.click("text=Show me where")
    assert "10:33:23" in owner.input_value("#pasted[aria-invalid=true]"), "what was typed is still there"
    owner.fill("#pasted", (DEMO / "before_notes.csv").read_text())
    owner.click("text=Send the change")
    owner.wait_for_selector("text=The drive can be measured", timeout=60_000)
    until(owner, "document.querySelector('img.picture').naturalWidth > 0")
    check(owner)
    owner.click("text=Back to your page")
    await_result(owner, ".lead:text('At a true 60 mph the dial shows')")
    owner.wait_for_selector("#progress", state="detached", timeout=120_000)
    check(owner)
    assert "At a true 60 mph the dial shows" in owner.inner_text("main")
    assert "Your part is done." in owner.inner_text("main")

    tech.goto(base)
    check(tech)
    assert re.search(r"What happens next\W+Fit a driven gear with \d+ teeth", tech.inner_text("main"))
    tech.goto(f"{base}/edit")
    check(tech)
    tech.fill('[id="work.driven_gear"]', "22")
    tech.click("text=Save the job")
    tech.click("section[aria-labelledby=after] >> text=Upload")
    tech.set_input_files("#track", DEMO / "after.gpx")
    tech.click("text=A file with times and speeds")
    tech.set_input_files("#readings", DEMO / "after_notes.csv")
    tech.click("text=Send the drive")
    tech.wait_for_selector("text=The drive can be measured", timeout=60_000)
    drive_sent = str(tech.url)
    tech.goto(base)
    await_result(tech, ".verdict")
    tech.wait_for_selector("#progress", state="detached", timeout=120_000)
    check(tech)
    text = tech.inner_text("main")
    assert re.search(r"the dial showed 7\d to 7\d; after .* it shows 60 to 61", text)
    assert tech.inner_text(".verdict .tag").lower() == "pass"
    sheet = tech.request.get(f"{base}/road-test.pdf?limit=65")
    assert "passenger" in pypdf.PdfReader(io.BytesIO(sheet.body())).pages[0].extract_text()

    customer = browsing.page(PHONE)
    customer.goto(customer_link)
    until(customer, "document.querySelector('img.picture').naturalWidth > 0")
    check(customer)
    assert "after the gear change it shows 60 to 61" in " ".join(customer.inner_text("main").split())
    assert "The speedometer complies with the rule" in customer.inner_text("main")
    report = customer.request.get(f"{customer_link}/files/report.pdf")
    assert len(pypdf.PdfReader(io.BytesIO(report.body())).pages) == 1
    customer.click("text=Open the full report")
    customer.wait_for_selector("h1")
    check(customer)
    assert customer.evaluate("getComputedStyle(document.querySelector('main')).maxWidth") == "736px", (
        "styles are applied"
    )

    for person, addresses in (
        (tech, [f"{server.address}/jobs", base, f"{base}/edit", drive_sent]),
        (owner, [owner_link]),
        (customer, [customer_link, f"{customer_link}/files/report.html"]),
    ):
        person.set_viewport_size(DESKTOP)
        for address in addresses:
            person.goto(address)
            browsing.check_width(person)
    browsing.check_quiet()


def test_the_shop_brings_a_job_in_and_tries_another_tolerance(
    server: Served, browsing: Browsing, tmp_path: Path
) -> None:
    """Another rule gives another verdict; printed, closed, saved as a zip, deleted."""
    tech, check = browsing.page(DESKTOP), browsing.check
    with zipfile.ZipFile(tmp_path / "demo.zip", "w") as packed_demo:
        for path in DEMO.iterdir():
            packed_demo.write(path, f"demo/{path.name}")
    tech.goto(f"{server.address}/import")
    check(tech)
    tech.set_input_files("#zip", tmp_path / "demo.zip")
    tech.click("button >> text=Import it")
    tech.wait_for_selector("h1 >> text=J-0417")
    base = str(tech.url)
    tech.wait_for_selector(".verdict >> text=UN Regulation", timeout=120_000)
    tech.goto(f"{base}/edit")
    tech.select_option('[id="tolerance.rule"]', "sae_j2976")
    tech.fill('[id="tolerance.speeds"]', "")
    tech.click("text=Save the job")
    tech.wait_for_selector(".verdict >> text=SAE J2976", timeout=120_000)
    printed = pypdf.PdfReader(io.BytesIO(tech.pdf(format="A4")))
    text = " ".join(part.extract_text() for part in printed.pages)
    assert "At a true" in text
    assert "New job" not in text
    assert "End this link" not in text
    tech.click("text=Close the job")
    tech.wait_for_selector("h1 + .tag >> text=closed")
    packed = tech.request.get(f"{base}/export.zip").body()
    assert {n.split("/")[1] for n in zipfile.ZipFile(io.BytesIO(packed)).namelist()} == {
        "job.toml", "before-1-track.gpx", "before-1-readings.csv", "after-1-track.gpx", "after-1-readings.csv",
    }  # fmt: skip
    tech.goto(f"{base}/delete")
    check(tech)
    tech.click("text=Delete for good")
    tech.wait_for_selector("h1 >> text=Jobs")
    check(tech)
    browsing.check_quiet()


def drives_shown(page: Any, base: str) -> int:
    """Return how many drives the job shows."""
    page.goto(base)
    return int(page.locator("section[aria-labelledby=before] li").count())


def back_to(page: Any, form: str) -> None:
    """Go back in the browser to a form; whatever was sent from this page must have been answered."""
    page.evaluate("history.back()")
    page.wait_for_url(form)
    page.wait_for_selector("#drive-form button >> text=Send the drive")


def test_what_was_typed_survives_and_is_sent_once(server: Served, browsing: Browsing) -> None:
    """No connection, a slip, Back, Send again: every row stays, also those that the form grew, and it is one drive."""
    page = browsing.page(PHONE)
    base = new_job(page, server.address, **{"job.number": "KEPT-1"})
    page.goto(f"{base}/drives/new/before")
    page.click("text=Type or paste times and speeds")
    rows = [(f"14:{n:02}:20", str(30 + n)) for n in range(15)]
    for n, (time, speed) in enumerate(rows):
        page.fill(f'[aria-label="Time of reading {n + 1}"]', time)
        page.fill(f'[aria-label="Dial at reading {n + 1}"]', speed)
    form = page.url
    page.click("text=Back to KEPT-1")
    page.wait_for_selector("section[aria-labelledby=before]")
    back_to(page, form)
    page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")

    def shown() -> list[str]:
        return [page.input_value(f'[aria-label="Dial at reading {n + 1}"]') for n in range(len(rows))]

    assert shown() == [speed for _, speed in rows]
    page.fill("#offset", "-3,600")
    page.context.set_offline(True)
    page.click("text=Send the drive")
    page.wait_for_selector("text=There is no connection")
    page.context.set_offline(False)
    page.click("text=Send the drive")
    page.wait_for_selector("text=Send the change")
    page.wait_for_selector("#offset[aria-invalid=true]")
    browsing.check(page)
    assert "write it without a comma" in page.inner_text("#offset-wrong")
    assert shown() == [speed for _, speed in rows]
    page.fill("#offset", "-3600")
    with page.expect_navigation():  # the mark is taken off when the change is sent, not when it has arrived
        page.click("text=Send the change")
    page.wait_for_selector("#offset[aria-invalid=true]", state="detached")
    page.wait_for_selector("text=The readings are here, the track is still missing", timeout=60_000)
    back_to(page, form)
    page.click("text=Send the drive")
    page.wait_for_selector("text=Send the change")
    assert drives_shown(page, base) == 1
    browsing.forget_noise()


def test_without_javascript_what_was_typed_survives_and_is_sent_once(
    server: Served, browsing: Browsing, tmp_path: Path
) -> None:
    """A part that is refused, the page loaded again and again, Back and Send."""
    page = browsing.page(PHONE, java_script_enabled=False)
    base = new_job(page, server.address, **{"job.number": "KEPT-2"})
    (tmp_path / "empty.gpx").touch()
    page.goto(f"{base}/drives/new/before")
    page.click("summary >> text=Speeds held one after the other")
    page.fill("#held", "30 40 50")
    page.set_input_files("#track", tmp_path / "empty.gpx")
    page.click("text=Send the drive")
    page.wait_for_selector("#track[aria-invalid=true]")
    for _ in range(3):
        page.reload()
    assert page.input_value("#held") == "30 40 50"
    page.go_back()
    page.wait_for_selector("text=Send the drive")
    assert page.input_value("#held") == "30 40 50"
    page.click("text=Send the drive")
    page.wait_for_selector("text=Send the change")
    assert drives_shown(page, base) == 1
    browsing.forget_noise()


def test_by_keyboard_alone(server: Served, browsing: Browsing) -> None:
    """The skip link comes first, every control shows its focus, and a job can be made and found."""
    page = browsing.page(DESKTOP)
    page.goto(f"{server.address}/jobs/new")
    page.bring_to_front()
    page.keyboard.press("Tab")
    until(page, "document.activeElement.textContent == 'Skip to the content'")
    page.keyboard.press("Enter")
    until(page, "location.hash == '#content'")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "job.number"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.type("KEY-1")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1 >> text=KEY-1")
    browsing.check_quiet()


HOSTILE = (
    "\"><script>document.title='broken'</script><img src=x onerror=\"document.title='broken'\">"
    "\u202e\u0661 \u65e5\u672c"
)


def test_without_javascript_all_but_the_recorder_works_and_names_are_only_names(
    server: Served, browsing: Browsing, tmp_path: Path
) -> None:
    """The page loads itself again until the result is there; markup and other scripts stand in every name.

    With JavaScript nothing of the names is carried out, on no page of any role.
    """
    page = browsing.page(PHONE, java_script_enabled=False)
    names = {f: HOSTILE for f in ("job.number", "job.customer", "job.shop", "job.note", "vehicle.label", "work.note")}
    page.goto(f"{server.address}/jobs/new")
    page.click("summary >> text=What was done")  # folded away while nothing was
    page.click("summary >> text=Notes")
    for field, text in names.items():
        page.fill(f'[id="{field}"]', text)
    page.click("text=Save the job")
    base = str(page.url)
    links = [link_of(page, role) for role in ("owner", "customer")]
    track = tmp_path / "<img src=x onerror=alert(1)>'.gpx"
    shutil.copy(DEMO / "before.gpx", track)
    page.click("section[aria-labelledby=before] >> text=Upload")
    page.set_input_files("#track", track)
    page.click("summary >> text=A file with times and speeds")
    page.set_input_files("#readings", DEMO / "before_notes.csv")
    page.click("text=Send the drive")
    page.wait_for_selector("text=The drive can be measured", timeout=60_000)
    drive = page.url
    page.goto(base)
    page.wait_for_selector("text=At a true 60 mph the dial showed", timeout=120_000)  # a note tells of work
    page.goto(f"{base}/record/before")
    assert "Recording needs JavaScript" in page.inner_text("main")
    scripted = browsing.page(PHONE)
    for address in (
        base,
        drive,
        f"{base}/edit",
        f"{base}/delete",
        f"{server.address}/jobs",
        f"{base}/files/report.html",
        *links,
    ):
        scripted.goto(address)
        assert scripted.title() != "broken"
        assert scripted.locator("img[src=x], main script").count() == 0
        browsing.check_width(scripted)
    browsing.check_quiet()


@pytest.fixture(scope="module")
def trusting(tmp_path_factory: pytest.TempPathFactory, started: Browsing) -> Iterator[tuple[Served, Browsing]]:
    """Start the service with a certificate of its own making, and a browser on whose system it is trusted."""
    if shutil.which("certutil") is None:
        missing("certutil")
    folder = tmp_path_factory.mktemp("https")
    settings = Settings(data=folder / "data", host_names=("lan.test",))
    make_certificate(settings, datetime.now(UTC))
    services = make_services(settings)
    services.auth.set_passcode(PASSCODE)
    services.store.close()
    kept = folder / ".pki" / "nssdb"
    kept.mkdir(parents=True)
    for arguments in (["-N", "--empty-password"], ["-A", "-n", "shop", "-t", "C,,", "-i", settings.made_authority]):
        subprocess.run(["certutil", "-d", f"sql:{kept}", *arguments], check=True)
    rules = "--host-resolver-rules=MAP lan.test 127.0.0.1"
    with (
        analysed_at_hand(),
        serve_in_thread(folder, Limits(), workers=1, host_names=settings.host_names) as served,
        started.another(rules, home=folder) as browser,
    ):
        yield served, browser


def within_the_screen(page: Any, selectors: str, least: int = 44) -> list[str]:
    """Return what does not lie on the screen whole, or is too small for a finger."""
    return page.evaluate(
        """([selectors, least]) => [...document.querySelectorAll(selectors)].filter((one) => {
          const box = one.getBoundingClientRect();
          const isTarget = one.matches("button, input");
          return box.top < 0 || box.left < 0 || box.bottom > innerHeight || box.right > innerWidth || !box.width
            || (isTarget && (box.width < least || box.height < least));
        }).map((one) => one.id || one.textContent)""",
        [selectors, least],
    )


def test_the_recorder(trusting: tuple[Served, Browsing], tmp_path: Path) -> None:
    """Through https: positions and taps survive a reload and a lost network, and become an ordinary pair of files."""
    server, browsing = trusting
    address = f"https://lan.test:{server.port}"
    page = browsing.page(PHONE, permissions=["geolocation"], geolocation=PLACE)
    page.goto(f"http://lan.test:{server.port}/jobs")
    assert page.url.startswith(f"{address}/sign-in"), "plain http leads to https"
    page.fill("#passcode", PASSCODE)
    page.click("main button")
    for shown in ("people", "state", "trust"):
        page.goto(f"{address}/{shown}")
        browsing.check(page)
    base = new_job(page, address, **{"job.number": "REC-1"})
    owner = link_of(page, "owner")
    page.goto(owner)
    page.click("text=Record on this phone")
    page.wait_for_selector("text=Tested: this page opens without a network too")
    browsing.check(page)
    assert "A passenger operates this page" in page.inner_text("main")
    assert page.is_disabled("#start")
    page.check("#passenger")
    page.click("#start")
    until(page, "document.getElementById('fixes').textContent > 0")

    def drive(count: int, offset: int) -> None:
        for n in range(count):
            page.context.set_geolocation({**PLACE, "latitude": 0.5 + 1e-4 * (n + offset)})
            until(page, f"document.getElementById('fixes').textContent > {n + offset}")

    drive(3, 1)
    page.click('[data-speed="40"]')
    page.click('[data-speed="45"]')
    page.fill("#other", "52,5")
    page.click("#note-other")
    browsing.check(page)
    for size in (PHONE, {"width": PHONE["height"], "height": PHONE["width"]}):
        page.set_viewport_size(size)
        assert within_the_screen(page, "#speeds button, #last, #other, #note-other, #undo, #stop, .state b") == []
    assert "Reading 3: 52.5 mph" in page.inner_text("#last")
    page.click("#undo")
    until(page, "document.getElementById('count').textContent == '2'")
    page.reload()
    page.wait_for_selector("text=Recording continues")
    assert page.inner_text("#count") == "2"
    kept = int(page.inner_text("#fixes"))
    assert kept >= 4
    drive(2, kept)
    page.context.set_offline(True)
    page.reload()
    until(page, f"document.getElementById('fixes').textContent >= {kept}")
    assert within_the_screen(page, "#speeds button, #last, #undo, #stop") == [], "looks the same without a network"
    page.click('[data-speed="50"]')
    until(page, "document.getElementById('count').textContent == '3'")
    page.click("#stop")
    page.click("#send")
    page.wait_for_selector("text=There is no connection")
    page.context.set_offline(False)
    browsing.forget_noise()
    page.click("#send")
    page.wait_for_url("**/drives/*", timeout=60_000)
    page.wait_for_selector("text=The track")
    exported = tmp_path / "job.zip"
    page.goto(base)
    with page.expect_download() as saved:
        page.click("text=Save as zip")
    saved.value.save_as(exported)
    files = zipfile.ZipFile(exported)
    track, readings = (files.read(f"job/before-1-{name}").decode() for name in ("track.gpx", "readings.csv"))
    assert track.count("<trkpt") >= kept + 2
    assert 'lat="0.5001000" lon="-30.0000000"' in track
    assert [line.split(",")[1] for line in readings.split()[2:]] == ["40", "45", "50"]
    page.goto(f"{owner}/record/before")
    assert page.is_visible("#start"), "after sending the phone keeps nothing"


def test_without_the_right_to_the_position_the_recorder_stops(server: Served, browsing: Browsing) -> None:
    """No clock runs, no screen says that it records; at night it is dark."""
    page = browsing.page(PHONE, permissions=[], timezone_id="UTC")
    base = new_job(page, server.address, **{"job.number": "REC-2"})
    page.clock.set_fixed_time(datetime(2031, 5, 17, 22, 0, tzinfo=UTC))
    page.goto(f"{base}/record/before")
    page.check("#passenger")
    page.click("#start")
    page.wait_for_selector("text=nothing is being recorded")
    assert page.is_visible("#start")
    assert page.is_hidden("#running")
    assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "dark"
    page.clock.set_fixed_time(datetime(2031, 5, 17, 12, 0, tzinfo=UTC))
    page.reload()
    page.wait_for_selector("text=Start recording")
    assert "dark" not in page.evaluate("getComputedStyle(document.documentElement).colorScheme")


def attack(page: Any, action: str) -> None:
    """Open a page of another site that posts a form to an address of ours."""
    form = f'<form method=post action="{action}"><input name="job.number" value="E"></form>'
    page.unroute_all()
    page.route("http://evil.test/**", lambda route: route.fulfill(content_type="text/html", body=form))
    page.goto("http://evil.test/")
    page.evaluate("document.forms[0].submit()")


def test_a_page_of_another_site_cannot_write(tmp_path: Path, server: Served, browsing: Browsing) -> None:
    """Real browser, both branches: on this machine it sends Sec-Fetch-Site, under a plain name only Origin tells."""
    services = make_services(Settings(data=tmp_path / "data"))
    services.auth.set_passcode("brass kettle tide")
    services.store.close()
    rules = "--host-resolver-rules=MAP lan.test 127.0.0.1, MAP evil.test 127.0.0.1"
    with (
        serve_in_thread(tmp_path, Limits(), host_names=("lan.test",)) as lan,
        browsing.another(rules) as abroad,
    ):
        page = abroad.page(DESKTOP)
        home = f"http://lan.test:{lan.port}"
        page.goto(f"{home}/jobs")
        page.fill("#passcode", "brass kettle tide")
        with page.expect_request(lambda request: request.method == "POST") as posted:
            page.click("main button")
        sent = posted.value.all_headers()
        assert "sec-fetch-site" not in sent
        assert sent["origin"] == home
        page.wait_for_selector("h1 >> text=Jobs")
        for action in (f"{home}/jobs/new", f"{server.address}/jobs/new"):
            attack(page, action)
            page.wait_for_selector("text=came from another site")
        page.goto(f"{home}/jobs")
        assert "No jobs yet" in page.inner_text("main")
        page.click("text=Sign out")
        page.wait_for_selector("h1 >> text=Sign in")
        abroad.check(page)


def test_a_large_file_is_refused_before_it_is_sent_and_after(
    server: Served, browsing: Browsing, tmp_path: Path
) -> None:
    """The browser says so itself; without its help the page says so, and keeps what was typed."""
    big = tmp_path / "big.gpx"
    big.write_bytes(b"0" * 52_000_000)
    page = browsing.page(DESKTOP)
    base = new_job(page, server.address, **{"job.number": "BIG-1"})
    page.goto(f"{base}/drives/new/before")
    page.set_input_files("#track", big)
    assert "larger than 24 MB" in page.evaluate("document.getElementById('track').validationMessage")
    page.evaluate("document.getElementById('drive-form').noValidate = true")
    page.click("text=Speeds held one after the other")
    page.fill("#held", "30 40 50")
    page.click("text=Send the drive")
    page.wait_for_selector("#refused >> text=What was sent is larger than", timeout=60_000)
    assert page.input_value("#held") == "30 40 50"
    browsing.forget_noise()


def test_the_demo_is_invented() -> None:
    """Nothing of a real person or place is in what the pictures show."""
    assert "invented" in JOB["job.shop"] + json.dumps(JOB)
