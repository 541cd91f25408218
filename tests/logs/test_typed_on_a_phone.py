"""Notes as they are typed and dictated on a phone: the times and speeds that were meant."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.errors import SpeedcalError
from speedcal.logs import read_readings
from speedcal.units import MPH_MPS

SPOKEN = {19: "nineteen", 31: "thirty-one", 44: "forty-four", 52: "fifty-two", 60: "sixty", 47: "forty-seven"}
SHOWN_MPH = (19, 31, 44, 52, 60, 47, 31, 19)
NOTED_S = 14 * 3600 + 83 + 60 * np.arange(len(SHOWN_MPH))


def _clock(time_s, mark=":"):
    return mark.join(f"{part:02d}" for part in (time_s // 3600, time_s // 60 % 60, time_s % 60))


def _read(tmp_path, lines, times_s=NOTED_S, title="mph"):
    path = tmp_path / "notes.txt"
    path.write_text("\n".join([title, *lines]), encoding="utf-8")
    readings = read_readings(path)
    np.testing.assert_allclose(readings.speed_mps, np.array(SHOWN_MPH) * MPH_MPS)
    np.testing.assert_allclose(readings.time_s, times_s)
    return readings


@pytest.mark.parametrize(("title", "between"), [("mph", ""), ("mph", "\n"), ("mph, tires 225/70\nleft 13:58\n", "\n")])
def test_a_time_below_its_speed_is_that_of_it(tmp_path, title, between):
    """Joined to the speed below, each reading would have the time of the one before."""
    _read(
        tmp_path, [f"{mph} mph\n{_clock(t)}{between}" for mph, t in zip(SHOWN_MPH, NOTED_S, strict=True)], title=title
    )


@pytest.mark.parametrize("end", ["", "home 14:20"])
def test_a_time_above_its_speed_is_that_of_it(tmp_path, end):
    """A time that ends the file has no speed."""
    _read(tmp_path, [*(f"{_clock(t)}\n{mph} mph" for mph, t in zip(SHOWN_MPH, NOTED_S, strict=True)), end])


def test_half_of_the_day_before_a_colon_is_no_sender(tmp_path):
    """``2:01 pm: 43`` was said by nobody called pm."""
    lines = [f"2:{t // 60 % 60:02d} pm: {mph}" for mph, t in zip(SHOWN_MPH, NOTED_S, strict=True)]
    _read(tmp_path, lines, NOTED_S // 60 * 60)


def test_four_figures_before_every_speed_are_hour_and_minute(tmp_path):
    """1401 to 1408 are eight minutes; a count of anything would pass by 60 to 99 now and then."""
    lines = [f"{_clock(t, '')[:4]} {mph}" for mph, t in zip(SHOWN_MPH, NOTED_S, strict=True)]
    _read(tmp_path, lines, NOTED_S // 60 * 60)


@pytest.mark.parametrize(
    "form",
    [
        "dash {0} phone {1}",
        "{0} dash, {1} phone",
        "indicated {0} actual {1}",
        "{0} on the dial ({1} actual)",
        "{0} (gps {1}.4mph)",
    ],
)
def test_what_a_phone_showed_beside_the_dial_is_no_reading(tmp_path, form):
    """Both numbers are named."""
    rows = zip(SHOWN_MPH, NOTED_S, strict=True)
    _read(tmp_path, [f"{_clock(t)} {form.format(mph, mph - 3)}" for mph, t in rows])


def test_a_phone_that_rings_takes_no_reading_away(tmp_path):
    """The number before the word is the only one."""
    rings = ["phone rang", "real slow", "phone again", *[""] * 5]
    _read(tmp_path, [f"{_clock(t)} {mph} {word}" for mph, t, word in zip(SHOWN_MPH, NOTED_S, rings, strict=True)])


def test_small_numbers_in_words_before_a_unit_are_speeds(tmp_path):
    """Nineteen is seldom a speed, and nothing else before mph."""
    rows = zip(SHOWN_MPH, NOTED_S - NOTED_S[0], strict=True)
    _read(
        tmp_path, [f"At {t // 60} minutes {t % 60} seconds {SPOKEN[mph]} mph" for mph, t in rows], NOTED_S - NOTED_S[0]
    )


def test_what_a_receiver_showed_was_sent_by_nobody(tmp_path):
    """``14:01:23 gps: 40`` is not 40 from one called gps; alone it is no reading of the dial."""
    rows = list(zip(SHOWN_MPH, NOTED_S, strict=True))
    _read(tmp_path, [f"{_clock(t)} {mph}, gps: {mph - 3}" for mph, t in rows])
    path = tmp_path / "gps.txt"
    path.write_text("\n".join(["mph", *(f"{_clock(t)} gps: {mph}" for mph, t in rows)]), encoding="utf-8")
    with pytest.raises(SpeedcalError):
        read_readings(path)
