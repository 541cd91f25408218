"""Checks without a header row, as people type them: read as they are meant, or asked about; never a wrong number."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError
from speedcal.logs import Checks, read_checks
from speedcal.units import KMH_MPS, MILE_M, MPH_MPS


def _read(folder: Path, text: str, **options: object) -> Checks:
    path = folder / "checks.txt"
    path.write_text(text, encoding="utf-8")
    return read_checks(path, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "unit_mps", "pairs"),
    [
        ("60  60s 1 mile\n60  62.5s 1 mile\n35 1:40 1 mile\n", MPH_MPS, [(60, 60), (60, 57.6), (35, 36)]),
        ("- 60 mph, 1 mile, 60 s\n- 60 mph, 1 mile, 1:02.5\n", MPH_MPS, [(60, 60), (60, 57.6)]),
        ("1. 60 mph - quarter mile - 15.0 s\n2. 45 mph, 1/4 mile, 20.0 s\n", MPH_MPS, [(60, 60), (45, 45)]),
        ("60 mph took 1 min 2.5 s for the mile\n", MPH_MPS, [(60, 57.6)]),
        ("Sunday 14 June, measured mile\n60 mph: 60.0s, 62.5 s\nwindy here\n35 mph 1:40\n", MPH_MPS,
         [(60, 60), (60, 57.6), (35, 36)]),
        ("60 1 mile 60s downhill\nforgot the watch on run 3\n60 1 mile 62.5s\n", MPH_MPS, [(60, 60), (60, 57.6)]),
        ("100 km/h 1 km 37,5 s\n100 km/h 1 km 36,0 s\n", KMH_MPS, [(100, 96), (100, 100)]),
        ("60 miles an hour one mile 62.5 seconds\n", MPH_MPS, [(60, 57.6)]),
        ("55 mph dial, 52 gps\n45 dial, 42 gps\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("dial 55 gps 52\ngps 42 dial 45\nall in mph\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("Check of Saturday (all mph)\ntrue,indicated\n52,55\n42,45\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("GPS app in km/h\ngps km/h,dial\n88,55\n72,45\n", MPH_MPS, [(55, 88 / 1.609344), (45, 72 / 1.609344)]),
        ("mph\ndial 55 gps 52\ngps 42 dial 45\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("60 mph on the dial, phone said 57\n45 mph, phone 42.5\n", MPH_MPS, [(60, 57), (45, 42.5)]),
        ("speedo / gps mph\n55 / 52\n45 / 42\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("speedo gps mph\n55 52\n45 42\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("gps speedo km/h\n96 100\n48\t50\n", KMH_MPS, [(100, 96), (50, 48)]),
        ("dial mph   distance mi   time\n60   1   60.0\n60   1   62.5\n", MPH_MPS, [(60, 60), (60, 57.6)]),
        ("60 mph, gps 57\n\", gps 56\n", MPH_MPS, [(60, 57), (60, 56)]),
        ("speedo -> gps (mph)\n55 -> 52\n45 -> 42\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("Indicated vs GPS, in mph:\n55 vs 52\n45 vs. 42\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("at 55 mph the gps said 52\nat 45 mph the gps said 42\n", MPH_MPS, [(55, 52), (45, 42)]),
        ("Truck 4 - 33x12.50, 3.73\n55 indicated / 52 GPS (mph)\n45 indicated / 42 GPS\n", MPH_MPS,
         [(55, 52), (45, 42)]),
        ("[8/21/26, 10:40:02 AM] Ann: dial 55 gps 52 mph\n[8/21/26, 10:41:02 AM] Ann: dial 45 gps 42 mph\n", MPH_MPS,
         [(55, 52), (45, 42)]),
        ("[12/03/2024, 19:15] Me: gps 30 dial 32 mph\n", MPH_MPS, [(32, 30)]),
        ("sixty mph on the dial and fifty seven on the phone\n", MPH_MPS, [(60, 57)]),
        ("a mile at sixty mph took sixty two point five seconds\n", MPH_MPS, [(60, 57.6)]),
        ("post 112 10:03:00 60 mph\npost 113 10:04:00 60 mph\npost 114 10:05:04 60 mph\n", MPH_MPS,
         [(60, 60), (60, 56.25)]),
    ],
)  # fmt: skip
def test_checks_are_read_as_they_are_meant(
    tmp_path: Path, text: str, unit_mps: float, pairs: list[tuple[float, float]]
) -> None:
    """Dial and truth: a mile in 60 s is 60 mph, in 62.5 s 57.6, in 100 s 36; 1 km in 37.5 s is 96 km/h."""
    checks = _read(tmp_path, text)
    rows = checks.has_speed
    got = np.column_stack([checks.dial_mps[rows], checks.true_mps[rows]]) / unit_mps
    np.testing.assert_allclose(got, pairs, rtol=1e-6)


@pytest.mark.parametrize(
    ("text", "counted", "true"),
    [
        ("trip 10.4 over 10 miles\n", 10.4, 10),
        ("odo 61,482.6 to 61,493.0 over 10 miles\n", 10.4, 10),
        ("10.4 on the trip meter, 10 miles on the map\n", 10.4, 10),
        ("trip 16.6 over 16 km\n", 16.6 / 1.609344, 16 / 1.609344),
    ],
)
def test_the_odometer_is_told_from_the_dial(tmp_path: Path, text: str, counted: float, true: float) -> None:
    checks = _read(tmp_path, text)
    assert not checks.has_speed.any()
    assert float(checks.odometer_m[0]) / MILE_M == pytest.approx(counted)
    assert float(checks.distance_m[0]) / MILE_M == pytest.approx(true)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("55 52\n", "check_note_unclear"),
        ("60 gps 57\n", "check_note_unclear"),
        ("mile at 60: 63.2\nmile at 30: 2:05\n", "check_note_unclear"),  # 60 mph in 63.2 s, or 63.2 mph in 60 s
        ("60 mph 1 mile 63\n", "check_note_unclear"),
        ("dial 60 mph, gps 57\ndial 1,060 gps 57\n", "check_note_unclear"),
        ("dial 60 mph, gps 57, gps 58\n", "check_note_unclear"),
        ("60ish mph, gps 57\n", "check_not_exact"),
        ("40-45 mph, gps 41\n", "check_not_exact"),
        ("60 mph, gps 57\n45 mph\n", "check_note_incomplete"),
        ("dial 55 gps 52\ndial 45 gps 42\n", "column_without_unit"),
        ("dial 55 gps 52\ndial 45 gps 42\nroad signs in km/h\n", "column_without_unit"),
        ("60 mph, gps 57\n45 km/h, gps 42\n", "several_units"),
        ("dial 60 mph, 2000 rpm direct\n", "rpm_without_vehicle"),
        ("sixty on the dial and fifty seven on the phone\n", "column_without_unit"),
        ("60 -> 63 mph\n", "check_note_unclear"),
        ("60/57 mph\n", "check_note_unclear"),
        ("speedo 64 at a true 60, 48 at 45 and 32 at 30 mph\n", "check_note_unclear"),
        ("dial 60 mph gps 57\ndial 50 no 55 gps 52\n", "check_note_unclear"),
        ("dial mph,gps mph\n60,57\n\ndial mph,distance mi,time\n60,1,1:03.2\n", "second_table"),
        ("dial 6O mph, gps 57\n", "letter_for_digit"),
    ],
)
def test_what_can_be_read_in_two_ways_is_asked(tmp_path: Path, text: str, code: str) -> None:
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    assert caught.value.code == code
    assert caught.value.remedy


def test_remarks_between_the_checks_are_counted(tmp_path: Path) -> None:
    """One of words, one with a number that is no speed."""
    checks = _read(tmp_path, "60 mph 1 mile 60s\nlong hill\nforgot the watch on run 3\n60 mph 1 mile 61s\n")
    counts = [dict(f.values["counts"]) for f in checks.findings if f.code == "checks_left_out"]
    assert counts == [{"remark": 2}]
