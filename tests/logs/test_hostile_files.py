"""Files made to hurt are refused in bounded time and memory with one clear message."""

from __future__ import annotations

import gzip
import re
import subprocess
import sys

import pytest
from support.logfiles import gpx_11, readings_table, small_drive, zipped

from speedcal.errors import ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.logs import limits, read_readings, read_track

BOMB = '<!DOCTYPE g [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {name} "{f"&{of};" * 10}">' for of, name in zip("abcdefgh", "bcdefghi", strict=True)
)
EXTERNAL = '<!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx><trk><name>&x;</name></trk></gpx>'


def _refused(tmp_path, data, name="file"):
    """Return the messages with which the file is refused as track and as readings."""
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    messages = []
    for read, error in ((read_track, TrackFormatError), (read_readings, ReadingsFormatError)):
        with pytest.raises(error) as caught:
            read(path)
        messages.append(str(caught.value))
        assert len(messages[-1]) < 5000
    return messages


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (BOMB + "]><gpx><trk><name>&i;</name></trk></gpx>", "DOCTYPE"),
        (EXTERNAL, "DOCTYPE"),
        (EXTERNAL.replace("gpx", "kml"), "DOCTYPE"),
        (EXTERNAL.replace("gpx", "TrainingCenterDatabase"), "DOCTYPE"),
        ('<?xml version="1.0"?><!DOCTYPE gpx><gpx version="1.1"/>', "DOCTYPE"),
        ("<gpx>&undefined;</gpx>", "undefined entity|XML is damaged"),
        ("<gpx>" + "<trk>" * 200_000, "nested more than|damaged"),
        ('<gpx version="1.1"><trk><trkseg><trkpt lat="1" lon="2" ' + 'a="' + "x" * 3_000_000, "XML is damaged"),
        ("<gpx " + "xmlns:" * 300_000 + ">", "XML is damaged"),
        ("<gpx>" + "</gpx>" * 1_500 + "<gpx>" * 1_500 + "<", "XML is damaged"),
        ("<gpx></gpx>\n\n<gpx>\n<trk></gpx></trk>\n</gpx>", ":3: the XML is damaged"),
        (b'<?xml version="1.0" encoding="utf-7"?><gpx/>', "utf-7"),
        (b'<?xml version="1.0" encoding="no-such"?><gpx/>', "not valid NO-SUCH"),
        (b"\xff\xfe<\x00g\x00p\x00x\x00>", "not valid UTF-16-LE"),
        (b"time,mph,lat,lon\n10:32:05,4\x005,1,2\n", "NUL"),
        ("time,mph" + ",x" * 40_000 + "\n10:32:05,45\n", "columns"),
        ("time,mph,lat,lon\n10:32:05,45,1,2" + "," * 90_000, "columns"),
        ("a," * 1_000_000, "characters"),
        (b"\x00" * 1000, "not supported"),
        (bytes(range(256)) * 40, "not supported"),
        (b"\x1f\x8b" + b"x" * 100, "cannot be read as a gzip file"),
        (b"PK\x03\x04" + b"x" * 100, "zip archive"),
        (b"\x0e\x10\x00\x00\xff\xff\xff\x7f.FIT" + b"\x00" * 50, "FIT"),
        (b"\xd0\xcf\x11\xe0" + b"\x00" * 100, r"old spreadsheet|not supported"),
    ],
)
def test_what_no_recording_holds_is_refused(tmp_path, data, message):
    """Whichever it was given as."""
    track, readings = _refused(tmp_path, data)
    assert re.search(message, track) or re.search("FIT|track", readings)
    assert re.search(message, track + readings)


def test_a_zip_bomb_is_refused_by_what_it_says_and_by_what_it_holds(tmp_path, monkeypatch):
    """Sizes in the directory of an archive may lie, so reading stops at the limit as well."""
    monkeypatch.setattr(limits, "MAX_BYTES", 1_000_000)
    big = b"0" * 1_000_001
    assert "unpacks to is larger than" in _refused(tmp_path, zipped("a.gpx", big))[0]
    assert "unpacks to is larger than" in _refused(tmp_path, gzip.compress(big))[0]
    data = bytearray(zipped("a.gpx", big))
    central = data.rindex(b"PK\x01\x02")
    data[central + 24 : central + 28] = (10).to_bytes(4, "little")
    _refused(tmp_path, bytes(data))
    exactly = gzip.compress(gpx_11(small_drive()).ljust(1_000_000))
    path = tmp_path / "drive.gpx.gz"
    path.write_bytes(exactly)
    assert len(read_track(path)) == 40


def test_an_archive_of_very_many_files_is_refused(tmp_path):
    """Nobody looks through two hundred logs."""
    many = {f"{i}.gpx": b"" for i in range(limits.MAX_MEMBERS)}
    assert "201 files" in _refused(tmp_path, zipped("a.gpx", b"x", **many))[0]


def test_a_file_larger_than_the_limit_is_not_read_to_its_end(tmp_path, monkeypatch):
    """One byte too many is enough."""
    monkeypatch.setattr(limits, "MAX_BYTES", 1000)
    assert "larger than" in _refused(tmp_path, b"x" * 1001)[0]


@pytest.mark.parametrize(("name", "value"), [("MAX_POINTS", 39), ("MAX_XML_ELEMENTS", 100), ("MAX_TREE_ELEMENTS", 1)])
def test_the_limits_of_a_track_hold_at_their_edge(tmp_path, monkeypatch, name, value):
    """The drive has 40 fixes, more than 100 elements, more than one beside its points."""
    path = tmp_path / "drive.gpx"
    path.write_bytes(gpx_11(small_drive()))
    assert len(read_track(path)) == 40
    monkeypatch.setattr(limits, name, value)
    with pytest.raises(TrackFormatError, match="more than"):
        read_track(path)


@pytest.mark.parametrize(
    ("name", "edge"), [("MAX_POINTS", 40), ("MAX_COLUMNS", 2), ("MAX_CELLS", 82), ("MAX_LINE", 23)]
)
def test_the_limits_of_a_table_hold_at_their_edge(tmp_path, monkeypatch, name, edge):
    """40 rows and a header of 2 cells, the longest of 23 characters."""
    path = tmp_path / "readings.csv"
    path.write_bytes(readings_table(small_drive()))
    monkeypatch.setattr(limits, name, edge)
    assert len(read_readings(path)) == 40
    monkeypatch.setattr(limits, name, edge - 1)
    with pytest.raises(ReadingsFormatError):
        read_readings(path)


def test_spreadsheets_are_bounded_and_refuse_declarations(tmp_path):
    """A million repeated cells in one element; an entity in the XML of a sheet."""
    head = '<x:c xmlns:x="x" xmlns:t="t"><t:table><t:table-row><t:table-cell t:number-columns-repeated="1000000000">'
    content = f"{head}<p>1</p></t:table-cell></t:table-row></t:table></x:c>".encode()
    archive = zipped("mimetype", b"application/vnd.oasis.opendocument.spreadsheet", **{"content.xml": content})
    _refused(tmp_path, archive)
    archive = zipped("xl/workbook.xml", b'<!DOCTYPE w [<!ENTITY a "b">]><workbook/>')
    assert "DOCTYPE" in _refused(tmp_path, archive)[0]


def test_dates_of_1970_and_2099_are_refused(tmp_path):
    """A drive whose every date is impossible has no fix left."""
    for year in (b"1970", b"2099"):
        path = tmp_path / "drive.gpx"
        path.write_bytes(gpx_11(small_drive()).replace(b"2020-", year + b"-"))
        with pytest.raises(TrackFormatError, match="impossible date: 40"):
            read_track(path)


WORST = {
    "nesting": 'b"<gpx>" + b"<trk>" * 12_000_000',
    "elements": 'b"<gpx><trk><trkseg>" + b"<trkpt/>" * 7_500_000',
    "commas": 'b"time,mph\\n" + (b"," * 999 + b"\\n") * 60_000',
    "lines": 'b"time,mph\\n" + b"1,2\\n" * 15_000_000',
    "digits": 'b"time,mph\\n" + b"9" * 60_000_000',
    "namespaces": 'b"<gpx>" + b" xmlns" * 10_000_000',
}
USUAL = ("elements", "commas")
"""One of the XML and one of the tables every time, the rest on request."""


@pytest.mark.parametrize(
    "name", [name if name in USUAL else pytest.param(name, marks=pytest.mark.benchmark) for name in WORST]
)
def test_sixty_megabytes_of_the_worst_stay_within_seconds_and_a_gigabyte(tmp_path, name):
    """In a process of its own, whose peak of memory is measured."""
    script = f"""
import resource, sys, time
from speedcal.errors import SpeedcalError
from speedcal.logs import read_track
path = sys.argv[1]
with open(path, "wb") as stream:
    stream.write({WORST[name]})
start = time.process_time()
try:
    read_track(path)
except SpeedcalError as error:
    print(time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, str(error)[:200])
"""
    run = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "file")], capture_output=True, text=True, timeout=120, check=True
    )
    seconds, megabytes, message = run.stdout.split(maxsplit=2)
    assert float(seconds) < 20
    assert int(megabytes) < 1000
    assert message.startswith("file:")


def test_a_message_never_carries_control_characters_of_the_file(tmp_path):
    """Terminals obey them."""
    for message in _refused(tmp_path, "time,mph\n\x1b[2Jsoon,45\n10:32:05,\x1b]0;x\x07\n"):
        assert "\x1b" not in message


def test_every_refusal_is_one_of_our_errors():
    """Both errors share one parent."""
    assert issubclass(TrackFormatError, SpeedcalError)
    assert issubclass(ReadingsFormatError, SpeedcalError)


ONCE_QUADRATIC = {
    "comment": b'<gpx version="1.1"><!--' + b"x> " * 5_000_000,
    "attributes": b'<gpx version="1.1" ' + b" ".join(b'a%d="1"' % i for i in range(150_000)) + b"></gpx>",
    "numbers in titles": (b"1" * 490 + b" :\n") * 6_000,
    "spaces in titles": (b" " * 490 + b"x\n") * 25_000,
    "open cells": b"<table><tr><td>" + b"<td" * 3_000_000,
    "open comments": b"<table>" + b"<!--" * 200_000 + b"<tr>" * 200_000,
    "a wide row above narrow ones": b"time,speed mph" + b",a" * 900 + b"\n" + b"1,x\n" * 30_000,
}


def test_cost_grows_no_faster_than_the_file(tmp_path):
    """A comment without end, a tag of attributes, titles without end, a wide row: each was quadratic once.

    Each has ten seconds and a gigabyte, in a process that does nothing else.
    """
    script = """
import resource, sys
from speedcal.cli import main
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
for path in sys.argv[1:]:
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = int(used.ru_utime + used.ru_stime) + 11
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, resource.RLIM_INFINITY))
    try:
        main(["inspect", path])
    except SystemExit as ended:
        sys.stderr.write(f"status {ended.code}\\n\\0")
"""
    for name, data in ONCE_QUADRATIC.items():
        (tmp_path / name).write_bytes(data)
    command = [sys.executable, "-c", script, *ONCE_QUADRATIC]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    told = dict(zip(ONCE_QUADRATIC, done.stderr.split("\0")[:-1], strict=False))
    assert done.returncode == 0, f"ended after {list(told)}: {done.stderr[-500:]}"
    for name, words in told.items():
        assert words.endswith("status 2\n"), words[-500:]
        assert words.startswith(f"speedcal: {name}"), words[:500]
        assert len(words) < 5000
    assert list(told) == list(ONCE_QUADRATIC)
