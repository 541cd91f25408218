"""Steps that swing to and fro, eased until they do not: Aitken's relaxation of a vector, as Irons and Tuck gave it.

A fit whose messages follow its unknowns a round later oversteps by as much as it was off, where the noise nearly hides
an unknown. Two wishes that point against each other tell by how much.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from speedcal.interval import FloatArray

_LEAST_SHARE = 0.3
"""Steps that swing for ever want half; less than this is the noise of two wishes."""


@dataclass(slots=True)
class Relaxation:
    """What share of each step is taken; all of it while steps do not turn back."""

    share: float = 1.0
    _wish: FloatArray = field(default_factory=lambda: np.zeros(0))
    _unknowns: tuple[int, ...] | None = None

    def of(self, wish: FloatArray, unknowns: tuple[int, ...]) -> float:
        """Return the share of a step to take.

        Parameters
        ----------
        wish
            The step that the fit wishes, in sizes that make its parts alike.
        unknowns
            What is left out of the fit; another choice starts anew.
        """
        if self._unknowns == unknowns and float(self._wish @ wish) < 0:
            change = wish - self._wish
            share = -self.share * float(self._wish @ change) / float(change @ change)
            self.share = float(np.clip(share, _LEAST_SHARE, 1.0))
        else:
            self.share = 1.0
        self._wish, self._unknowns = wish, unknowns
        return self.share
