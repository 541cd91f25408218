"""How noted readings are laid on the track: by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.calibration.noted.fit_noted import _over_clocks


def test_a_clock_offset_that_takes_a_reading_off_the_track_tells_nothing_of_its_speed() -> None:
    """By the first offset both readings are right, at 20 and 30 m/s; by the second the other one lies in a gap."""
    here = [[1.0, 1.0], [100.0, 200.0], [20.0, 30.0], [1.0, 2.0]]
    in_gap = [[1.0, 0.0], [101.0, 201.0], [22.0, 0.0], [3.0, 1.0]]
    right, (moment, speed, widening) = _over_clocks(np.array([0.3, 0.1]), np.array([here, in_gap]))
    assert right == pytest.approx([1.0, 0.75])
    assert moment == pytest.approx([100.25, 200.0])
    assert speed == pytest.approx([20.5, 30.0])
    assert widening == pytest.approx([1.5, 2.0])
