"""Whether readings come from a machine or from a hand, by their times."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.calibration.readings.kind import is_log

RNG = np.random.default_rng(3)
MACHINES = {
    "a row a second": np.arange(100.0),
    "a row in three seconds, some lost": np.arange(0.0, 600.0, 3.0)[RNG.random(200) > 0.4],
    "a row in ten seconds": np.arange(0.0, 900.0, 10.0),
    "rows of a phone, one to three seconds apart": np.cumsum(RNG.uniform(1.0, 3.0, 200)),
    "more rows than a hand writes": np.cumsum(RNG.integers(2, 8, 700)).astype(float),
}
HANDS = {
    "a hand in a hurry": np.cumsum(RNG.integers(3, 8, 150)).astype(float),
    "a hand": np.cumsum(RNG.integers(10, 40, 80)).astype(float),
    "a few": np.arange(0.0, 40.0, 2.0),
}


@pytest.mark.parametrize("name", [*MACHINES, *HANDS])
def test_a_machine_is_even_or_fast(name: str) -> None:
    """A passenger who notes every five seconds was taken for one, and his slips for a needle that lags."""
    assert is_log({**MACHINES, **HANDS}[name]) == (name in MACHINES)
