"""Properties of times: one instant, written in any way, is read as that instant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from speedcal.logs.times.clock_times import UnclearTimesError
from speedcal.logs.times.timestamps import parse_stamps
from speedcal.logs.writing.written_times import parse_stamp

FULL = (
    "%Y-%m-%dT%H:%M:%S",
    "%Y-%m-%d %H:%M:%S",
    "%Y/%m/%d %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%d-%b-%Y %H:%M:%S",
    "%d %B %Y %H:%M:%S",
    "%b %d, %Y %I:%M:%S %p",
    "%Y%m%dT%H%M%S",
)
INSTANTS = st.datetimes(datetime(1990, 1, 1), datetime(2089, 12, 31)).map(lambda t: t.replace(microsecond=0))


@settings(deadline=None)
@given(INSTANTS, st.sampled_from(FULL))
def test_a_date_and_time_in_any_form_is_the_same_second(instant, form):
    """Held against the datetime that wrote it."""
    stamp = parse_stamp(instant.strftime(form))
    assert stamp.kind == "naive"
    assert stamp.value == instant.replace(tzinfo=UTC).timestamp()


@settings(deadline=None)
@given(INSTANTS, st.integers(-12 * 4, 14 * 4))
def test_an_offset_moves_the_instant_by_itself(instant, quarters):
    """Quarters of an hour from -12 to +14."""
    local = instant.replace(tzinfo=timezone(timedelta(minutes=15 * quarters)))
    stamp = parse_stamp(local.isoformat())
    assert stamp.kind == "zoned"
    assert stamp.value == local.timestamp()


@settings(deadline=None)
@given(st.integers(0, 86399), st.lists(st.integers(1, 1800), min_size=3, max_size=40))
def test_a_clock_with_seconds_runs_on_past_midnight(start, steps):
    """Differences are those of the drive, whatever the hour it began."""
    seconds = start + np.cumsum([0, *steps])
    cells = [
        f"{s // 3600 % 24}:{s // 60 % 60:02d}:{s % 60:02d} {'AM' if s // 3600 % 24 < 12 else 'PM'}" for s in seconds
    ]
    cells = [f"{(int(c.split(':')[0]) - 1) % 12 + 1}:{c.split(':', 1)[1]}" for c in cells]
    stamps = parse_stamps(cells)
    assert stamps.clock == "time of day"
    np.testing.assert_array_equal(np.diff(stamps.time_s), steps)
    assert stamps.time_s[0] == start


@settings(deadline=None)
@given(st.integers(0, 1439), st.lists(st.integers(0, 9), min_size=3, max_size=15))
def test_whole_minutes_are_never_taken_as_minutes_and_seconds(start, steps):
    """A drive of up to two and a quarter hours, at any hour of the day."""
    minutes = start + np.cumsum([0, *steps])
    stamps = parse_stamps([f"{m // 60 % 24}:{m % 60:02d}" for m in minutes])
    assert stamps.clock == "time of day"
    np.testing.assert_array_equal(np.diff(stamps.time_s), 60 * np.array(steps))


@settings(deadline=None)
@given(st.integers(0, 300), st.lists(st.integers(20, 120), min_size=19, max_size=40))
def test_minutes_and_seconds_of_a_drive_are_never_taken_as_hours_and_minutes(start, steps):
    """More than six minutes of drive with a reading every 20 to 120 s."""
    seconds = start + np.cumsum([0, *steps])
    stamps = parse_stamps([f"{s // 60}:{s % 60:02d}" for s in seconds])
    assert stamps.clock == "elapsed"
    np.testing.assert_array_equal(stamps.time_s, seconds)


@settings(deadline=None)
@given(st.text(max_size=40))
def test_any_text_is_a_time_or_is_none(text):
    """Never an exception."""
    parse_stamp(text)


@settings(deadline=None)
@given(st.lists(st.from_regex(r"\d{1,2}:\d{2}(:\d{2})?( [ap]m)?", fullmatch=True), min_size=1, max_size=12))
def test_any_mixture_of_clock_times_is_read_or_asked_about(cells):
    """Finite times for every cell that is one, or a question, or a problem."""
    try:
        stamps = parse_stamps(cells)
    except UnclearTimesError:
        return
    bad = {index for index, _ in stamps.problems}
    assert all(np.isfinite(time) or i in bad for i, time in enumerate(stamps.time_s))


@settings(deadline=None)
@given(
    st.lists(st.datetimes(datetime(1990, 1, 1), datetime(2089, 12, 31)), min_size=1, max_size=5),
    st.integers(0, 6),
    st.sampled_from("T "),
    st.sampled_from(("Z", "")),
    st.sampled_from(("", "2020-02-30T10:00:00Z", "2020-02-03T24:00:01Z", "2020-02-03 10:00")),
)
def test_a_column_of_instants_holds_each_of_them(instants, digits, between, end, odd):
    """To the last digit written, whether or not another cell is empty, in another form or on no calendar."""
    size = 10 ** (6 - digits)
    cut = [instant.replace(microsecond=instant.microsecond // size * size, tzinfo=UTC) for instant in instants]
    cells = [t.strftime(f"%Y-%m-%d{between}%H:%M:%S") + f".{t.microsecond:06d}"[: digits + 1 if digits else 0] + end
             for t in cut]  # fmt: skip
    truth = [t.timestamp() for t in cut]
    for column in (cells, [*cells, odd]):
        stamps = parse_stamps(column)
        np.testing.assert_array_equal(stamps.time_s[: len(cells)], truth)
        assert stamps.clock == ("utc" if end else "local")
        assert stamps.resolution_s >= 10.0**-digits * (1 - 1e-9)
    fits = odd == "" or (end == "" and odd == "2020-02-03 10:00")
    assert [i for i, _ in stamps.problems] == [len(cells)] * (not fits)
