"""Notes taken as it comes, and not while a speed is held: what they say where nobody knows to a second when.

Where the speed changes, a second is a mph or two, and the moment that fits best hides most of what a reading is off.
So where most readings are of that sort their moments are left open: each is held against the speeds that its stamp
allows, weighed by how often this person looks while the speed changes.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.noted.clock_posterior import Cells
from speedcal.calibration.noted.note_lines import Notes
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.notes import (
    CHANGES_MPS2,
    LEAST_RIGHT,
    LONG_STEP_S,
    LOOKS_BEFORE,
    MOST_DRAWN,
    MUCH_DRAWN,
)
from speedcal.calibration.tuning.track import SLOWEST_MPS
from speedcal.interval import BoolArray, FloatArray

_ROUNDS = 8


def on_the_line(notes: Notes, cells: Cells, cell: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return how each reading lies at the moments that fit it best.

    Returns
    -------
    tuple of FloatArray
        How probably it is right; the weights of its moments, shape (n, nodes); the mean speed by them; the part of its
        distance from the line that their choice hides.
    """
    speeds = cells.speed_mps[cell]
    share = cells.share[cell] * (speeds >= SLOWEST_MPS)
    right = share.sum(axis=1)
    share = _shares(share)
    speed, spread = _mean_and_variance(share, speeds)
    return right, share, speed, spread / _own_variance(notes, cells, cell)


def left_open(notes: Notes, cells: Cells) -> bool:
    """Tell whether the choice of moments hides so much of so many readings that it must be left open."""
    right, _, _, hidden = on_the_line(notes, cells, int(np.argmax(cells.log_mass)))
    use = right > LEAST_RIGHT
    return bool(notes.at.half_width_s <= LONG_STEP_S and use.any() and np.mean(hidden[use] > MOST_DRAWN) > MUCH_DRAWN)


def any_moment(ground: GroundSpeed, notes: Notes, cells: Cells, cell: int) -> FloatArray:
    """Return how probably each reading is right in a cell, its moment, its speed and how much wider it is.

    Speed and width are those before the reading itself was seen, shape (4, n).
    """
    times = notes.time_s[:, None] + cells.clock_s[cell] + notes.at.delay_s
    speeds, _, inside = ground.at(times)
    weight = notes.at.weight * (inside & (speeds >= SLOWEST_MPS))
    share = _shares(weight * _looked_at(weight, _changes(ground, times), _changing_share(ground)))
    speed, spread = _mean_and_variance(share, speeds)
    right = on_the_line(notes, cells, cell)[0]
    wider = 1 + spread / _own_variance(notes, cells, cell)
    moment = notes.time_s + cells.clock_s[cell] + share @ notes.at.delay_s
    return np.stack([right, moment, speed, wider / np.clip(right, LEAST_RIGHT, 1.0)])


def _own_variance(notes: Notes, cells: Cells, cell: int) -> FloatArray:
    """Return the variance of each reading as true speed."""
    return np.asarray((cells.scatter_mps[cell] ** 2 + notes.own_variance) / cells.gain[cell] ** 2)


def _changing_share(ground: GroundSpeed) -> float:
    """Return in which part of the time that the vehicle moves its speed changes."""
    clock = np.arange(ground.time_s[0], ground.time_s[-1], 1.0)
    speed, _, inside = ground.at(clock)
    changes = _changes(ground, clock)[inside & (speed >= SLOWEST_MPS)]
    return float(np.clip(np.mean(changes) if len(changes) else 0.5, 0.01, 0.99))


def _changes(ground: GroundSpeed, time_s: FloatArray) -> BoolArray:
    """Tell when the speed changes, seen over two seconds, which keeps the noise of fixes out of it."""
    return np.abs(ground.at(time_s + 1.0)[0] - ground.at(time_s - 1.0)[0]) > 2.0 * CHANGES_MPS2


def _looked_at(weight: FloatArray, changes: BoolArray, of_time: float) -> FloatArray:
    """Return how much more often than evenly this person looks at each moment, shape (n, nodes).

    The part of the looks at a changing speed is fitted as that of a mixture, each look being in one or the other with
    its weights.
    """
    in_changing, in_steady = ((weight * part).sum(axis=1) for part in (changes / of_time, ~changes / (1 - of_time)))
    known = in_changing + in_steady > 0
    looks = of_time
    for _ in range(_ROUNDS):
        changing, steady = looks * in_changing[known], (1 - looks) * in_steady[known]
        looks = ((changing / (changing + steady)).sum() + LOOKS_BEFORE * of_time) / (known.sum() + LOOKS_BEFORE)
    return np.where(changes, looks / of_time, (1 - looks) / (1 - of_time))


def _mean_and_variance(weight: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mean and variance of each row by weights that sum to one."""
    mean = (weight * value).sum(axis=1)
    return mean, (weight * (value - mean[:, None]) ** 2).sum(axis=1)


def _shares(weight: FloatArray) -> FloatArray:
    """Return the weights of each row as shares of their sum, none where there are none."""
    return np.asarray(weight / np.maximum(weight.sum(axis=1), 1e-12)[:, None])
