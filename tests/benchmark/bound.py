"""How well the error factor of a simulated drive can be known at best: by an analyst who knows all but the dial.

The analyst is told the clock, the noise, which readings are wrong, and from where needles are drawn; what is left is
the posterior of offset and error factor, and nobody's mean square error is smaller than its variance (in the mean over
drives; A. Gelman and others, *Bayesian Data Analysis*, 3rd edition, CRC 2013, section 1.4).

- **Notes**: the exact likelihood of a whole value. It is a mixture over the times the stamp may mean: normal for a
  person, even over the minute for a whole minute. Ground speed carries the Doppler noise of a fix and what the speed
  does between two fixes, where nothing sees it: the variance of a Markov process tied at both under way, and the mean
  square of the true interpolation error on ramps.
- **Logs at a steady speed**: the exact likelihood of rounded values on the plateaus (:mod:`benchmark.steady`), a line
  through the ramps.
- **Other logs**: the line, with rounding counted as ``step^2 / 12``; between readings so close in time that the speed
  has not moved by a step, rounding errors are alike and count accordingly more (:func:`_rounding_memory`). For a track
  of positions the noise is the rate of change of the position error along the way, correlated from reading to reading.
- **Held speeds**: the line through the means.

Wrong readings, readings where no ground speed was received and those below 3 m/s, where an instrument is not linear,
carry nothing.
"""

from __future__ import annotations

import numpy as np
from benchmark.steady import edge_likelihood

from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.interval import BoolArray, FloatArray
from speedcal.simulate import Drive
from speedcal.simulate.model import DriveKind
from speedcal.simulate.road import DOPPLER_SD_MPS, POSITION_SCALE_S, POSITION_SD_M
from speedcal.units import MPH_MPS, SPEED_UNIT_MPS

LINEAR_FROM_MPS = 3.0
PLATEAU_S = 80.0
"""Mean length of a plateau; rounding errors of different plateaus have nothing in common."""
STEADY_MPS = 0.1
"""Speeds that wander by less about a plateau round to one or two values."""
_GRID = np.linspace(-6.5, 6.5, 41)
"""Where a posterior is evaluated, in standard uncertainties of the line."""
_EDGES = np.linspace(-0.16, 0.16, 41)
"""Where the edge of a step is tried about its true place. [m/s]"""
_LEVELS = np.linspace(-0.09, 0.09, 7)
"""Where the mean speed of a plateau is tried about its true one. [m/s]"""


def factor_bound(drive: Drive) -> float:
    """Return the standard uncertainty of the error factor that nobody beats. [1]."""
    return float(np.sqrt(line_bound(drive)[1, 1]))


def line_bound(drive: Drive) -> FloatArray:
    """Return the covariance of (offset, error factor) that nobody beats."""
    return told(drive)[1] if drive.kind.recorded_speed else _prior_and(_position_information(drive), drive.kind)


def told(drive: Drive) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of (offset, error factor) for the analyst; the track has recorded speed."""
    kind = drive.kind
    if kind.readings == "held":
        mean, variance, use = _held_noise(drive)
        return _line(drive, mean, variance, use)
    if kind.readings == "noted":
        return _noted(drive)
    variance, use = _logged_noise(drive)
    mean = _interpolated(drive, drive.track.speed_mps, drive.readings.time_s + drive.truth.clock_offset_s)
    return _steady(drive, mean, variance, use) if kind.wander_mps < STEADY_MPS else _line(drive, mean, variance, use)


def offset_variance(kind: DriveKind) -> float:
    """Return the variance of the needles that the simulation draws. [m2/s2]."""
    if kind.offset_mph is None:
        return MPH_MPS**2
    low, high = kind.offset_mph
    return (low**2 + low * high + high**2) / 3 * MPH_MPS**2


def _prior_and(information: FloatArray, kind: DriveKind) -> FloatArray:
    return np.linalg.inv(information + np.diag([1 / offset_variance(kind), 0.0]))


def _line(drive: Drive, speed: FloatArray, variance: FloatArray, use: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the line by weighted least squares and the prior of the offset."""
    design = np.column_stack((np.ones(use.sum()), speed[use])) / np.sqrt(variance[use])[:, None]
    covariance = _prior_and(design.T @ design, drive.kind)
    return covariance @ design.T @ (drive.readings.speed_mps[use] / np.sqrt(variance[use])), covariance


def _on_grid(covariance: FloatArray, drive: Drive) -> FloatArray:
    """Return (offset, factor) over a grid about the truth, shape (n, 2)."""
    a, b = np.meshgrid(_GRID, _GRID, indexing="ij")
    truth = np.array([drive.truth.offset_mps, drive.truth.error_factor])
    return truth + np.column_stack([a.ravel(), b.ravel()]) @ np.linalg.cholesky(covariance).T


def _moments(grid: FloatArray, log_likelihood: FloatArray, kind: DriveKind) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the posterior on a grid."""
    log_density = log_likelihood - 0.5 * grid[:, 0] ** 2 / offset_variance(kind)
    weight = np.exp(log_density - log_density.max())
    weight /= weight.sum()
    mean = weight @ grid
    return mean, (grid - mean).T @ ((grid - mean) * weight[:, None])


# ---- notes


def _noted(drive: Drive) -> tuple[FloatArray, FloatArray]:
    """Return the posterior under the exact likelihood of whole values at times that are known as the stamps say."""
    from scipy.special import ndtr

    kind, unit = drive.kind, SPEED_UNIT_MPS[drive.kind.unit]
    possible, share, ground, use = _possible(drive)
    mean = possible @ share
    spread = ((possible - mean[:, None]) ** 2) @ share
    variance = kind.sd_mps**2 + unit**2 / 12 + drive.truth.error_factor**2 * (ground + spread)
    grid = _on_grid(_line(drive, mean, variance, use)[1], drive)
    scatter = np.sqrt(kind.sd_mps**2 + drive.truth.error_factor**2 * ground)
    log_likelihood = np.zeros(len(grid))
    for i in np.flatnonzero(use):
        expected = grid[:, :1] + grid[:, 1:] * possible[i]
        above = (drive.readings.speed_mps[i] - expected) / scatter[i]
        half = unit / 2 / scatter[i]
        log_likelihood += np.log((ndtr(above + half) - ndtr(above - half)) @ share + 1e-300)
    return _moments(grid, log_likelihood, kind)


def _possible(drive: Drive) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return speeds (n, k) at the times each stamp may mean, their shares (k,), the variance of each (n,), and use."""
    kind, truth = drive.kind, drive.truth
    if kind.time_resolution_s >= 60:
        shift, share = (np.arange(60) + 0.5) / 60 * kind.time_resolution_s, np.full(60, 1 / 60)
    else:
        node, share = np.polynomial.hermite_e.hermegauss(15)
        shift, share = node * np.hypot(kind.time_sd_s, kind.time_resolution_s / np.sqrt(12)), share / share.sum()
    at = drive.readings.time_s + truth.clock_offset_s
    possible = np.interp(at[:, None] + shift, drive.track.time_s, drive.track.speed_mps)
    between, received = _between_fixes(drive, truth.reading_time_s)
    linear = truth.reading_ground_mps > LINEAR_FROM_MPS
    return possible, share, DOPPLER_SD_MPS**2 + between, ~truth.wrong & received & linear


# ---- held speeds


def _held_noise(drive: Drive) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return mean speed, variance and use of every held speed: the mark as it was held, and the mean of the fixes."""
    length = {round((begin + end) / 2, 3): end - begin for begin, end, _ in drive.truth.plateaus}
    fixes = np.array([length[round(t, 3)] for t in drive.truth.reading_time_s]) / drive.kind.fix_interval_s
    variance = drive.kind.sd_mps**2 + (drive.truth.error_factor * DOPPLER_SD_MPS) ** 2 / fixes
    return drive.truth.reading_ground_mps, variance, np.ones(len(fixes), np.bool_)


# ---- logs


def _logged_noise(drive: Drive) -> tuple[FloatArray, BoolArray]:
    """Return the variance in indicated speed, and use, of every row of a log."""
    truth, kind = drive.truth, drive.kind
    at = drive.readings.time_s + truth.clock_offset_s
    between, received = _between_fixes(drive, at)
    doppler = DOPPLER_SD_MPS**2 if kind.recorded_speed else 0.0
    rounding = SPEED_UNIT_MPS[kind.unit] ** 2 / 12 * _rounding_memory(drive)
    variance = kind.sd_mps**2 + rounding + truth.error_factor**2 * (doppler + between)
    linear = truth.reading_ground_mps > LINEAR_FROM_MPS
    return variance, ~truth.wrong & received & linear


def _steady(drive: Drive, speed: FloatArray, variance: FloatArray, use: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return the posterior under the exact likelihood of rounded values on plateaus, and a line through the ramps."""
    kind, truth, readings, track = drive.kind, drive.truth, drive.readings, drive.track
    step = SPEED_UNIT_MPS[kind.unit]
    at = readings.time_s + truth.clock_offset_s
    on_plateau = _on_plateau(drive, at) & use
    independent = variance + (1 - _rounding_memory(drive)) * step**2 / 12
    plateaus = []
    for begin, end, level in truth.plateaus:
        here = (at >= begin) & (at <= end) & use
        fixed = (track.time_s >= begin) & (track.time_s <= end)
        first = np.floor((truth.offset_mps + truth.error_factor * level) / step + 0.5)
        edge = ((first - 0.5) * step - truth.offset_mps) / truth.error_factor
        likelihood = edge_likelihood(
            edge - level + _EDGES,
            level_mps=_LEVELS,
            width_mps=step / truth.error_factor,
            fixes=(track.time_s[fixed], track.speed_mps[fixed] - level),
            readings=(at[here], np.round(readings.speed_mps[here] / step) - first),
            noise_mps=DOPPLER_SD_MPS,
            wander_mps=kind.wander_mps,
            scale_s=kind.wander_scale_s,
        )
        plateaus.append((first, edge, likelihood))
    ramps = use & ~on_plateau
    start = _line(drive, speed, np.where(on_plateau, variance, independent), use)[1]
    grid = _on_grid(start, drive)
    residual = readings.speed_mps[ramps] - grid[:, :1] - grid[:, 1:] * speed[ramps]
    log_likelihood = -0.5 * np.sum(residual**2 / independent[ramps], axis=1)
    for first, edge, likelihood in plateaus:
        place = ((first - 0.5) * step - grid[:, 0]) / grid[:, 1] - edge
        log_likelihood += np.interp(place, _EDGES, likelihood)
    return _moments(grid, log_likelihood, kind)


def _rounding_memory(drive: Drive) -> float:
    """Return by how much the variance of a mean of rounding errors exceeds that of independent ones.

    The rounding error of a speed that has changed by a normal amount of variance D has the correlation
    ``sum over k of 6 / (pi k)^2 exp(-(2 pi k / step)^2 D / 2)`` with its former self (B. Widrow and I. Kollar,
    *Quantization Noise*, Cambridge 2008, chapter 9). At 1 Hz and 1 km/h it is 1.02, at 5 Hz 2.0.
    """
    kind = drive.kind
    lag = np.arange(kind.interval_s, PLATEAU_S / 2, kind.interval_s)
    change = drive.truth.error_factor**2 * 2 * kind.wander_mps**2 * (1 - np.exp(-lag / kind.wander_scale_s))
    k = np.arange(1, 6)[:, None]
    memory = 6 / (np.pi * k) ** 2 * np.exp(-((2 * np.pi * k / SPEED_UNIT_MPS[kind.unit]) ** 2) * change / 2)
    return float(1 + 2 * memory.sum())


def _between_fixes(drive: Drive, at: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the variance of the speed between the fixes around each time, and whether there are any near enough."""
    time, truth = drive.track.time_s, drive.truth
    before = np.clip(np.searchsorted(time, at, side="right") - 1, 0, len(time) - 2)
    span = time[before + 1] - time[before]
    part = np.clip((at - time[before]) / span, 0, 1)
    received = (at >= time[0]) & (at <= time[-1]) & (span <= max(3.0, 3 * drive.kind.fix_interval_s))
    tied = 2 * drive.kind.wander_mps**2 / drive.kind.wander_scale_s * part * (1 - part) * span
    missed = truth.ground_at(at) - _interpolated(drive, truth.ground_at(time), at)
    steady = _on_plateau(drive, at)
    ramp = ~steady & received & (truth.ground_at(at) > LINEAR_FROM_MPS)
    on_ramp = float(np.mean(missed[ramp] ** 2)) if ramp.any() else 0.0
    return np.where(steady, tied, on_ramp), received


def _interpolated(drive: Drive, seen: FloatArray, at: FloatArray) -> FloatArray:
    """Return what fixes say of the speed between them: best on a straight line under way, on a smooth one on ramps."""
    from scipy.interpolate import CubicSpline

    time = drive.track.time_s
    smooth = CubicSpline(time, seen)(np.clip(at, time[0], time[-1]))
    return np.where(_on_plateau(drive, at), np.interp(at, time, seen), smooth)


def _on_plateau(drive: Drive, at: FloatArray) -> BoolArray:
    return np.any([(at >= begin) & (at <= end) for begin, end, _ in drive.truth.plateaus], axis=0)


def _position_information(drive: Drive) -> FloatArray:
    """Return the information about (offset, factor) of a log against a track of positions alone."""
    variance, use = _logged_noise(drive)
    design = np.column_stack((np.ones(use.sum()), drive.truth.reading_ground_mps[use]))
    covariance = np.diag(variance[use]) + drive.truth.error_factor**2 * _position_noise(drive, use)
    return design.T @ np.linalg.solve(covariance, design)


def _position_noise(drive: Drive, use: BoolArray) -> FloatArray:
    """Return the covariance of the speed error of positions along the way, between the readings used. [m²/s²]."""
    track, at = drive.track, drive.truth.reading_time_s[use]
    east, north = local_east_north_m(track.latitude_deg, track.longitude_deg)
    ahead = [np.interp(at + 2, track.time_s, x) - np.interp(at - 2, track.time_s, x) for x in (east, north)]
    length = np.maximum(np.hypot(*ahead), 1e-9)
    unit_east, unit_north = ahead[0] / length, ahead[1] / length
    apart = np.sqrt(3) / POSITION_SCALE_S * np.abs(at[:, None] - at)
    rate = 3 * POSITION_SD_M**2 / POSITION_SCALE_S**2 * (1 - apart) * np.exp(-apart)
    return np.asarray(rate * (np.outer(unit_east, unit_east) + np.outer(unit_north, unit_north)))
