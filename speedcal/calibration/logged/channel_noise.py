"""What is believed of an instrument: how noisy its values are, how far their stamps are off, what they tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial.rounded_likelihood import Message, Told, nothing_said
from speedcal.calibration.speed.motion import local_sum
from speedcal.interval import FloatArray, median

_JITTER_S = 0.1
"""Of stamps that nothing is known of."""
_LEAST_JITTER_S, _MOST_JITTER_S = 0.01, 0.6
_PACES = (1.0, 3.0, 9.0)
"""How many steps towards its noise a channel may take at once: as many as make the likelihood greatest."""
_REACH = 10
"""Values to either side whose noise is alike where it changes on the way, and that the usual noise counts against."""


@dataclass(slots=True)
class Noise:
    """What is believed of the noise of one channel of n values."""

    variance: FloatArray
    """Of each value, without what its stamp does, shape (n,). [m2/s2]"""
    jitter_s2: float
    """Variance of the stamps. [s2]"""

    @classmethod
    def of(cls, count: int, variance: float) -> Noise:
        """Return the noise to start from, the same for all values."""
        return cls(np.full(count, variance), _JITTER_S**2)

    def at(self, steep: FloatArray) -> FloatArray:
        """Return the variance of each value where it changes so much a second, shape (n,) each. [m2/s2]."""
        return self.variance + self.jitter_s2 * steep**2

    def learn(
        self, told: Told, likelihood: Callable[[FloatArray], float], *, steep: FloatArray, least: float, local: bool
    ) -> None:
        """Take a step towards the likeliest noise: an error squared is as large as what is known of it.

        That fixed point (D. J. C. MacKay, Neural Computation 4, 1992, 415-447) is reached in short steps where values
        say little of their noise, as under cruise control: longer ones are tried along.

        Parameters
        ----------
        likelihood
            Log likelihood by the variance of each value, shape (n,).
        steep
            How much each value changes a second, shape (n,). [m/s2]
        least
            Least variance of a value. [m2/s2]
        local
            Whether the noise changes on the way.
        """
        share = np.stack([np.ones_like(steep), steep**2])
        usual = median(self.variance) if local else float(self.variance[0])
        before = np.array([usual, self.jitter_s2])
        rise = share @ told.square / np.maximum(share @ told.known, 1e-12)
        low, high = [least, _LEAST_JITTER_S**2], [np.inf, _MOST_JITTER_S**2]
        size, best = before, -np.inf
        for pace in _PACES:
            farther = np.clip(before * rise**pace, low, high)
            if np.array_equal(farther, size):  # at its bounds, where no pace goes farther
                break
            told_of_it = likelihood(farther @ share)
            if told_of_it < best:
                break
            size, best = farther, told_of_it
        usual, self.jitter_s2 = size.tolist()
        if local:
            square, known = self.variance**2 * told.square, self.variance * told.known
            own = (local_sum(square, _REACH) + _REACH * usual) / (local_sum(known, _REACH) + _REACH)
            self.variance = np.maximum(own, least)
        else:
            self.variance = np.full(len(steep), usual)


@dataclass(slots=True)
class ChannelState:
    """What is believed of one channel of n values."""

    message: Message
    noise: Noise
    alike: FloatArray
    """How many values tell what each tells, shape (n,)."""
    rounds: int = 0
    """In which that was counted."""

    @classmethod
    def of(cls, count: int, variance: float) -> ChannelState:
        """Return what is believed of values that are not heard yet, of the same noise."""
        return cls(nothing_said(count), Noise.of(count, variance), np.ones(count))

    def alike_by_now(self, alike: FloatArray) -> FloatArray:
        """Return how many values tell what each tells by this round and those before, which count less.

        Taken as they are in a round, counts go to and fro with the speed that they move, for one round in 20 more.
        """
        self.rounds += 1
        share = 2 / (self.rounds + 1)
        self.alike = self.alike * (alike / self.alike) ** share
        return self.alike
