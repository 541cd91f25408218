"""The README does what it says: every command and code block is run, every key and rule is named."""

from __future__ import annotations

import re
import shlex
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from support import documents as doc

README = doc.README.read_text(encoding="utf-8")
MAIN = (
    "python3 -m venv --upgrade-deps .venv && .venv/bin/pip install . "
    "&& .venv/bin/speedcal report data_demo/job.toml --out result\n"
)
TESTS = ".venv/bin/pip install '.[test]' && .venv/bin/pytest -n logical\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the demo job, named as nobody should but some do."""
    return doc.copy_of_the_demo(tmp_path_factory.mktemp("a newcomer's folder"))


@pytest.fixture(scope="module")
def walked(folder: Path) -> list[tuple[doc.Block, doc.Done | None]]:
    """Run the README from top to bottom."""
    return list(doc.walk(README, folder))


def printed(walked: list[tuple[doc.Block, doc.Done | None]]) -> Iterator[tuple[str, str]]:
    for block, last in walked:
        if block.marker == "printed":
            assert last is not None
            yield block.text, last.printed


def test_the_two_commands_stand_where_the_check_of_a_fresh_machine_finds_them() -> None:
    """Each is one line in a block of its own, directly below its marker."""
    marked = {block.marker: block.text for block in doc.blocks(README) if block.marker.startswith("run: ")}
    assert marked == {"run: main": MAIN, "run: tests": TESTS}


def test_every_block_is_of_a_kind_that_is_tried() -> None:
    """A block in another language, or a text that no command prints, would go untested."""
    for block in doc.blocks(README):
        assert block.language in ("sh", "python", "toml", "csv", "text"), block
        if block.language == "text":
            assert block.marker in ("printed", "printed by: main"), block
        if block.language in ("toml", "csv"):
            assert block.marker.startswith("file: "), block


def test_every_command_and_code_block_runs(walked: list[tuple[doc.Block, doc.Done | None]]) -> None:
    """All end with status 0 in a copy of the demo."""
    failed = [
        f"{last.block.text}{last.remarks}" for block, last in walked if last and last.block is block and last.status
    ]
    assert not failed, "\n".join(failed)


def test_what_the_readme_shows_is_what_the_commands_print(walked: list[tuple[doc.Block, doc.Done | None]]) -> None:
    """Words and figures are those of today; python tests/docs/refresh.py brings them up to date."""
    for shown, now in printed(walked):
        assert doc.same_print(shown, now), now


def test_the_first_result_shown_is_the_one_of_the_demo_job(walked: list[tuple[doc.Block, doc.Done | None]]) -> None:
    """The main command prints what stands below it."""
    shown = next(block.text for block in doc.blocks(README) if block.marker == "printed by: main")
    report = next(last for _, last in walked if last and "speedcal report" in last.block.text)
    assert report.printed.endswith(shown)


def test_the_readme_shows_the_picture_of_the_demo_job(
    walked: list[tuple[doc.Block, doc.Done | None]], folder: Path
) -> None:
    """The committed picture is the one that the report draws today, apart from the hinting of fonts."""
    from matplotlib.image import imread

    assert walked
    assert f"]({doc.PICTURE.relative_to(doc.ROOT).as_posix()})" in README
    then, now = imread(doc.PICTURE), imread(folder / "result" / "before_after.png")
    assert then.shape == now.shape
    assert float(abs(then - now).mean()) < 0.01


def test_files_shown_in_the_readme_can_be_read(walked: list[tuple[doc.Block, doc.Done | None]], folder: Path) -> None:
    """Notes are readings in the unit of their heading."""
    from speedcal import read_readings

    assert walked
    readings = read_readings(folder / "notes.csv")
    assert (len(readings), readings.speed_unit) == (2, "mph")


def test_the_commands_that_start_the_page_take_the_options_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are parsed, and not run: the tests of the page start it."""
    from speedcal.cli import cli

    monkeypatch.chdir(tmp_path)
    for name in ("shop.crt", "shop.key"):
        (tmp_path / name).touch()

    lines = [line for b in doc.blocks(README) if b.marker == "serve" for line in b.text.splitlines()]
    assert lines
    for line in lines:
        words = shlex.split(line)
        assert words[:2] == ["speedcal", "serve"]
        command = cli.get_command(None, "serve")  # type: ignore[arg-type]
        assert command is not None
        command.make_context("serve", words[2:])


def test_the_page_starts_and_stops_as_shown(tmp_path: Path) -> None:
    """The page answers on this machine; only port and folder are chosen for the test."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    started = [sys.executable, "-m", "speedcal", "serve", "--port", str(port), "--data", str(tmp_path / "jobs")]
    server = subprocess.Popen(started, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        deadline = time.monotonic() + 30
        while True:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5) as answer:
                    assert answer.status == 200
                break
            except OSError:
                assert time.monotonic() < deadline, "the page did not answer"
                assert server.poll() is None, "the server ended"
                time.sleep(0.2)
    finally:
        server.terminate()
        server.wait(timeout=30)


def test_every_option_named_in_the_readme_exists() -> None:
    """An option that was renamed would send people astray."""
    from speedcal.cli import COMMANDS, cli

    known = {"--help", "--version", "--data", "--wheel", "--upgrade-deps"}  # the last of python -m venv
    for name in COMMANDS:
        command = cli.get_command(None, name)  # type: ignore[arg-type]
        assert command is not None
        known |= {option for parameter in command.params for option in parameter.opts}
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", README))
    assert not named - known


def test_the_readme_is_short_and_names_every_page_of_the_guide() -> None:
    """The reference stands in the guide."""
    from speedcal.guide import pages

    assert len(README.splitlines()) < 200
    assert not [topic for topic in pages() if f"`{topic}`" not in README]
