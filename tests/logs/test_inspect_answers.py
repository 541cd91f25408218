"""`inspect` says in ten lines why a file was not understood: what was found, what is missing, what settles it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner
from support.structures import PLAIN_ROWS, rows_text

from speedcal.cli import cli, main

ROWS = PLAIN_ROWS[1:]
TIMES = [row[0] for row in ROWS]
SHOWN = [row[4] for row in ROWS]


def _table(header: list[str], *columns: list[str]) -> str:
    return rows_text([header, *map(list, zip(*columns, strict=True))])


PLACES = ([row[1] for row in ROWS], [row[2] for row in ROWS], [row[3] for row in ROWS])
BROKEN = {
    "no names": (rows_text(ROWS), ["no line names the 5 columns", "2020-09-13T12:26:40Z", "time,latitude,longitude"]),
    "two speeds": (
        _table(["time", "lat", "lon", "speed", "speed 2"], TIMES, *PLACES, SHOWN),
        ["not clear which column", "'speed' and 'speed 2'", "--column", "header is line 1", "'lat' for latitude"],
    ),
    "no times": (_table(["lat", "lon", "speed km/h"], *PLACES[:2], SHOWN), ["no column holds a time", "'lat', 'lon'"]),
    "no unit": (
        _table(["time", "lat", "lon", "gps speed", "vehicle speed"], TIMES, *PLACES, SHOWN),
        ["does not state its unit", "would fit km/h", "--unit", "'gps speed' for speed of the receiver"],
    ),
    "words for speeds": (
        _table(["time", "vehicle speed km/h"], TIMES, ["fast"] * 60),
        ["60 lines of column 'vehicle speed km/h' cannot be read", "line 2: 'fast' is not a number", "--column"],
    ),
    "names of another language": (
        _table(["Pillanat", "x", "y", "v1", "v2"], TIMES, *PLACES, SHOWN),
        ["no column holds a speed", "'Pillanat', 'x', 'y'", "no column was understood", "--column"],
    ),
    "positions empty": (
        _table(["time", "latitude", "longitude", "vehicle speed km/h"], TIMES, [""] * 60, [""] * 60, SHOWN),
        ["not usable as a track", "position missing or invalid: 60", "'latitude' for latitude"],
    ),
    "epoch cut": (
        _table(["timestamp", "lat", "lon", "vehicle speed km/h"], ["1.6E+12"] * 60, *PLACES[:2], SHOWN),
        ["'timestamp' holds no time", "not usable as a track"],
    ),
    "words and numbers": (
        "\n".join(f"{row[0]} lat {row[1]} lon {row[2]} v {row[3]}" for row in ROWS),
        ["60 lines cannot be read", "has 3 numbers", "a table with a header"],
    ),
    "json without measurements": (json.dumps({"a": [1, 2, 3], "b": "x"}), ["no list of measurements", '"time"']),
    "two vehicles": (
        _table(["time", "vehicle id", "vehicle speed km/h"], TIMES, ["a", "b"] * 30, SHOWN),
        ["'vehicle id' names 2 of them: 'a' and 'b'", "--session"],
    ),
    "a route": ('<gpx version="1.1"><rte><rtept lat="1" lon="2"/></rte></gpx>', ["a planned route"]),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_file_that_was_not_understood_is_explained_in_ten_lines(tmp_path, capsys, name):
    text, words = BROKEN[name]
    path = tmp_path / "log.txt"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SystemExit):
        main(["inspect", str(path)])
    told = capsys.readouterr()
    said = told.err or told.out
    plain = " ".join(said.split())
    assert [word for word in words if word not in plain] == []
    explained = said[said.index("not usable") :] if "not usable" in said else said
    assert len(explained.splitlines()) <= 10
    assert max(map(len, said.splitlines())) < 350


def test_the_option_that_the_answer_names_settles_it(tmp_path):
    """--unit for the unit, --column for the column, --session for the vehicle."""
    for name, options in (
        ("no unit", ["--unit", "km/h"]),
        ("two speeds", ["--column", "speed 2", "--unit", "km/h"]),
        ("two vehicles", ["--session", "b"]),
    ):
        path = tmp_path / "log.txt"
        path.write_text(BROKEN[name][0], encoding="utf-8")
        told = CliRunner().invoke(cli, ["inspect", str(path), *options])
        assert told.exit_code == 0
        assert "not usable" not in told.output
        assert f"readings    {30 if name == 'two vehicles' else 60}," in told.output
