"""The same drive, written as every kind of track, is read as the same drive."""

from __future__ import annotations

import numpy as np
import pytest
from support.logfiles import TRACKS, WITHOUT_HEIGHTS, fit, gpx_11, small_drive, zipped

from speedcal.errors import TrackFormatError
from speedcal.logs import read_track

DRIVE = small_drive()


@pytest.mark.parametrize("kind", TRACKS)
def test_every_kind_of_track_gives_the_fixes_that_were_written(kind, tmp_path):
    """Positions within the digits of the format (1e-7 degrees, NMEA 1e-5 minutes, FIT 2^31 semicircles)."""
    path = tmp_path / "drive.bin"  # the name says nothing: the content must
    path.write_bytes(TRACKS[kind](DRIVE))
    track = read_track(path)
    np.testing.assert_array_equal(track.time_s, DRIVE.time_s)
    np.testing.assert_allclose(track.latitude_deg, DRIVE.latitude_deg, rtol=0, atol=1.7e-7)
    np.testing.assert_allclose(track.longitude_deg, DRIVE.longitude_deg, rtol=0, atol=1.7e-7)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps, rtol=0, atol=0.0006)
    if kind not in WITHOUT_HEIGHTS:
        np.testing.assert_allclose(track.elevation_m, DRIVE.elevation_m, rtol=0, atol=0.11 if kind == "fit" else 1e-9)
    assert track.dropped == {}
    assert (track.segment == 0).all()
    assert track.has_date
    assert len(track.digest) == 64


@pytest.mark.parametrize("kind", TRACKS)
def test_a_byte_order_mark_or_an_other_name_does_not_change_the_kind(kind, tmp_path):
    """A table called drive.gpx is a table."""
    path = tmp_path / "wrong name.gpx"
    path.write_bytes(TRACKS[kind](DRIVE))
    plain = read_track(path)
    assert len(plain) == len(DRIVE.time_s)
    assert plain.source == "wrong name.gpx"


def test_an_archive_with_several_files_is_read_when_one_of_them_is_certainly_a_track(tmp_path):
    """A read-me beside the track does not disturb; two tracks are a question."""
    path = tmp_path / "drive.zip"
    path.write_bytes(
        zipped("a.gpx", gpx_11(DRIVE), **{"readme.txt": b"hello", "__MACOSX/a.gpx": b"x", ".hidden": b"y"})
    )
    assert len(read_track(path)) == len(DRIVE.time_s)
    path.write_bytes(zipped("a.gpx", gpx_11(DRIVE), **{"b.fit": fit(DRIVE)}))
    with pytest.raises(TrackFormatError, match=r"several files: 'a\.gpx', 'b\.fit'"):
        read_track(path)


def test_a_file_that_is_not_there_is_named(tmp_path):
    """The message carries the path and no traceback."""
    with pytest.raises(TrackFormatError, match=r"nowhere\.gpx: the file cannot be opened"):
        read_track(tmp_path / "nowhere.gpx")
    with pytest.raises(TrackFormatError, match="this is a folder, not a file"):
        read_track(tmp_path)
