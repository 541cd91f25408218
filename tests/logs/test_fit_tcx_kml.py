"""FIT against fitdecode, TCX and KML against their specifications."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import fitdecode
import numpy as np
import pytest
from support.logfiles import fit, fit_of_camera, fit_with_sensor, kml, small_drive, tcx

from speedcal.errors import ReadingsFormatError, TrackFormatError
from speedcal.logs import read_readings, read_track

DRIVE = small_drive()


def _read(tmp_path, data):
    path = tmp_path / "activity"
    path.write_bytes(data)
    return read_track(path)


def test_fit_records_are_those_that_fitdecode_yields(tmp_path):
    """Positions in semicircles times 180 / 2^31, speed in m/s, time from the decoder."""
    data = fit(DRIVE)
    track = _read(tmp_path, data)
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        records = [frame for frame in reader if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record"]
    np.testing.assert_array_equal(track.time_s, [record.get_value("timestamp").timestamp() for record in records])
    np.testing.assert_allclose(
        track.latitude_deg, [record.get_value("position_lat") * 180 / 2**31 for record in records], rtol=1e-15
    )
    np.testing.assert_array_equal(track.speed_mps, [record.get_value("enhanced_speed") for record in records])
    assert track.findings == ()


def test_a_fit_file_that_was_cut_off_gives_the_records_before_the_cut(tmp_path):
    """One record has 17 bytes: header, time, two angles, height, speed."""
    data = fit(DRIVE)
    track = _read(tmp_path, data[: len(data) - 2 - 5 * 17 - 3])
    assert len(track) == len(DRIVE.time_s) - 6
    assert [finding.code for finding in track.findings] == ["cut_off"]


def test_a_fit_file_with_a_wrong_checksum_is_read_and_the_damage_is_mentioned(tmp_path):
    """The positions may be wrong: the finding says so."""
    data = bytearray(fit(DRIVE))
    data[-1] ^= 0xFF
    track = _read(tmp_path, bytes(data))
    assert len(track) == len(DRIVE.time_s)
    assert [finding.code for finding in track.findings] == ["wrong_checksum"]


def test_fit_records_without_a_position_are_no_fixes(tmp_path):
    """0x7FFFFFFF is the protocol's mark for no value."""
    data = bytearray(fit(DRIVE))
    first = 14 + 6 + 5 * 3  # file header, definition header, five fields
    struct.pack_into("<ii", data, first + 5, 0x7FFFFFFF, 0x7FFFFFFF)
    track = _read(tmp_path, bytes(data))
    assert track.dropped == {"no_position": 1}


@pytest.mark.published("FIT profile: gps_metadata (160) has system time, timestamp_correlation (162) its UTC")
@pytest.mark.parametrize("clock_s", [68.609, 4_000.0, 86_399.9])
def test_the_fixes_of_a_camera_are_read_with_the_utc_of_its_clock(tmp_path, clock_s):
    """To the thousandth of a second, whatever the camera had on its clock; its heights are none."""
    moved = replace(DRIVE, time_s=DRIVE.time_s + 0.4)
    track = _read(tmp_path, fit_of_camera(moved, clock_s=clock_s))
    np.testing.assert_allclose(track.time_s, moved.time_s, atol=0.0011)
    np.testing.assert_allclose(track.latitude_deg, DRIVE.latitude_deg, atol=1e-7)
    np.testing.assert_allclose(track.longitude_deg, DRIVE.longitude_deg, atol=1e-7)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps, atol=6e-4)
    assert np.isnan(track.elevation_m).all()


def test_a_camera_that_does_not_tie_its_clock_to_utc_has_whole_seconds(tmp_path):
    """Those that it writes beside each fix."""
    track = _read(tmp_path, fit_of_camera(DRIVE, clock_s=68.609, correlated=False))
    np.testing.assert_array_equal(track.time_s, np.floor(DRIVE.time_s))


@pytest.mark.parametrize("size", [12, 13, 14, 20, 40])
def test_the_head_of_a_fit_file_alone_is_refused(tmp_path, size):
    """No record was read, so nothing can be used."""
    with pytest.raises(TrackFormatError, match=r"cannot be read as FIT|the track has no usable fix"):
        _read(tmp_path, fit(DRIVE)[:size])


@pytest.mark.published("Garmin ActivityExtension v2 schema: Speed in metres per second")
def test_tcx_speed_comes_from_the_activity_extension(tmp_path):
    """And every Track element is a piece."""
    data = tcx(DRIVE).replace(b"</Trackpoint>\n<Trackpoint>", b"</Trackpoint></Track><Track>\n<Trackpoint>", 1)
    track = _read(tmp_path, data)
    np.testing.assert_array_equal(track.speed_mps, DRIVE.speed_mps)
    assert track.segment[0] == 0
    assert (track.segment[1:] == 1).all()


def test_tcx_points_without_a_position_are_left_out(tmp_path):
    """A heart rate alone is no fix."""
    data = tcx(DRIVE)
    start = data.index(b"<Position>")
    end = data.index(b"</Position>") + len(b"</Position>")
    track = _read(tmp_path, data[:start] + data[end:])
    assert track.dropped == {"no_position": 1}


@pytest.mark.published("OGC KML 2.3 (12-007r2), Track: coord elements hold longitude latitude altitude")
def test_kml_coordinates_are_longitude_first(tmp_path):
    """By hand: the drive lies at 45 north, 93 west."""
    track = _read(tmp_path, kml(DRIVE))
    assert 45 < track.latitude_deg[0] < 46
    assert -94 < track.longitude_deg[0] < -93
    assert [finding.code for finding in track.findings] == ["speed_unit_assumed"]


def test_kml_with_fewer_times_than_positions_is_refused(tmp_path):
    """Which position has lost its time cannot be known."""
    data = kml(DRIVE)
    start = data.index(b"<when>")
    end = data.index(b"</when>") + len(b"</when>")
    with pytest.raises(TrackFormatError, match="39 times for 40 positions"):
        _read(tmp_path, data[:start] + data[end:])


def test_kml_with_shapes_only_is_refused(tmp_path):
    """A line on a map carries no times."""
    text = (
        b'<kml xmlns="http://www.opengis.net/kml/2.2"><LineString><coordinates>1,2 3,4</coordinates></LineString></kml>'
    )
    with pytest.raises(TrackFormatError, match="positions without times"):
        _read(tmp_path, text)


def test_tcx_points_outside_a_track_are_not_lost_without_a_word(tmp_path):
    """A file somebody cut and pasted."""
    data = tcx(DRIVE).replace(b"<Track>", b"").replace(b"</Trackpoint>\n", b"</Trackpoint>\n<Track>", 1)
    with pytest.raises(TrackFormatError, match="1 track point is outside a track"):
        _read(tmp_path, data)


def _write(tmp_path, data):
    path = tmp_path / "activity.fit"
    path.write_bytes(data)
    return path


def test_the_speed_of_a_wheel_sensor_is_an_instrument_and_never_the_truth(tmp_path):
    """The records hold it in place of the receiver's speed."""
    path = _write(tmp_path, fit_with_sensor(DRIVE, wheel=True))
    track, readings = read_track(path), read_readings(path)
    assert np.isnan(track.speed_mps).all()
    assert [finding.code for finding in track.findings] == ["speed_not_of_receiver"]
    np.testing.assert_allclose(readings.speed_mps, 0.97 * DRIVE.speed_mps, atol=6e-4)
    np.testing.assert_array_equal(readings.time_s, DRIVE.time_s)
    assert (readings.clock, readings.kind) == ("gps", "fit_wheel")


def test_without_a_sensor_the_speed_of_the_records_is_the_receivers(tmp_path):
    """Then there is no instrument in the file, and that is said."""
    path = _write(tmp_path, fit_with_sensor(DRIVE, wheel=False))
    np.testing.assert_allclose(read_track(path).speed_mps, DRIVE.speed_mps, atol=6e-4)
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path)
    assert caught.value.code == "no_wheel_sensor"


@pytest.mark.parametrize(
    ("name", "unit", "factor", "given"),
    [
        ("wheel_speed", "km/h", 1 / 3.6, None),
        ("Speed", "mph", 0.44704, None),
        ("dash speed", "", 0.44704, "mph"),
        ("vehicle_speed_kmh", "", 1 / 3.6, None),
    ],
)
def test_a_developer_field_with_a_speed_is_an_instrument(tmp_path, name, unit, factor, given):
    """In the unit of the field, of its name, or of the user."""
    path = _write(tmp_path, fit_with_sensor(DRIVE, wheel=False, fields=((name, unit, factor),)))
    readings = read_readings(path, unit=given)
    np.testing.assert_allclose(readings.speed_mps, 0.95 * DRIVE.speed_mps, rtol=1e-6)
    np.testing.assert_allclose(read_track(path).speed_mps, DRIVE.speed_mps, atol=6e-4)
    if not unit and given:
        with pytest.raises(ReadingsFormatError) as caught:
            read_readings(path)
        assert caught.value.code == "column_without_unit"


def test_of_several_speeds_in_one_file_it_is_asked_and_the_answer_taken(tmp_path):
    fields = (("front wheel speed", "km/h", 1 / 3.6), ("rear wheel speed", "km/h", 1 / 3.6))
    path = _write(tmp_path, fit_with_sensor(DRIVE, wheel=True, fields=fields))
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path)
    assert caught.value.code == "several_speed_columns"
    readings = read_readings(path, column="rear wheel speed")
    np.testing.assert_allclose(readings.speed_mps, 0.95 * DRIVE.speed_mps, rtol=1e-6)
    assert read_readings(path, column="speed").kind == "fit_wheel"
