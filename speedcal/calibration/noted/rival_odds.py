"""What else may explain readings that a person noted: how likely it is, and what that does to word and interval.

Where a second reader is neither sure nor out of the question, the answer is the mean over both (J. A. Hoeting et al.
1999, Statist. Sci. 14, 382): what two people see apart is in it by half, and nobody knows whose half.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Mixed
from speedcal.calibration.noted.gps_display import gps_display
from speedcal.calibration.noted.rivals import Kinks, kinks_of, log_strays
from speedcal.calibration.noted.two_readers import OtherReaders, other_readers
from speedcal.calibration.noted.weigh_noted import Weighed
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning.notes import COARSE_U_MPS, LONG_STEP_S, MUCH_COVERED
from speedcal.calibration.tuning.rivals import DOUBTED_FROM, RIVAL_SHARES, RIVALS_TO_ONE, TWO_WATCHES_SHARE
from speedcal.finding import Finding
from speedcal.interval import FloatArray

SECOND_READER = "second_reader"
"""Name in the budget of what a second reader may have seen otherwise."""


@dataclass(frozen=True, slots=True)
class RivalOdds:
    """Log odds of each rival against one dial, one reader and one vehicle, by the code of its finding."""

    log: Mapping[str, float]
    others: OtherReaders | None
    """None where times tell no two watches apart."""
    kinks: Kinks = field(default_factory=Kinks)
    """Where the dial does not go on as elsewhere."""

    @property
    def shared(self) -> dict[str, float]:
        """The same with how likely each is beside the others."""
        return {code: float(np.log(RIVAL_SHARES[code])) + log for code, log in self.log.items()}

    @property
    def log_of_this_drive(self) -> float:
        """How much likelier readings of this vehicle on this drive may be than those of one dial and one reader."""
        return max([0.0, *(log for code, log in self.log.items() if code != "large_scatter")])

    @property
    def log_doubt(self) -> float:
        """Of all of them together."""
        return float(np.logaddexp.reduce(list(self.shared.values())))

    def doubts(self, scatter_mps: float, ground: GroundSpeed, u_rounding_mps: float) -> tuple[Finding, ...]:
        """Return what explains the readings better than one dial; beside a track full of gaps those are to blame.

        Coarse steps, of this standard uncertainty [m/s], are misread by more than fine ones.
        """
        odds = self.shared
        if self.log_doubt < DOUBTED_FROM:
            return ()
        if ground.covered < MUCH_COVERED:
            return (Finding("track_gaps", covered=ground.covered),)
        code = max(odds, key=lambda one: odds[one])
        if code != "large_scatter":
            return (Finding(code, log_odds=self.log[code]),)
        marks = {"marks_mps": float(np.sqrt(12)) * u_rounding_mps} if u_rounding_mps >= COARSE_U_MPS else {}
        return (Finding(code, scatter_mps=scatter_mps, **marks),)

    def covariances(self, speed_mps: FloatArray) -> dict[str, FloatArray]:
        """Return for its line of the budget the covariance of what is read at (n,) speeds, shape (n, n). [m2/s2]."""
        handed = self.kinks.log_handed_over
        square = np.exp(handed - np.logaddexp(0.0, handed)) * self.kinks.apart_mps2
        if self.others is not None:  # one dial and one reader, and all other rivals, being the rest
            rest = np.logaddexp.reduce([0.0, *(np.log(RIVALS_TO_ONE) + one for one in self.shared.values())])
            log = np.log(RIVALS_TO_ONE * RIVAL_SHARES["two_readers"] * TWO_WATCHES_SHARE) + self.others.watches
            square += np.exp(log - rest) * self.others.apart_mps2
        count = len(speed_mps)
        return {SECOND_READER: np.full((count, count), square)} if square else {}


def weigh_rivals(weighed: Weighed, mixed: Mixed, basis: Basis) -> RivalOdds:
    """Return the odds of all that may explain the readings of a drive better than one dial.

    Parameters
    ----------
    weighed
        Readings beside the drive, with the posterior of clock offset and line for one reader.
    """
    ground, notes, cells = weighed.ground, weighed.notes, weighed.cells
    kinks = kinks_of(mixed.heaviest, basis, mixed.nodes, weighed.set_s)
    log = {"dial_changed": kinks.log_changed, "large_scatter": log_strays(mixed.heaviest, basis)}
    if notes.at.half_width_s > LONG_STEP_S:
        return RivalOdds({"two_readers": kinks.log_handed_over, **log}, None, kinks=kinks)
    others = other_readers(ground, notes, cells, mixed.dial)
    # what looks like a needle that jumps may be a display beside one that does not
    display = gps_display(ground, weighed.steady or notes, cells) - weighed.log_jumps
    two = max(others.two, kinks.log_handed_over)
    return RivalOdds({"two_readers": two, "gps_among_readings": display, **log}, others, kinks)
