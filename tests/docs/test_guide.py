"""The guide: found, searched, up to date, and true to the program."""

from __future__ import annotations

import re
import tomllib

import pytest
from click.testing import CliRunner
from support import documents as doc

from speedcal.cli import COMMANDS, EXIT_FAIL, EXIT_NOT_PROVEN, cli
from speedcal.guide import find, pages, title
from speedcal.logs import limits
from speedcal.schema import TableReader
from speedcal.statements import KINDS, stated
from speedcal.web.settings import Limits

STATEMENTS = sorted(path.stem for path in (doc.ROOT / "speedcal" / "data" / "keys").glob("*.toml"))


def test_every_file_is_a_page_and_every_page_has_a_title() -> None:
    """A page that nobody lists would never be read."""
    assert sorted(pages()) == sorted(path.stem for path in doc.GUIDE.glob("*.md"))
    assert all(title(topic) and "<!--" not in text for topic, text in pages().items())


def test_a_page_is_shown_searched_and_hinted_at() -> None:
    """As a pipe gets it."""
    run = CliRunner().invoke
    assert run(cli, ["guide", "trust"]).output.strip() == pages()["trust"].strip()
    assert [line.split()[0] for line in run(cli, ["guide"]).output.splitlines()] == list(pages())
    found = run(cli, ["guide", "--find", "TREAD left"])
    assert found.exit_code == 0
    assert "tread_mm" in found.output
    assert "zzzz" in str(run(cli, ["guide", "--find", "zzzz"]).exception)
    assert "did you mean 'trust'?" in str(run(cli, ["guide", "trsut"]).exception)
    assert list(find("")) == []


@pytest.mark.parametrize("name", ["rules", "keys"])
def test_generated_parts_are_those_of_the_program(name: str) -> None:
    """Run tests/docs/refresh.py to bring them up to date."""
    path, make = doc.GENERATED[name]
    text = path.read_text(encoding="utf-8")
    assert doc.with_generated(text, name, make()) == text


@pytest.mark.parametrize("name", STATEMENTS)
def test_every_key_has_a_meaning_and_an_example_that_is_read(name: str) -> None:
    """The example in the guide is one that the program takes; a word is one of its words."""
    table = stated(name)
    assert table.title
    assert table.about
    for key in table.keys.values():
        assert key.kind in KINDS
        assert key.meaning
        assert not key.one_of or len([k for k in table.keys.values() if k.one_of == key.one_of]) > 1
        if name != "document":
            given = tomllib.loads(f"{key.name} = {key.example}")
            reader = TableReader(given, name, part=key.part)
            assert [p for p in reader.problems if p.code != "key_missing"] == [], key.name
            assert key.name in reader.values


def test_every_command_and_exit_status_is_in_the_guide() -> None:
    """With what it is for; scripts of a shop rely on the numbers."""
    text = " ".join(pages()["commands"].split())
    assert not [name for name in COMMANDS if not re.search(rf"`{name}\b", text)]
    for status, word in ((EXIT_FAIL, "fail"), (EXIT_NOT_PROVEN, "not proven"), (2, "input that cannot")):
        assert re.search(rf"\b{status} [^,]*{word}", text)


def test_the_sizes_of_files_are_those_that_are_kept_to() -> None:
    """In the command and on the page."""
    most, on_page = limits.MAX_BYTES // 2**20, Limits().file_bytes // 2**20
    assert f"Files up to {most} MB ({on_page} MB on the upload page)" in pages()["limits"]


def test_every_option_named_in_the_guide_exists() -> None:
    """An option that was renamed would send people astray."""
    known = {"--help", "--version"}
    for name in COMMANDS:
        command = cli.get_command(None, name)  # type: ignore[arg-type]
        assert command is not None
        known |= {option for parameter in command.params for option in parameter.opts}
    for topic, text in pages().items():
        assert not set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)) - known, topic
