"""GPX: where loggers put the speed, what is no fix, what is written."""

from __future__ import annotations

import math

import gpxpy
import numpy as np
import pytest
from support.logfiles import gpx_11, small_drive

from speedcal.errors import TrackFormatError
from speedcal.logs import read_track
from speedcal.logs.formats.gpx import render_gpx


def _write(tmp_path, text):
    path = tmp_path / "drive.gpx"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _point(second, inside="", *, lat="45.1", lon="-93.2", time=None):
    stamp = f"2020-09-13T12:26:{second:02d}Z" if time is None else time
    return f'<trkpt lat="{lat}" lon="{lon}"><time>{stamp}</time>{inside}</trkpt>'


def _gpx(*points, version="1.1", root="gpx", spaces=""):
    body = "".join(points)
    inner = body if "<trk>" in body or "<trkseg>" in body else f"<trkseg>{body}</trkseg>"
    inner = inner if "<trk>" in body else f"<trk>{inner}</trk>"
    return f'<{root} version="{version}" creator="t" {spaces}>{inner}</{root}>'


@pytest.mark.published(
    "Garmin TrackPointExtension v2 schema: speed in metres per second; GPX 1.0 schema: speed element"
)
@pytest.mark.parametrize(
    ("inside", "version", "spaces"),
    [
        ("<speed>12.5</speed>", "1.0", 'xmlns="http://www.topografix.com/GPX/1/0"'),
        ("<speed>12.5</speed>", "1.1", 'xmlns="http://www.topografix.com/GPX/1/1"'),
        (
            "<extensions><ns3:TrackPointExtension><ns3:speed>12.5</ns3:speed></ns3:TrackPointExtension></extensions>",
            "1.1",
            'xmlns:ns3="http://www.garmin.com/xmlschemas/TrackPointExtension/v2"',
        ),
        (
            '<extensions><TrackPointExtension xmlns="http://www.garmin.com/xmlschemas/TrackPointExtension/v2">'
            "<hr>90</hr><speed>12.5</speed></TrackPointExtension></extensions>",
            "1.1",
            'xmlns="http://www.topografix.com/GPX/1/1"',
        ),
        (
            "<extensions><d:speed>12.5</d:speed></extensions>",
            "1.1",
            'xmlns:d="http://www.cluetrust.com/XML/GPXDATA/1/0"',
        ),
        ("<extensions><speed>12.5</speed></extensions>", "1.1", ""),
    ],
)
def test_recorded_speed_is_found_wherever_loggers_put_it(tmp_path, inside, version, spaces):
    """1.0 element, bare element in 1.1, extension of any prefix, default namespace, other extensions."""
    points = [_point(second, inside) for second in range(3)]
    track = read_track(_write(tmp_path, _gpx(*points, version=version, spaces=spaces)))
    np.testing.assert_array_equal(track.speed_mps, [12.5, 12.5, 12.5])
    assert track.kind == f"gpx_{version}".replace(".", "_")


def test_other_numbers_in_extensions_are_no_speed(tmp_path):
    """Heart rate, cadence and course stay out, and a file without speed has NaN."""
    inside = "<extensions><hr>90</hr><course>45</course><maxspeed>3</maxspeed></extensions>"
    track = read_track(_write(tmp_path, _gpx(_point(0, inside), _point(1, inside))))
    assert np.isnan(track.speed_mps).all()


def test_a_document_whose_elements_carry_a_prefix_is_read(tmp_path):
    """Alone, gpxpy finds no track in it."""
    text = (
        '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1" version="1.1"><g:trk><g:trkseg>'
        '<g:trkpt lat="1" lon="2"><g:time>2020-09-13T12:26:40Z</g:time></g:trkpt>'
        '<g:trkpt lat="1.001" lon="2"><g:time>2020-09-13T12:26:41Z</g:time></g:trkpt>'
        "</g:trkseg></g:trk></g:gpx>"
    )
    assert gpxpy.parse(text).tracks == []
    np.testing.assert_array_equal(read_track(_write(tmp_path, text)).latitude_deg, [1, 1.001])


@pytest.mark.parametrize(
    ("text", "seconds", "findings"),
    [
        ("2020-09-13T12:26:41Z", 1.0, []),
        ("2020-09-13T14:26:41+02:00", 1.0, []),
        ("2020-09-13T12:26:41.250Z", 1.25, []),
        (" 2020-09-13T12:26:41Z\n", 1.0, []),
        ("2020-09-13T12:26:41.1234567Z", 1.123456, []),
        ("2020-09-13T12:26:41", 1.0, ["time_without_zone"]),
    ],
)
def test_times_are_read_in_every_form_that_loggers_write(tmp_path, text, seconds, findings):
    """Zone, fraction, blanks around it, more digits than a microsecond, no zone (then UTC, with a finding)."""
    track = read_track(_write(tmp_path, _gpx(_point(40), _point(0, time=text), _point(50))))
    assert track.time_s[1] - track.time_s[0] == pytest.approx(seconds, abs=2e-6)
    assert [finding.code for finding in track.findings] == findings


@pytest.mark.parametrize(
    ("declared", "encoding"), [(None, "cp1252"), ("UTF-8", "cp1252"), ("UTF-16", "utf-8"), ("ISO-8859-1", "cp1252")]
)
@pytest.mark.parametrize("mark", [".", ","])
def test_letters_and_decimals_of_a_country_cost_no_fix(tmp_path, declared, encoding, mark):
    """A name in another encoding than the file promises was refused; so was 45,1 for 45.1."""
    head = f'<?xml version="1.0" encoding="{declared}"?>' if declared else ""
    points = (_point(i, lat=f"45{mark}{100 + i}", lon=f"9{mark}5") for i in range(3))
    path = tmp_path / "drive.gpx"
    path.write_bytes((head + _gpx("<!-- Stra\xdfe -->", *points)).encode(encoding))
    track = read_track(path)
    np.testing.assert_allclose(track.latitude_deg, [45.1, 45.101, 45.102])
    np.testing.assert_allclose(track.longitude_deg, 9.5)


def test_what_cannot_be_a_fix_is_left_out_and_counted(tmp_path):
    """NaN, infinite and off-globe positions, missing and unreadable times, 1970, 2099, zero-zero."""
    points = [
        _point(0),
        _point(1, lat="nan"),
        _point(2, lat="91"),
        _point(3, lon="-180.5"),
        _point(4, lat="inf"),
        _point(5, lat="4x.1"),
        _point(6, lat="0", lon="0.0"),
        _point(7, time=""),
        _point(8, time="yesterday"),
        _point(9, time="2020-13-45T00:00:00Z"),
        _point(10, time="1970-01-01T00:00:05Z"),
        _point(11, time="2099-01-01T00:00:05Z"),
        _point(12),
    ]
    track = read_track(_write(tmp_path, _gpx(*points)))
    assert len(track) == 2
    assert track.dropped == {"impossible_date": 2, "time_missing": 3, "no_position": 5, "no_position_yet": 1}


def test_a_point_on_the_equator_or_the_meridian_is_a_fix(tmp_path):
    """Only both at exactly zero mean that there was no position yet."""
    track = read_track(_write(tmp_path, _gpx(_point(0, lat="0"), _point(1, lon="0"))))
    assert len(track) == 2


def test_repeated_and_backward_times_are_left_out_and_a_leap_ahead_costs_one_fix(tmp_path):
    """0 1 1 2 [59] 3 4 [2] 5: the repeated, the leap and the one that runs back go."""
    seconds = (0, 1, 1, 2, 59, 3, 4, 2, 5)
    track = read_track(_write(tmp_path, _gpx(*(_point(s, lat=f"45.{i}") for i, s in enumerate(seconds)))))
    np.testing.assert_array_equal(track.time_s - track.time_s[0], [0, 1, 2, 3, 4, 5])
    assert track.dropped == {"backward_time": 2, "repeated_time": 1}


def test_every_stamp_twice_keeps_one_fix_a_stamp(tmp_path):
    """A logger that writes each second twice."""
    track = read_track(_write(tmp_path, _gpx(*(_point(s // 2) for s in range(20)))))
    assert len(track) == 10
    assert track.dropped == {"repeated_time": 10}


def test_tracks_and_segments_are_pieces_and_come_in_order_of_time(tmp_path):
    """The second track was recorded first; nothing may be interpolated across a piece."""
    late = f"<trk><trkseg>{_point(30)}{_point(31)}</trkseg><trkseg>{_point(33)}{_point(34)}</trkseg></trk>"
    early = f"<trk><trkseg>{_point(10)}{_point(11)}</trkseg></trk>"
    track = read_track(_write(tmp_path, _gpx(late, early)))
    np.testing.assert_array_equal(track.segment, [0, 0, 1, 1, 2, 2])
    np.testing.assert_array_equal(track.time_s - track.time_s[0], [0, 1, 20, 21, 23, 24])


def test_a_drive_stored_twice_is_read_once(tmp_path):
    """The thinned copy that some programs add covers the same time and is left out."""
    full = f"<trk><trkseg>{''.join(_point(s) for s in range(30))}</trkseg></trk>"
    thin = f"<trk><trkseg>{''.join(_point(s) for s in range(0, 30, 5))}</trkseg></trk>"
    track = read_track(_write(tmp_path, _gpx(thin, full)))
    assert len(track) == 30
    assert track.dropped == {"time_covered": 6}


def test_a_piece_within_the_gap_of_another_is_in_order(tmp_path):
    """The last piece waits from 10 to 40 s, while the first, longer one was recorded."""
    inner = f"<trk><trkseg>{''.join(_point(s) for s in range(12, 36))}</trkseg></trk>"
    outer = f"<trk><trkseg>{''.join(_point(s) for s in (*range(10), *range(40, 50)))}</trkseg></trk>"
    track = read_track(_write(tmp_path, _gpx(inner, outer)))
    np.testing.assert_array_equal(track.time_s - track.time_s[0], [*range(10), *range(12, 36), *range(40, 50)])
    np.testing.assert_array_equal(track.segment, np.repeat([0, 1, 2], [10, 24, 10]))
    assert track.dropped == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (_gpx(), "the track has no usable fix"),
        (_gpx(_point(0)), "the track has one usable fix only"),
        ('<gpx version="1.1"><rte><rtept lat="1" lon="2"/></rte></gpx>', "planned route"),
        ('<gpx version="1.1"><trk><trkpt lat="1" lon="2"/></trk></gpx>', "outside a track segment"),
        (_gpx(_point(0), _point(1))[:-20], r"drive\.gpx:1: the XML is damaged"),
        ('<svg xmlns="http://www.w3.org/2000/svg"/>', "kind of file is not supported"),
    ],
)
def test_a_file_without_a_drive_is_refused_with_the_reason(tmp_path, text, message):
    """One sentence that says what was found."""
    with pytest.raises(TrackFormatError, match=message):
        read_track(_write(tmp_path, text))


def test_negative_speeds_count_as_missing_and_are_mentioned(tmp_path):
    """Phones write -1 where they have no speed."""
    track = read_track(_write(tmp_path, _gpx(_point(0, "<speed>-1</speed>"), _point(1, "<speed>3</speed>"))))
    assert math.isnan(track.speed_mps[0])
    assert track.findings[0].code == "negative_speed"


def test_a_written_track_reads_back_as_it_was(tmp_path):
    """Writing through gpxpy and reading again loses nothing beyond the digits written."""
    first = read_track(_write(tmp_path, gpx_11(small_drive())))
    again = read_track(_write(tmp_path, render_gpx(first)))
    for name in ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment"):
        np.testing.assert_allclose(getattr(again, name), getattr(first, name), rtol=0, atol=1e-9)
