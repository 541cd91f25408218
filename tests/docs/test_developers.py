"""DEVELOPERS.md is true: its worked examples run, its tables are complete and current."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import pkgutil
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from support import documents as doc
from support.calibrations import make_calibration

import speedcal
from speedcal.finding import Finding
from speedcal.units import MPH_MPS

DEVELOPERS = doc.DEVELOPERS.read_text(encoding="utf-8")
EXAMPLES = {block.marker.removeprefix("example: "): block for block in doc.blocks(DEVELOPERS)}


def test_every_example_is_tried_here() -> None:
    """A block without a test below would go untested."""
    assert set(EXAMPLES) == {"finding", "log format", "tolerance rule", "gear family"}


def test_the_new_finding_is_said_in_the_unit_of_the_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """11.176 m/s are 25 mph and 40.2 km/h, exactly by the mile of 1609.344 m."""
    from speedcal.text import messages
    from speedcal.text.codes import calibration_messages

    monkeypatch.setattr(calibration_messages, "FINDINGS", dict(calibration_messages.FINDINGS))
    messages.findings.cache_clear()
    exec(EXAMPLES["finding"].text, {"FINDINGS": calibration_messages.FINDINGS})  # noqa: S102
    try:
        said = [Finding("never_slow", slowest_mps=11.176, unit=unit).text for unit in ("mph", "km/h")]
    finally:
        monkeypatch.undo()
        messages.findings.cache_clear()
    assert "less than 25 mph" in said[0]
    assert "less than 40 km/h" in said[1]


def test_the_functions_on_the_way_of_a_reading_are_there() -> None:
    """A name that is gone would send a newcomer nowhere; those called on the way are called by the ones before."""
    part = DEVELOPERS[DEVELOPERS.index("<!-- functions -->") : DEVELOPERS.index("<!-- end of functions -->")]
    named = re.findall(r"`(speedcal[.\w]+)`", part)
    assert len(named) > 15
    for name in named:
        module, _, function = name.rpartition(".")
        assert callable(getattr(importlib.import_module(module), function)), name


def test_the_places_that_answer_a_question_are_there() -> None:
    """The needle's words, the keys of the vehicle, the number for wrong readings."""
    from speedcal.calibration.tuning import general as tuning
    from speedcal.text.codes.calibration_messages import FINDINGS

    assert "needle_offset" in FINDINGS
    assert "needle" in Finding("needle_offset", offset_mps=1.0, unit="mph").text
    assert 0 < tuning.WRONG_BELOW < 1
    part = DEVELOPERS[DEVELOPERS.index("### Questions") : DEVELOPERS.index("### The way")]
    for name in re.findall(r"`((?:speedcal|tests)/[\w/]+\.(?:py|toml))`", part):
        assert (doc.ROOT / name).is_file(), name


@pytest.fixture
def new_format(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Add the module of the example to the table of formats, as the document says."""
    from speedcal.logs.formats import registry

    path = tmp_path / "at_lines.py"
    path.write_text(EXAMPLES["log format"].text, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("speedcal.logs.formats.at_lines", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setitem(sys.modules, "speedcal.logs.formats.at_lines", module)
    monkeypatch.setattr(registry, "_MODULES", ("at_lines", *registry._MODULES))
    registry.all_formats.cache_clear()
    yield
    registry.all_formats.cache_clear()


def test_the_new_log_format_is_read(new_format: None, tmp_path: Path) -> None:
    """The line quoted in the text, and a fix off the globe that is counted and left out."""
    line = re.search(r"`(@[\d. ]+)`", DEVELOPERS)
    assert line is not None
    log = tmp_path / "receiver.log"
    log.write_text(f"{line[1]}\n@1600000001 95.1 9.1 11\n@1600000002 45.2 9.1 12\n", encoding="utf-8")
    track = speedcal.read_track(log)
    np.testing.assert_array_equal(track.speed_mps, [10, 12])
    assert sum(track.dropped.values()) == 1


def test_the_new_tolerance_rule_works(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 45 mph -1 % is 44.55 and +3 % is 46.35; at 70 mph it does not apply."""
    from speedcal.conformity import rules

    table = tomllib.loads(EXAMPLES["tolerance rule"].text)
    shipped = rules._data()
    monkeypatch.setattr(rules, "_data", lambda: {**shipped, **table})
    rule = speedcal.load_tolerance("fleet_contract")
    assert [limit / MPH_MPS for limit in rule.band(45 * MPH_MPS)] == pytest.approx([44.55, 46.35])
    assert "44.55 to 46.35" in DEVELOPERS
    with pytest.raises(speedcal.SpeedcalError, match="does not apply at 70 mph"):
        speedcal.load_tolerance({"rule": "fleet_contract", "speeds": [70], "unit": "mph"})


def test_the_new_gear_family_works(tmp_path: Path) -> None:
    """20 teeth reading 9 % low want 18.2; 18 is on the shelf, and its range is named."""
    (tmp_path / "shelf.toml").write_text(EXAMPLES["gear family"].text, encoding="utf-8")
    vehicle = speedcal.Vehicle.from_dict({"driven_gear": 20, "gear_family": "shelf.toml"}, folder=tmp_path)
    best = speedcal.correct(make_calibration(factor=0.91), vehicle).driven_gear[0]
    assert dict(best.parts)["teeth"] == 18
    assert best.orientation == "17-18"


def test_the_table_of_published_sources_is_that_of_the_tests() -> None:
    """Run tests/docs/refresh.py to bring it up to date."""
    assert doc.with_generated(DEVELOPERS, "sources", doc.published_table()) == DEVELOPERS


def test_every_published_marker_names_its_source() -> None:
    """A document, or the admission that there is none."""
    for source in doc.published_sources():
        assert len(source) > 8, source


def test_the_place_of_the_benchmark_table_is_marked() -> None:
    """A release puts the last full run there."""
    assert DEVELOPERS.count("<!-- benchmark table -->") == DEVELOPERS.count("<!-- end of benchmark table -->") == 1


def error_classes() -> set[str]:
    """Return the error classes that a user of the command or the library can meet."""
    found = set()
    for info in pkgutil.walk_packages(speedcal.__path__, "speedcal."):
        if info.name != "speedcal.__main__":
            for name, thing in vars(importlib.import_module(info.name)).items():
                if inspect.isclass(thing) and issubclass(thing, speedcal.SpeedcalError) and not name.startswith("_"):
                    found.add(thing.__name__)
    return found - {"SpeedcalError"}


def test_every_error_class_is_explained() -> None:
    """The table names each, and none that is gone."""
    part = DEVELOPERS[DEVELOPERS.index("## Exit status and errors") : DEVELOPERS.index("## How to release")]
    assert set(re.findall(r"^\| `(\w+Error)`", part, re.MULTILINE)) == error_classes()


def test_every_exit_status_is_explained() -> None:
    """The four of them, in words."""
    from speedcal import cli

    text = " ".join(DEVELOPERS.split())
    for status, word in ((cli.EXIT_FAIL, "verify: fail"), (cli.EXIT_NOT_PROVEN, "verify: not proven")):
        assert f"{status} {word}" in text
    assert f"{cli.EXIT_UNUSABLE} input that cannot be used" in text


def test_every_setting_is_explained() -> None:
    """Options of the page, and every variable of the environment that the project looks at."""
    from speedcal.cli.serve import command

    part = DEVELOPERS[DEVELOPERS.index("## Settings") : DEVELOPERS.index("## Exit status and errors")]
    options = {name for parameter in command.params for name in parameter.opts} - {"--set-passcode", "--json"}
    variables = set()
    for folder in ("speedcal", "tests"):
        for path in (doc.ROOT / folder).rglob("*.py"):
            variables |= set(re.findall(r"\"(SPEEDCAL_[A-Z]+|CHROMIUM)\"", path.read_text(encoding="utf-8")))
    assert not [name for name in sorted(options | variables) if f"`{name}`" not in part]


def test_every_room_and_module_named_is_there() -> None:
    """The map is that of the house."""
    for room in re.findall(r"^\| `(\w+)/` \|", DEVELOPERS, re.MULTILINE):
        assert (doc.ROOT / "speedcal" / room).is_dir(), room
    rooms = {path.name for path in (doc.ROOT / "speedcal").iterdir() if (path / "__init__.py").exists()}
    assert not [room for room in rooms if f"`{room}/`" not in DEVELOPERS]


def test_the_version_heads_the_changelog() -> None:
    """What is released is described."""
    project = tomllib.loads((doc.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    newest = re.search(r"^## Changelog\n\n### ([\d.]+)", DEVELOPERS, re.MULTILINE)
    assert newest is not None
    assert newest[1] == project["version"]


def test_paths_and_scripts_named_in_the_documents_are_there() -> None:
    """Nobody is sent to a file that is gone."""
    for text in (DEVELOPERS, doc.README.read_text(encoding="utf-8")):
        for name in re.findall(r"(?:speedcal|tests|data_demo|notebooks)/[\w/.-]*\w", text):
            assert (doc.ROOT / name).exists(), name
