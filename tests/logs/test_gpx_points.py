"""Points read by a pattern: the same as by the parser of XML alone, in whatever way they are written or damaged."""

from __future__ import annotations

import random
import subprocess
import sys
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from support.logfiles import gpx_10, gpx_11, small_drive
from support.mutations import KINDS, mutate

from speedcal.errors import SpeedcalError, TrackFormatError
from speedcal.logs import read_track
from speedcal.logs.formats import gpx
from speedcal.logs.formats.gpx_document import Document
from speedcal.logs.formats.gpx_points import MARK
from speedcal.logs.formats.registry import Request, certain_kind
from speedcal.logs.source import load
from speedcal.logs.writing.instants import read_instants
from speedcal.logs.writing.written_times import parse_instant
from speedcal.simulate import KINDS as DRIVES
from speedcal.simulate import simulate
from speedcal.simulate.files import render_gpx

DRIVE = small_drive(30)
PLAIN = gpx_11(DRIVE)
INDENTED = render_gpx(simulate(DRIVES["logged"], 1, minutes=14).track).encode()[:20_000].rpartition(b"</trkpt>")[0]
FILES = {
    "1.0": gpx_10(DRIVE),
    "1.1": PLAIN,
    "indented": INDENTED + b"</trkpt></trkseg></trk></gpx>",
    "some without height": PLAIN.replace(b"<ele>250.1</ele>", b"").replace(b"<ele>250.3</ele>", b""),
    "some without speed": PLAIN.replace(b"<q:speed>15.0</q:speed>", b"<q:speed/>", 1).replace(
        b"<q:speed>16", b"<!---->"
    ),
    "a few extensions": PLAIN.replace(b"<q:speed>", b"<q:hr>90</q:hr><q:atemp>20</q:atemp><q:speed>"),
    "two speeds": PLAIN.replace(b"<q:speed>", b"<q:gps_speed></q:gps_speed><q:speed>"),
    "two times": PLAIN.replace(b"</time>", b"</time><time>2020-01-01T00:00:00Z</time>"),
    "a comment with points": PLAIN.replace(
        b"</trkseg>", b'<!-- <trkpt lat="1" lon="1"><time>2020-01-01T00:00:00Z</time></trkpt> --></trkseg>'
    ),
    "a comment above": PLAIN.replace(b"<trk>", b'<!-- <trkpt lat="1" lon="1"></trkpt> --><trk>'),
    "literal text": PLAIN.replace(b"<trk>", b'<trk><name><![CDATA[<trkpt lat="1" lon="1"></trkpt>]]></name>'),
    "two segments": PLAIN.replace(b"<trkpt", b"</trkseg><trkseg><trkpt", 12).replace(b"<trkseg></trkseg>", b"", 1),
    "points outside": PLAIN.replace(b"</trkseg>", b"</trkseg>").replace(b"<trkseg>", b"", 1).replace(b"</trkseg>", b""),
    "the name of the mark": PLAIN.replace(b"<trk>", f"<trk><{MARK}/>".encode()),
    "other marks around values": PLAIN.replace(b'lat="', b"lat='")
    .replace(b'" lon="', b"' lon=\"")
    .replace(b"45.1", b"45.1"),
    "longitude first": PLAIN.replace(b"trkpt lat=", b"trkpt id='7' lon='1' lat=", 3),
    "blanks": PLAIN.replace(b"<trkpt ", b"<trkpt\n\t ")
    .replace(b"</ele>", b" </ele >\r\n")
    .replace(b"<time>", b"<time> "),
    "letters of the world": PLAIN.replace(b"<ele>", "<name>Straße</name><ele>".encode()),
    "not finite": PLAIN.replace(b"<ele>250.2</ele>", b"<ele>inf</ele>").replace(b"<q:speed>", b"<q:speed>x", 3),
    "an unknown prefix": PLAIN.replace(b"<ele>", b"<z:ele>").replace(b"</ele>", b"</z:ele>"),
    "times without zone": PLAIN.replace(b"Z</time>", b"</time>"),
    "times of many kinds": PLAIN.replace(b"0Z</time>", b"0.25Z</time>").replace(b"5Z</time>", b"5+02:00</time>"),
}


def _outcome(path):
    try:
        return read_track(path)
    except SpeedcalError as error:
        return error.code, error.line, {key: str(value) for key, value in error.values.items()}


def _both(path, monkeypatch):
    ours = _outcome(path)
    with monkeypatch.context() as patch:
        patch.setattr(gpx.PointPattern, "of", lambda *_: None)
        return ours, _outcome(path)


@pytest.mark.parametrize("name", FILES)
def test_a_pattern_reads_what_the_parser_reads(tmp_path, monkeypatch, name):
    path = tmp_path / "drive.gpx"
    path.write_bytes(FILES[name])
    ours, parsed = _both(path, monkeypatch)
    assert ours == parsed


@pytest.mark.parametrize("name", FILES)
def test_a_damaged_file_gives_what_the_parser_gives(tmp_path, monkeypatch, name):
    """The same track or the same error at the same line."""
    chance = random.Random(name)  # noqa: S311 - damage, no secrets
    path = tmp_path / "drive.gpx"
    for i in range(30):
        path.write_bytes(mutate(FILES[name], KINDS[i % len(KINDS)], chance) or b"<gpx/>")
        ours, parsed = _both(path, monkeypatch)
        assert ours == parsed


def test_most_points_are_read_by_the_pattern(tmp_path, monkeypatch):
    """Those of the usual forms never reach the parser."""
    for name in ("1.0", "1.1", "indented", "some without height", "a few extensions"):
        path = tmp_path / "drive.gpx"
        path.write_bytes(FILES[name])
        with monkeypatch.context() as patch:
            patch.setattr(Document, "_take_point", lambda *_: pytest.fail("a point went to the parser"))
            assert len(read_track(path)) >= 25


@pytest.mark.parametrize(
    "text",
    [
        *("2020-09-13T12:26:40Z", "2020-02-29T00:00:00.5Z", "1999-12-31T23:59:59.999999999Z", "2021-02-29T00:00:00Z"),
        *("2020-09-13T24:00:00Z", "2020-09-13T12:60:00Z", "2020-09-13T12:26:60Z", "2020-00-13T12:26:40Z"),
        *(
            "2020-09-13 12:26:40Z",
            "2020-09-13t12:26:40z",
            "2020-09-13T12:26:4xZ",
            "2020-09-13T12:26:40,5Z",
            "0000-00-00T00:00:00Z",
        ),
        *("2020-09-13T12:26:40+02:00", "", "now", "2020-09-13T12:26:40.Z", "2020/09/13T12:26:40Z"),
    ],
)
def test_instants_in_columns_are_those_read_one_by_one(text):
    """The general reader of times is the truth, which the standard library parses for."""
    usual = "2020-09-13T12:26:41Z"
    found = read_instants([usual.encode(), text.encode(), None, usual.encode()], parse_instant)
    expected = [parse_instant(usual), parse_instant(text), np.nan, parse_instant(usual)]
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6)


def test_a_fix_takes_two_hundred_bytes_beside_the_file(tmp_path):
    """With height and speed, beside two megabytes for any file."""
    path = tmp_path / "drive.gpx"
    path.write_bytes(gpx_11(small_drive(30_000)))
    source = load(path, TrackFormatError, certain_kind)
    tracemalloc.start()
    track = gpx.FORMAT.track(source, Request())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(track) == 30_000
    assert peak < 200 * len(track) + 2e6


@pytest.mark.benchmark
def test_a_million_fixes_with_height_and_speed_are_read(tmp_path):
    """In 200 bytes a fix beside the file."""
    path = tmp_path / "drive.gpx"
    drive = small_drive(1_000_000)
    around = (
        np.round(low + (values - low) % 0.5, 7)
        for low, values in ((45, drive.latitude_deg), (-94, drive.longitude_deg))
    )
    path.write_bytes(gpx_11(replace(drive, **dict(zip(("latitude_deg", "longitude_deg"), around, strict=True)))))
    script = """
import resource, sys
from speedcal.logs import read_track
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
track = read_track(sys.argv[1])
print(len(track), 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before))
"""
    done = subprocess.run([sys.executable, "-c", script, path], capture_output=True, text=True, check=True)
    fixes, peak = map(int, done.stdout.split())
    assert fixes == 1_000_000
    assert peak - path.stat().st_size < 200 * fixes
