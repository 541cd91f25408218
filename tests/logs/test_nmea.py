"""NMEA 0183 against pynmea2, published sentences and hand arithmetic."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pynmea2
import pytest
from support.logfiles import nmea, sentence, small_drive

from speedcal.errors import TrackFormatError
from speedcal.logs import read_track
from speedcal.logs.formats.nmea import checksum_of

KNOT_MPS = 1852 / 3600
PLACE = "4121.23302,N,00201.31654,W"


def _read(tmp_path, *lines):
    path = tmp_path / "receiver.log"
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return read_track(path)


def _rmc(clock, *, knots="10.0", date="200417", status="A", mode="A", place=PLACE, talker="GP"):
    return sentence(f"{talker}RMC,{clock},{status},{place},{knots},,{date},,,{mode}")


def _gga(clock, *, quality=1, place=PLACE, height="120.5"):
    return sentence(f"GPGGA,{clock},{place},{quality},09,0.9,{height},M,-30.0,M,,")


@pytest.mark.published("gpsd NMEA documentation, VTG and RMC examples")
@pytest.mark.parametrize(
    "line",
    [
        "$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B",
        "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
        "$GPVTG,359.95,T,,M,15.15,N,28.0,K,A*04",
        "$GPVTG,208.02,T,,M,0.32,N,0.59,K,A*38",
        "$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43",
        "$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703,,200417,,,A*61",
    ],
)
def test_the_checksums_of_published_sentences_are_reproduced(line):
    """Exclusive or of the characters between dollar sign and star."""
    body, _, checksum = line[1:].partition("*")
    assert f"{checksum_of(body):02X}" == checksum


def test_positions_and_speeds_are_those_that_pynmea2_reads(tmp_path):
    """The independent reading takes RMC sentence by sentence; VTG carries a finer speed, so it is left out here."""
    lines = [line for line in nmea(small_drive()).decode().split("\r\n") if "VTG" not in line]
    track = _read(tmp_path, *lines)
    parsed = [pynmea2.parse(line) for line in lines if "RMC" in line]
    np.testing.assert_allclose(track.latitude_deg, [m.latitude for m in parsed], rtol=0, atol=1e-10)
    np.testing.assert_allclose(track.longitude_deg, [m.longitude for m in parsed], rtol=0, atol=1e-10)
    np.testing.assert_allclose(track.speed_mps, [m.spd_over_grnd * KNOT_MPS for m in parsed], rtol=1e-12)
    times = [datetime.combine(m.datestamp, m.timestamp, UTC).timestamp() for m in parsed]
    np.testing.assert_array_equal(track.time_s, times)
    heights = [pynmea2.parse(line).altitude for line in lines if "GGA" in line]
    np.testing.assert_array_equal(track.elevation_m, heights)


def test_an_rmc_sentence_is_read_as_the_standard_says(tmp_path):
    """By hand: 41 deg 21.23302 min = 41.35388367 deg, 2 deg 1.31654 min west, 2.703 kn = 1.39054 m/s."""
    line = "$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703,,200417,,,A*61"
    track = _read(tmp_path, line, _rmc("170048.00"))
    assert track.latitude_deg[0] == pytest.approx(41.353883667, abs=1e-9)
    assert track.longitude_deg[0] == pytest.approx(-2.021942333, abs=1e-9)
    assert track.speed_mps[0] == pytest.approx(1.390543333, abs=1e-9)
    assert track.time_s[0] == datetime(2017, 4, 20, 17, 0, 47, tzinfo=UTC).timestamp()


@pytest.mark.published("gpsd NMEA documentation, VTG examples whose two speeds differ in the last digit")
def test_the_finer_of_the_two_speeds_is_taken(tmp_path):
    """4.724 km/h is finer than 2.550 kn; 15.15 kn is finer than 28.0 km/h (0.28 against 0.5 mm/s, 5 against 28)."""
    track = _read(
        tmp_path,
        _rmc("170047.00", knots="2.6"),
        "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
        _rmc("170048.00", knots="15.2"),
        "$GPVTG,359.95,T,,M,15.15,N,28.0,K,A*04",
    )
    np.testing.assert_allclose(track.speed_mps, [4.724 / 3.6, 15.15 * KNOT_MPS], rtol=1e-12)


def test_a_course_sentence_that_comes_first_belongs_to_the_epoch_after_it(tmp_path):
    """The speeds of RMC tell: 1 kn more every second, VTG before its RMC."""
    lines = []
    for second in range(30):
        knots = 10 + second
        lines += [
            sentence(f"GPVTG,,T,,M,{knots}.000,N,{knots * 1.852:.4f},K,A"),
            _rmc(f"1200{second:02d}", knots=f"{knots}.0"),
        ]
    track = _read(tmp_path, *lines)
    np.testing.assert_allclose(track.speed_mps, (10 + np.arange(30)) * KNOT_MPS, rtol=1e-4)


def test_midnight_brings_the_next_day(tmp_path):
    """The date changes with RMC, or by counting on when only GGA follows."""
    track = _read(tmp_path, _rmc("235959"), _gga("000000"), _gga("000001"), _rmc("000002", date="210417"))
    np.testing.assert_array_equal(np.diff(track.time_s), [1, 1, 1])


def test_fixes_before_the_first_date_get_it_afterwards(tmp_path):
    """GGA from before midnight, the first RMC after it."""
    track = _read(tmp_path, _gga("235958"), _gga("235959"), _rmc("000000", date="210417"))
    assert track.time_s[0] == datetime(2017, 4, 20, 23, 59, 58, tzinfo=UTC).timestamp()
    np.testing.assert_array_equal(np.diff(track.time_s), [1, 1])


def test_a_log_without_any_date_has_times_of_day_that_run_on_past_midnight(tmp_path):
    """It starts on 2000-01-01 and says so."""
    track = _read(tmp_path, _gga("235959"), _gga("000000"), _gga("000001"))
    assert not track.has_date
    assert track.time_s[0] == datetime(2000, 1, 1, 23, 59, 59, tzinfo=UTC).timestamp()
    np.testing.assert_array_equal(np.diff(track.time_s), [1, 1])


def test_the_date_of_zda_is_used(tmp_path):
    """ZDA carries the four-digit year."""
    zda = sentence("GPZDA,120000.00,20,04,2017,00,00")
    track = _read(tmp_path, zda, _gga("120000.00"), _gga("120001.00"))
    assert track.time_s[0] == datetime(2017, 4, 20, 12, tzinfo=UTC).timestamp()


def test_gns_of_any_talker_is_a_fix_unless_every_system_says_no(tmp_path):
    """Mode NN is no fix, AN is one."""
    lines = [
        sentence(f"GNGNS,12000{i}.00,{PLACE},{mode},10,0.8,99.5,-30,,") for i, mode in enumerate(("AN", "NN", "AA"))
    ]
    track = _read(tmp_path, *lines)
    assert len(track) == 2
    assert track.dropped == {"marked_invalid": 1}
    assert track.elevation_m[0] == 99.5


@pytest.mark.parametrize(
    "bad",
    [
        _rmc("120001", status="V"),
        _rmc("120001", mode="N"),
        _rmc("120001", mode="E"),
        _gga("120001", quality=0),
        _gga("120001", quality=6),
    ],
)
def test_what_the_receiver_marks_invalid_is_no_fix(tmp_path, bad):
    """Void, no fix, dead reckoning."""
    track = _read(tmp_path, _rmc("120000"), bad, _rmc("120002"))
    assert len(track) == 2
    assert track.dropped == {"marked_invalid": 1}


def test_damaged_sentences_are_left_out_with_a_finding(tmp_path):
    """A wrong checksum, a cut-off sentence, a file that starts in the middle of one, text in between."""
    damaged = _rmc("120001").replace("4121", "4921")
    track = _read(
        tmp_path,
        _rmc("115959")[30:],
        _rmc("120000"),
        damaged,
        "power on",
        _rmc("120002")[:40],
        "12:00:03 " + _rmc("120003"),
    )
    assert len(track) == 2
    assert {finding.values["reason"] for finding in track.findings} == {"wrong_checksum", "cut_off"}


def test_binary_messages_between_the_sentences_do_no_harm(tmp_path):
    """Receivers send both over one wire."""
    path = tmp_path / "receiver.log"
    noise = bytes(range(256))
    path.write_bytes(noise.join(_rmc(f"12000{i}").encode() + b"\r\n" for i in range(4)))
    assert len(read_track(path)) == 4


def test_a_log_without_checksums_is_read_and_the_lack_is_mentioned(tmp_path):
    """The standard lets senders leave them out."""
    track = _read(tmp_path, *(_rmc(f"12000{i}").partition("*")[0] for i in range(3)))
    assert len(track) == 3
    assert [finding.code for finding in track.findings] == ["no_checksums"]


def test_minutes_of_sixty_or_more_are_no_position(tmp_path):
    """4160.5 is no latitude."""
    track = _read(tmp_path, _rmc("120000"), _rmc("120001", place="4160.5,N,00201.31654,W"), _rmc("120002"))
    assert track.dropped == {"no_position": 1}


def test_sentences_without_a_fix_are_refused(tmp_path):
    """A receiver that never saw the sky."""
    with pytest.raises(TrackFormatError, match=r"no usable fix .*marked invalid by the receiver: 2"):
        _read(
            tmp_path,
            _rmc("120000", status="V", place=",,,", knots=""),
            _rmc("120001", status="V", place=",,,", knots=""),
        )


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_sentences_that_were_redirected_into_a_file_of_utf_16_are_read(tmp_path, encoding):
    """As a shell does; with a byte order mark or without."""
    drive = small_drive()
    path = tmp_path / "receiver.log"
    path.write_bytes(nmea(drive).decode("ascii").encode(encoding))
    track = read_track(path)
    np.testing.assert_array_equal(track.time_s, drive.time_s)
    np.testing.assert_allclose(track.latitude_deg, drive.latitude_deg, rtol=0, atol=1e-7)


@pytest.mark.parametrize("late", ["00", "50"])
@pytest.mark.parametrize("talkers", [("GN", "GP"), ("GP", "GN"), ("GN", "GL")])
def test_of_two_receivers_in_one_log_one_is_read(tmp_path, talkers, late):
    """A second one, 300 m north, at the same time or half a second later, does not make the track jump to and fro."""
    lines = []
    north_of = dict(zip(sorted(talkers, key=lambda talker: talker != "GN"), ("4121.23302", "4121.40000"), strict=True))
    for i in range(30):
        for talker, fraction in zip(talkers, ("00", late), strict=True):
            north = north_of[talker]
            body = f"{talker}RMC,1200{i:02d}.{fraction},A,{north},N,00201.31654,W,10.0,,200417,,,A"
            lines.append(f"${body}*{checksum_of(body):02X}")
    track = _read(tmp_path, *lines)
    assert len(track) == 30
    np.testing.assert_allclose(track.latitude_deg, 41 + 21.23302 / 60)
    assert [finding.code for finding in track.findings] == ["second_talker"]


@pytest.mark.parametrize("fixes", [4, 1])
def test_a_receiver_that_changes_the_name_of_its_systems_is_one(tmp_path, fixes):
    """GN with several systems in sight, GP with one; a third of the fixes was left out as those of another receiver."""
    places = (f"4121.{500 * i:05d},N,00201.31654,W" for i in range(60))
    lines = (_rmc(f"1200{i:02d}.00", place=at, talker="GN" if i // fixes % 3 else "GP") for i, at in enumerate(places))
    track = _read(tmp_path, *lines)
    assert len(track) == 60
    assert track.findings == ()


def test_talkers_that_share_the_work_of_one_receiver_are_read_together(tmp_path):
    """RMC of one name, GGA of another: speed from the first, height from the second."""
    lines = []
    for i in range(30):
        place = "4121.23302,N,00201.31654,W"
        for body in (
            f"GPRMC,1200{i:02d}.00,A,{place},10.0,,200417,,,A",
            f"GNGGA,1200{i:02d}.00,{place},1,08,1.0,120.0,M,,M,,",
        ):
            lines.append(f"${body}*{checksum_of(body):02X}")
    track = _read(tmp_path, *lines)
    assert len(track) == 30
    np.testing.assert_array_equal(track.elevation_m, 120.0)
    np.testing.assert_allclose(track.speed_mps, 10 * 1852 / 3600)
    assert track.findings == ()
