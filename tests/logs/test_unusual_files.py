"""Files that name what they hold in an unusual place or way; each holds one drive of known times, places and speeds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError, TrackFormatError
from speedcal.logs import Track, read_readings, read_track
from speedcal.units import KMH_MPS, MPH_MPS

_N = 40
_DAY_S = 1_773_705_600
"""2026-03-17 UTC."""
_BEGIN_S = 14 * 3600
_DEGREE_M = 111_195.0
"""A degree of latitude on a sphere of 6,371 km; the tests ask for no more than a percent of it."""
_MPS = 10.0 + np.arange(_N) % 7
_NORTH = 47.0 + np.concatenate(([0.0], np.cumsum((_MPS[1:] + _MPS[:-1]) / 2))) / _DEGREE_M
_EAST = 8.5


def _lines(form: str) -> list[str]:
    """Return the form with each fix."""
    return [
        form.format(
            i=i,
            iso=f"2026-03-17T14:00:{i:02d}Z",
            day=f"2026-03-17 14:00:{i:02d}",
            clock=f"1400{i:02d}",
            at=_DAY_S + _BEGIN_S + i,
            lat=f"{north:.7f}",
            lon=_EAST,
            minutes=f"47{round((north - 47) * 60_000):05d}N00830000E",
            mps=mps,
            mms=round(mps * 1000),
            kmh=mps / KMH_MPS,
        )
        for i, (north, mps) in enumerate(zip(_NORTH, _MPS, strict=True))
    ]


def _track(tmp_path: Path, text: str) -> Track:
    path = tmp_path / "file"
    path.write_text(text, "utf-8")
    return read_track(path)


def _gpx(points: list[str]) -> str:
    return '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="x:y">' + "".join(points) + "</gpx>"


_POINT = '<{{tag}} lat="{lat}" lon="{lon}"><time>{iso}</time>{{inside}}</{{tag}}>'


_FEATURE = (
    '\x1e{{"type": "Feature", "properties": {{"time": "{iso}"}},'
    ' "geometry": {{"type": "Point", "coordinates": [{lon}, {lat}]}}}}'
)
_PLACEMARK = (
    "<Placemark><TimeSpan><begin>{iso}</begin></TimeSpan>"
    "<Point><coordinates>{lon},{lat}</coordinates></Point></Placemark>"
)


def _points(tag: str, inside: str = "") -> list[str]:
    return _lines(_POINT.replace("{{tag}}", tag).replace("{{inside}}", inside))


@pytest.mark.parametrize(
    ("text", "with_speed"),
    [
        (_gpx(_points("wpt")), False),
        (_gpx(["<rte>", *_points("rtept"), "</rte>"]), False),
        ("AXXX001\nHFDTE170326\n" + "\n".join(_lines("B{clock}{minutes}A0040000450")), False),
        ("AXXX001\nHFDTEDATE:170326,01\n" + "\n".join(_lines("B{clock}{minutes}V0040000000012")), False),
        ("\n".join(_lines("{day} N{lat} E{lon:.5f} {kmh:.2f}km/h")), True),
        (
            "\n\n".join(_lines("{i}\n00:00:{i:02d},000 --> 00:00:{i:02d},900\n{day} {lat} {lon:.5f} {kmh:.2f} km/h")),
            True,
        ),
        ("# time lat lon speed_mps\n" + "\n".join(_lines("{at:.12e} {lat} {lon:.8e} {mps:.8e}")), True),
        ("utc,lat,lon,ground speed [mm/s]\n" + "\n".join(_lines("{iso},{lat},{lon},{mms}")), True),
        ("utc,lat,lon,GPS speed (metres/second)\n" + "\n".join(_lines("{iso},{lat},{lon},{mps}")), True),
        ("tid;breddegrad;længdegrad;fart (km/t)\n" + "\n".join(_lines("{day};{lat};{lon};{kmh:.2f}")), True),
        ("utc,auto,lat,lon\n" + "\n".join(_lines("{iso},1,{lat},{lon}")).replace("0Z,1", "0Z,0"), False),
        ("\n".join(_lines(_FEATURE)), False),
        (
            '<kml xmlns="http://www.opengis.net/kml/2.2">' + "".join(_lines(_PLACEMARK)) + "</kml>",
            False,
        ),
    ],
)
def test_the_fixes_of_a_drive_are_found(tmp_path: Path, text: str, with_speed: bool) -> None:
    """All of them, at their times and places, with the speed where it stands there."""
    track = _track(tmp_path, text)
    assert len(track) == _N
    np.testing.assert_allclose(np.diff(track.time_s), 1.0, atol=1e-3)
    np.testing.assert_allclose(track.latitude_deg, _NORTH, atol=2e-5)
    np.testing.assert_allclose(track.longitude_deg, _EAST, atol=1e-9)
    if with_speed:
        np.testing.assert_allclose(track.speed_mps, _MPS, atol=0.005)
    else:
        assert np.isnan(track.speed_mps).all()


def test_a_day_of_igc_ends_at_midnight(tmp_path: Path) -> None:
    """The head names the day of the first fix only."""
    clocks = [f"{(86_390 + i) // 3600 % 24:02d}{(86_390 + i) // 60 % 60:02d}{(86_390 + i) % 60:02d}" for i in range(_N)]
    flown = [f"B{clock}{line[7:]}" for clock, line in zip(clocks, _lines("B{clock}{minutes}A0040000450"), strict=True)]
    track = _track(tmp_path, "HFDTE170326\n" + "\n".join(flown))
    np.testing.assert_allclose(track.time_s, _DAY_S + 86_390 + np.arange(_N), atol=1e-6)


@pytest.mark.parametrize(("name", "mps"), [("speed_kmh", KMH_MPS), ("gps_speed_mph", MPH_MPS), ("speed_mps", 1.0)])
def test_an_extension_that_names_its_unit_is_converted(tmp_path: Path, name: str, mps: float) -> None:
    """Whether the points are read by one pattern or by the parser, which a comment among them makes sure of."""
    for comment in ("", "<!-- -->"):
        inside = f"<extensions><x:{name}>{{mps}}</x:{name}></extensions>"
        points = _gpx(["<trk><trkseg>", *_points("trkpt", inside), comment, "</trkseg></trk>"])
        np.testing.assert_allclose(_track(tmp_path, points).speed_mps, _MPS * mps, rtol=1e-9)


def test_waypoints_now_and_then_are_no_drive(tmp_path: Path) -> None:
    """Nor is a plan that says when to arrive."""
    points = [point.replace("T14:00:", "T14:").replace("Z<", ":00Z<") for point in _points("wpt")]
    with pytest.raises(TrackFormatError):
        _track(tmp_path, _gpx(points))


@pytest.mark.parametrize("silent", [20, _N])
def test_a_speed_of_0_while_the_positions_go_on_is_none(tmp_path: Path, silent: int) -> None:
    """As loggers write it before the receiver tells a speed; where the vehicle stands it counts."""
    standing = _lines("{iso},47.0,{lon},0")
    told = [*_lines("{iso},{lat},{lon},0")[:silent], *_lines("{iso},{lat},{lon},{mps}")[silent:]]
    track = _track(tmp_path, "utc,lat,lon,gps m/s\n" + "\n".join(told))
    assert np.isnan(track.speed_mps[:silent]).all()
    np.testing.assert_allclose(track.speed_mps[silent:], _MPS[silent:], rtol=1e-9)
    assert "zero_speed_under_way" in {finding.code for finding in track.findings}
    assert (_track(tmp_path, "utc,lat,lon,gps m/s\n" + "\n".join(standing)).speed_mps == 0).all()


def test_the_time_of_a_fix_goes_before_that_of_the_server(tmp_path: Path) -> None:
    """The row came in 37 s later."""
    late = [f"2026-03-17T14:{(i + 37) // 60:02d}:{(i + 37) % 60:02d}Z" for i in range(_N)]
    rows = [f"{time},{row}" for time, row in zip(late, _lines("{iso},{lat},{lon}"), strict=True)]
    for names in ("server time,time,lat,lon\n", "received at time,fix_time,lat,lon\n"):
        track = _track(tmp_path, names + "\n".join(rows))
        np.testing.assert_allclose(track.time_s, _DAY_S + _BEGIN_S + np.arange(_N), atol=1e-6)


_SHOWN = (45, 52, 58, 60, 47, 33, 41, 55, 63, 38)


def _notes(tmp_path: Path, form: str) -> list[float]:
    path = tmp_path / "notes.txt"
    path.write_text("\n".join(form.format(n=i, v=v) for i, v in enumerate(_SHOWN)), "utf-8")
    readings = read_readings(path)
    np.testing.assert_allclose(readings.time_s - readings.time_s[0], 60.0 * np.arange(len(_SHOWN)), atol=1e-6)
    return [round(float(speed), 6) for speed in readings.speed_mps]


@pytest.mark.parametrize(
    "form",
    [
        "14:0{n}:10 exit 2{n} {v} mph",
        "14:0{n}:10 {v} mph on route 66",
        "14:0{n}:10 {v} mph (limit 55)",
        "14:0{n}:10 {v} mph in a 55 zone, 12 C outside",
        "Mar 17 14:0{n}:10 phone notes[123]: speedo {v} mph",
        "<14:0{n}:10> <sam> {v} mph",
        "14:0{n}:10 phone 42 mph, dial {v}",
    ],
)
def test_a_number_with_its_unit_is_the_speed_among_others_that_say_what_they_are(tmp_path: Path, form: str) -> None:
    """As on nearly every line of the file."""
    assert _notes(tmp_path, form) == [round(v * MPH_MPS, 6) for v in _SHOWN]


@pytest.mark.parametrize(
    "form",
    [
        "14:0{n}:10 set 42 mph shows {v}",
        "14:0{n}:10 55 mph sign, {v}",
        "14:0{n}:10 42 mph on the app, {v} here",
        "14:0{n}:10 42 mph, {v}",
        "14:0{n}:10 navi 42 mph tacho {v}",
        "14:0{n}:10 12 mph wind, {v}",
        "14:0{n}:10 45 or so {v} mph",
        "14:0{n}:10 about 45 no {v} mph",
    ],
)
def test_a_unit_behind_what_the_dial_did_not_show_decides_nothing(tmp_path: Path, form: str) -> None:
    """The other number may be the reading."""
    with pytest.raises(ReadingsFormatError):
        _notes(tmp_path, form)


@pytest.mark.parametrize(
    "unit", ["км/год", "公里/小时", "χλμ/ώρα", 'קמ"ש', "كم/س", "km/s", "km/hour", "kilometres per hour"]
)
def test_kilometers_an_hour_behind_each_speed(tmp_path: Path, unit: str) -> None:
    """In words of other languages; Turkish writes km/s for a saat, an hour."""
    assert _notes(tmp_path, f"14:0{{n}}:10 {{v}} {unit}") == [round(v * KMH_MPS, 6) for v in _SHOWN]


@pytest.mark.parametrize(
    "day", ["17. 3. 2026", "17. března 2026", "17 марта 2026", "17 Mart 2026", "2026. március 17."]
)
def test_a_date_of_another_country_dates_the_clock_beside_it(tmp_path: Path, day: str) -> None:
    """A date that nobody could read would be left out without a word."""
    path = tmp_path / "log.csv"
    path.write_text(
        "date;time;speedo km/h\n" + "\n".join(f"{day};14:0{i}:10;{v}" for i, v in enumerate(_SHOWN)), "utf-8"
    )
    readings = read_readings(path)
    assert readings.clock == "local"
    assert readings.time_s[0] == _DAY_S + _BEGIN_S + 10


def test_a_decimal_comma_in_a_number_with_an_exponent(tmp_path: Path) -> None:
    """Data acquisition writes so in many countries."""
    path = tmp_path / "log.txt"
    rows = [f"{i:.3E}\t{v:.3E}".replace(".", ",") for i, v in enumerate(_SHOWN)]
    path.write_text("Zeit [s]\tTacho [km/h]\n" + "\n".join(rows), "utf-8")
    readings = read_readings(path)
    np.testing.assert_allclose(readings.time_s, np.arange(len(_SHOWN)), atol=1e-9)
    np.testing.assert_allclose(readings.speed_mps, np.multiply(_SHOWN, KMH_MPS), rtol=1e-9)


def test_a_short_log_padded_with_nul_bytes_is_read(tmp_path: Path) -> None:
    """Its room was kept before it was written; the first 400 bytes of the file reach beyond its text."""
    path = tmp_path / "log.csv"
    path.write_bytes(
        ("time,speedo km/h\n" + "\n".join(f"14:0{i}:10,{v}" for i, v in enumerate(_SHOWN)) + "\n").encode()
        + bytes(4096)
    )
    np.testing.assert_allclose(read_readings(path).speed_mps, np.multiply(_SHOWN, KMH_MPS), rtol=1e-9)
