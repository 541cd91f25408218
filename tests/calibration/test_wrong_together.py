"""Wrong readings that stand together, against the likelihoods of scipy and against files of which they are strewn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats
from support.calibrations import make_calibration

from speedcal.calibration.dial.measured import NO_GROUND, WRONG
from speedcal.calibration.noted.wrong_together import log_apart, wrong_together

_CALIBRATION = make_calibration()


def _reason_of(wrong: np.ndarray, part: float | None = None):
    """Return the reason; wrong readings are anything, or off by a part of what the dial shows."""
    table = _CALIBRATION.readings.iloc[np.zeros(len(wrong), int)].reset_index(drop=True)
    rng = np.random.default_rng(int(wrong @ np.arange(len(wrong))))
    shown = rng.uniform(10.0, 30.0, len(wrong))
    anything = rng.uniform(-15.0, 15.0, len(wrong))
    of_another = anything if part is None else part * shown + 0.3 * rng.standard_normal(len(wrong))
    table["predicted_mps"], table["residual_mps"] = shown, np.where(wrong, of_another, 0.0)
    table["line"] = np.arange(2, 2 + len(wrong))
    table["used"], table["reason"] = ~wrong, np.where(wrong, WRONG, "")
    return wrong_together(replace(_CALIBRATION, readings=table))


def test_two_shares_against_one_are_binomial_likelihoods() -> None:
    wrong = np.array([0, 1, 0, 0, 1, 1, 1, 0, 1, 1], bool)
    first, beyond = np.array([4, 0, 3]), np.array([10, 4, 7])
    for i, j, told in zip(first, beyond, log_apart(wrong, first, beyond), strict=True):
        inside, outside = wrong[i:j], np.delete(wrong, np.arange(i, j))
        each = [stats.bernoulli.logpmf(part, part.mean()).sum() for part in (inside, outside)]
        greater = inside.mean() > outside.mean()
        assert np.isclose(told, sum(each) - stats.bernoulli.logpmf(wrong, wrong.mean()).sum() if greater else 0.0)


def test_a_stretch_of_wrong_notes_is_named() -> None:
    wrong = np.zeros(26, bool)
    wrong[18:] = True
    found = _reason_of(wrong)
    assert found is not None
    assert (found.values["first_line"], found.values["last_line"]) == (20, 27)
    assert (found.values["wrong"], found.values["total"]) == (8, 8)
    wrong = np.zeros(40, bool)
    wrong[12:20] = True
    wrong[[14, 30]] = False, True
    found = _reason_of(wrong)
    assert found is not None
    assert (found.values["first_line"], found.values["last_line"]) == (14, 21)


def test_strewn_wrong_notes_are_hardly_ever_a_stretch() -> None:
    """One file in a hundred at the most is said to have a stretch that it has not."""
    rng = np.random.default_rng(5)
    for share in (0.05, 0.12, 0.3):
        told = sum(_reason_of(rng.random(24) < share) is not None for _ in range(200))
        assert told <= 2


def test_a_few_wrong_notes_that_are_of_another_dial_are_told_from_a_few_of_anything() -> None:
    """Four of the first five of 17: where they stand may be chance, that one factor fits all is none."""
    wrong = np.zeros(17, bool)
    wrong[[0, 1, 3, 4]] = True
    assert _reason_of(wrong) is None
    for part in (-0.2, 0.15):
        found = _reason_of(wrong, part)
        assert found is not None
        assert (found.values["first_line"], found.values["last_line"]) == (2, 6)
    strewn = np.zeros(17, bool)
    strewn[[2, 8, 13]] = True
    assert _reason_of(strewn, 0.15) is None


def test_notes_beside_the_track_count_where_their_times_run_back() -> None:
    """Nine on the track and eight beside it: the track may have ended, or another drive's clock was set."""
    table = _CALIBRATION.readings.iloc[np.zeros(17, int)].reset_index(drop=True)
    beside = np.arange(17) >= 9
    table["line"], table["used"], table["reason"] = np.arange(2, 19), ~beside, np.where(beside, NO_GROUND, "")
    for back_s, told in ((0.0, False), (3600.0, True)):
        table["time_s"] = 60.0 * np.arange(17) - back_s * beside
        found = wrong_together(replace(_CALIBRATION, readings=table))
        assert (found is not None) == told
        if found is not None:
            assert (found.values["first_line"], found.values["last_line"]) == (11, 18)
