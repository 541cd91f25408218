"""Speed that a receiver recorded, held against its positions: its unit, its step of rounding, its noise."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from speedcal.calibration.tuning import track as tuned
from speedcal.calibration.tuning.logs import RECEIVER_U_MPS, STEP_NOTICED_MPS
from speedcal.errors import FitError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray, median, robust_scale
from speedcal.logs.drive.readings import Terrain
from speedcal.units import SPEED_UNIT_MPS

_FEWEST_VALUES = 5
_FOURTH, _ZIGZAG = np.array([1.0, -4.0, 6.0, -4.0, 1.0]), 20.0
"""Of a chord between two positions, each off its way by s, the mean excess is s^2 over its length: 16 in four chords of
a quarter, 4 in two halves, and a third of the difference beside the four."""
SPEED_AGAINST_POSITIONS = "speed_against_positions"


@dataclass(frozen=True, slots=True)
class KeptFixes:
    """What is left of a track, arrays of one length."""

    time: FloatArray
    segment: IntArray
    elevation: FloatArray
    recorded: FloatArray
    terrain: Terrain | None

    @property
    def interval(self) -> float:
        """Median time between them. [s]."""
        return median(np.diff(self.time))

    @property
    def piece(self) -> IntArray:
        """Number of the unbroken piece each lies in."""
        return _pieces(self.time, self.segment, self.interval)

    def only(self, keep: IntArray) -> KeptFixes:
        """Return some of them."""
        return KeptFixes(self.time[keep], self.segment[keep], self.elevation[keep], self.recorded[keep], self.terrain)


def _pieces(time: FloatArray, segment: IntArray, interval: float) -> IntArray:
    """Return the number of the unbroken piece of each fix; segment breaks and gaps begin a new one."""
    breaks = (np.diff(time) > max(tuned.GAP_S, tuned.GAP_INTERVALS * interval)) | (np.diff(segment) != 0)
    return np.concatenate(([0], np.cumsum(breaks))).astype(np.int64)


def unit_of_recorded(fixes: KeptFixes, east: FloatArray, north: FloatArray, source: str) -> tuple[float, list[Finding]]:
    """Hold recorded speeds against positions; return the factor to metres per second and what was found."""
    ratio = _recorded_over_positions(fixes, east, north)
    if ratio is None:
        return 1.0, [Finding("speed_unit_unchecked")]
    unit = min(SPEED_UNIT_MPS, key=lambda unit: abs(ratio * SPEED_UNIT_MPS[unit] - 1))
    factor = SPEED_UNIT_MPS[unit]
    sparse = fixes.interval >= tuned.SPARSE_FROM_S  # then corners between the fixes are in the ratio as well
    if abs(ratio * factor - 1) > (tuned.SPARSE_UNIT_TOLERANCE if sparse else tuned.UNIT_TOLERANCE):
        raise FitError("speed_unit_unexplained", source=source, ratio=ratio)
    return factor, [] if unit == "m/s" else [Finding("speed_unit_found", ratio=ratio, unit=unit)]


def _recorded_over_positions(fixes: KeptFixes, east: FloatArray, north: FloatArray) -> float | None:
    """Return the ratio of recorded speed to that of the positions over straight stretches, None without any."""
    travelled, way, _, _ = _straight_stretches(fixes, fixes.recorded, east, north)
    return median(travelled / way) if len(way) >= tuned.FEWEST_FIXES else None


def against_positions(
    fixes: KeptFixes, speed: FloatArray, east: FloatArray, north: FloatArray
) -> tuple[list[Finding], float]:
    """Hold recorded speed against positions: the finding that they contradict each other, and what doubt that leaves.

    The finding comes where they differ by more than both can err. The doubt is a relative standard uncertainty that all
    speeds share: the truth is anywhere between the two if they differ by more than chance, and that is as likely as the
    difference says, with what receivers are known to differ by.
    """
    if fixes.interval >= tuned.SPARSE_FROM_S:
        return [], 0.0
    travelled, way, begin, _ = _straight_stretches(fixes, speed, east, north, straight=tuned.STRAIGHTEST_CHORD)
    label = np.unique(np.floor(begin / (3 * tuned.STRETCH_S)), return_inverse=True)[1]
    if not len(label) or label.max() + 1 < tuned.FEWEST_FIXES:
        return [], 0.0
    ratio = np.bincount(label, weights=travelled) / np.bincount(label, weights=way)
    middle = median(ratio)
    u = _u_of_middle(ratio - middle)
    away = abs(middle - 1)
    doubt = _believed_difference(away, u) / float(np.sqrt(3))
    doubt = doubt if doubt > tuned.LEAST_DOUBT else 0.0
    if away < max(tuned.SPEED_DISAGREES, tuned.SPEED_DISAGREES_SIGMAS * u):
        return [], doubt
    return [Finding(SPEED_AGAINST_POSITIONS, ratio=middle)], doubt


def told_by_positions(fixes: KeptFixes, east: FloatArray, north: FloatArray) -> bool:
    """Tell whether what was recorded as speed is worked out of the positions, as some apps do, and worse than they are.

    Then it has their noise: what changes from fix to fix is a weighted sum of the steps between the last few of them. A
    receiver's own speed has a noise of its own. Fourth differences leave out how the vehicle was driven, and by which
    ball or ellipsoid the app went. Over a second, and of positions without noise, such a speed is as good as any.
    """
    count = len(fixes.time)
    if count < tuned.FEWEST_SAME_NOISE:
        return False
    leg = np.hypot(np.diff(east), np.diff(north)) / np.diff(fixes.time)
    at = np.arange(tuned.LEGS_OF_SPEED, count - 1)
    legs = np.stack([leg[at - k] for k in range(tuned.LEGS_OF_SPEED + 1)], axis=1)
    quick = (legs.min(axis=1) > tuned.SLOWEST_POSITION_SPEED_MPS) & (
        fixes.piece[at - tuned.LEGS_OF_SPEED] == fixes.piece[at + 1]
    )
    quick &= np.isfinite(fixes.recorded[at])
    noise, whole = (sum(w * x[k : len(x) - 4 + k] for k, w in enumerate(_FOURTH)) for x in (legs, fixes.recorded[at]))
    use = np.lib.stride_tricks.sliding_window_view(quick, 5).all(axis=1) if len(quick) > 4 else np.zeros(0, bool)
    if use.sum() < tuned.FEWEST_SAME_NOISE:
        return False
    noise, whole = noise[use], whole[use]
    weight = np.linalg.lstsq(noise, whole, rcond=None)[0]
    left, size = robust_scale(whole - noise @ weight), robust_scale(whole)
    if not left < tuned.SAME_NOISE * size:
        return False
    lasts_s = fixes.interval * float(weight.sum() ** 2 / (weight @ weight))
    noise_mps = size / float(np.linalg.norm(_FOURTH) * abs(weight.sum()))
    return lasts_s > tuned.LONG_MEAN_S or noise_mps > tuned.NOISY_SPEED_MPS


def _u_of_middle(off: FloatArray) -> float:
    """Return the standard uncertainty of the median of what follows each other in time and errs alike for a while."""
    scale = robust_scale(off)
    away = np.clip(off / max(scale, 1e-9), -3.0, 3.0)
    alike = (float(away[1:] @ away[:-1]) + tuned.ALIKE * tuned.ALIKE_WORTH) / (float(away @ away) + tuned.ALIKE_WORTH)
    alike = float(np.clip(alike, 0.0, tuned.MOST_ALIKE))
    return max(1.25 * scale / float(np.sqrt(len(off))) * float(np.sqrt((1 + alike) / (1 - alike))), 1e-6)


def _believed_difference(away: float, u: float) -> float:
    """Return by how much recorded speed is believed to differ from the positions: the mean, where it may not at all."""
    size2 = np.square(tuned.DIFFERENCES)
    favour = -0.5 * np.log1p(size2 / u**2) + 0.5 * away**2 * (1 / u**2 - 1 / (u**2 + size2))
    odds = tuned.DIFFERING / (1 - tuned.DIFFERING) / len(tuned.DIFFERENCES) * np.exp(np.minimum(favour, 500.0))
    return float(odds @ (away * size2 / (u**2 + size2)) / (1 + odds.sum()))


def _straight_stretches(
    fixes: KeptFixes, speed: FloatArray, east: FloatArray, north: FloatArray, *, straight: float = tuned.STRAIGHT_CHORD
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return path by recorded speed and by positions, begin and length of all straight stretches of ten seconds.

    Straight are those whose chord is at least a share of the way over their middle. What chords cut off a bend falls
    to a quarter when they are halved, so a third of the difference between two and four of them is added to the four
    (Richardson's extrapolation): without it bends look like cut or wrong recorded speed. What positions err by beside
    the way, as where they are rounded to ten meters, makes the way between them longer, and is taken off. [m, m, s, s].
    """
    time = fixes.time
    here = np.flatnonzero(np.searchsorted(time, time + tuned.STRETCH_S) < len(time))
    ahead = _nearest(time, time[here] + tuned.STRETCH_S)
    known = np.isfinite(speed)
    speed = np.where(known, speed, 0.0)
    travelled = np.concatenate(([0.0], np.cumsum(np.diff(time) * (speed[1:] + speed[:-1]) / 2)))
    unknown = np.concatenate(([0], np.cumsum(~known)))
    at = [_nearest(time, time[here] + part * (time[ahead] - time[here])) for part in (0.0, 0.25, 0.5, 0.75)]

    def over(*stops: IntArray) -> FloatArray:
        chords = [np.hypot(east[j] - east[i], north[j] - north[i]) for i, j in pairwise(stops)]
        return np.asarray(np.sum(chords, axis=0))

    chord, two, four = over(here, ahead), over(here, at[2], ahead), over(*at, ahead)
    whole = (fixes.piece[ahead] == fixes.piece[here]) & (unknown[ahead + 1] == unknown[here])
    use = whole & (chord > straight * two) & (chord > tuned.SLOWEST_POSITION_SPEED_MPS * (time[ahead] - time[here]))
    way = four + (four - two) / 3
    stops = np.stack([here, *at[1:], ahead])[:, use]
    here, ahead = here[use], ahead[use]
    way = way[use] - _ZIGZAG * _beside_way2(east[stops], north[stops]) / np.maximum(chord[use], 1.0)
    return travelled[ahead] - travelled[here], way, time[here], time[ahead] - time[here]


def _nearest(time: FloatArray, wanted: FloatArray) -> IntArray:
    """Return the fix nearest to each time, of two as near the one before and the one after in turn.

    The first after it would be one whose stamp is late more often than not: recorded speed looked 0.06 % too high for
    stamps off by 0.02 s, and 0.6 % for a phone's in whole seconds.
    """
    after = np.clip(np.searchsorted(time, wanted), 1, len(time) - 1)
    nearer = (time[after] - wanted) - (wanted - time[after - 1])
    in_turn = (np.abs(nearer) < tuned.AS_NEAR_S) & (np.arange(len(wanted)) % 2 == 0)
    return np.asarray(after - ((nearer > tuned.AS_NEAR_S) | in_turn))


def _beside_way2(east: FloatArray, north: FloatArray) -> float:
    """Return the variance of what positions err by across the way, by five of them in a row, shape (5, n) each. [m2].

    Their fourth differences hold seventy times that of one, and of bends next to nothing.
    """
    if not east.size:
        return 0.0
    across = np.stack([north[-1] - north[0], east[0] - east[-1]])
    fourth = np.stack([_FOURTH @ east, _FOURTH @ north])
    off = (fourth * across).sum(axis=0) / np.maximum(np.hypot(*across), 1.0)
    return robust_scale(off) ** 2 / float(_FOURTH @ _FOURTH)


def rounding_step_mps(speed_mps: FloatArray) -> float:
    """Return the step in which speeds were written, zero where it is too fine to matter. [m/s].

    Whole units of any kind, their halves, fifths and tenths are tried; loggers convert and round again, so a
    hundredth of a metre a second is let pass.
    """
    known = speed_mps[np.isfinite(speed_mps) & (speed_mps > 1.0)]
    if len(np.unique(np.round(known, 2))) < _FEWEST_VALUES:
        return 0.0
    steps = sorted((size / part for size in SPEED_UNIT_MPS.values() for part in (1, 2, 5, 10)), reverse=True)
    for step in steps:
        if step < STEP_NOTICED_MPS:
            break
        off = np.abs(known / step - np.round(known / step)) * step
        if np.count_nonzero(off < min(0.011, 0.06 * step)) > 0.98 * (len(off) - 1):
            return float(step)
    return 0.0


def rounding(fixes: KeptFixes, speed: FloatArray, east: FloatArray, north: FloatArray) -> tuple[float, float, float]:
    """Return the step of recorded speed, how much it lies low for being cut, and how well that is known. [m/s].

    Cut speeds lie half a step below the speed of the positions over straight stretches, rounded ones beside it.
    """
    step = rounding_step_mps(speed)
    if not step:
        return 0.0, 0.0, 0.0
    away, u = _recorded_less_positions(fixes, speed, east, north)
    if not np.isfinite(away) or u > step / 4:
        return step, step / 4, step / 4
    log_odds = -0.5 * ((away / u) ** 2 - ((away + step / 2) / u) ** 2)
    cut = 1 / (1 + np.exp(np.clip(log_odds, -500, 500)))
    return step, float(cut) * step / 2, float(np.sqrt(cut * (1 - cut))) * step / 2


def _recorded_less_positions(
    fixes: KeptFixes, speed: FloatArray, east: FloatArray, north: FloatArray
) -> tuple[float, float]:
    """Return the mean of recorded speed less that of the positions while driving straight, and its uncertainty."""
    travelled, way, _, span = _straight_stretches(fixes, speed, east, north)
    if len(way) < 3 * tuned.FEWEST_FIXES:
        return np.nan, np.inf
    away = (travelled - way) / span
    middle = median(away)
    spread = robust_scale(away - middle)
    independent = max(len(away) * median(np.diff(fixes.time)) / tuned.STRETCH_S, 3.0)
    bends = tuned.BENDS_LEFT_U * median(way / span)
    return middle, float(np.linalg.norm([1.25 * spread / np.sqrt(independent), RECEIVER_U_MPS, bends]))


def scatter(time: FloatArray, piece: IntArray, speed: FloatArray) -> float:
    """Estimate the noise of a recorded speed from its second differences, which a smooth drive hardly has."""
    whole = piece[2:] == piece[:-2]
    second = (speed[2:] - 2 * speed[1:-1] + speed[:-2])[whole & (speed[1:-1] > 2.0)]
    if len(second) < 20 or median(np.diff(time)) > 1.5:  # at wide spacing this would measure the driver
        return tuned.RECORDED_U_MPS
    return float(np.clip(robust_scale(second) / np.sqrt(6), 0.02, None))
