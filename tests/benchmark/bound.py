"""How well the error factor of a simulated drive can be known at best, from the truth of the simulation.

The Cramer-Rao bound of a straight line with known noise and a free offset is ``1 / sqrt(sum(w (v - mean v)^2))`` with
``w = 1 / sd^2``. The noise of one reading, in indicated speed, adds up from

- what the passenger misreads, and rounding to whole units (``step^2 / 12``); between readings so close in time that the
  speed has not moved by a step, rounding errors are alike and count accordingly more (:func:`_rounding_memory`);
- the time stamp: the variance of the true speed over the times the stamp may mean, normal for a person, even over the
  minute for a whole minute (for a small error of time this is acceleration times error);
- the ground speed: Doppler noise of one fix a reading, and what the speed does between two fixes where nothing sees
  it. That is the variance of a Markov process tied at both fixes under way, and the mean square of the true
  interpolation error on ramps;
- for a track of positions, in place of Doppler noise, the rate of change of the position error along the way, which
  is correlated from reading to reading: the bound is that of generalised least squares.

Wrong readings, readings where no ground speed was received and those below 3 m/s, where an instrument is not linear,
carry nothing. The clock offset is taken as known, so the bound is a little optimistic.
"""

from __future__ import annotations

import numpy as np

from speedcal.calibration.geodesy import local_east_north_m
from speedcal.interval import BoolArray, FloatArray
from speedcal.simulate import Drive
from speedcal.simulate.road import (
    DOPPLER_SD_MPS,
    POSITION_SCALE_S,
    POSITION_SD_M,
)
from speedcal.units import SPEED_UNIT_MPS

LINEAR_FROM_MPS = 3.0
PLATEAU_S = 80.0
"""Mean length of a plateau; rounding errors of different plateaus have nothing in common."""


def factor_bound(drive: Drive) -> float:
    """Return the Cramer-Rao bound of the error factor, offset free, as a standard deviation. [1]."""
    return float(np.sqrt(line_bound(drive)[1, 1]))


def line_bound(drive: Drive, *, offset_sd_mps: float | None = None) -> FloatArray:
    """Return the bound of (offset, error factor) as a covariance; with a prior of the offset when its sd is given."""
    speed, variance, use = _held_noise(drive) if drive.kind.readings == "held" else _timed_noise(drive)
    speed, variance = speed[use], variance[use]
    design = np.column_stack((np.ones_like(speed), speed))
    if drive.kind.recorded_speed:
        information = design.T @ (design / variance[:, None])
    else:
        covariance = np.diag(variance) + drive.truth.error_factor**2 * _position_noise(drive, use)
        information = design.T @ np.linalg.solve(covariance, design)
    if offset_sd_mps is not None:
        information[0, 0] += 1 / offset_sd_mps**2
    return np.linalg.inv(information)


def _held_noise(drive: Drive) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return mean speed, variance and use of every held speed: the mark as it was held, and the mean of the fixes."""
    length = {round((begin + end) / 2, 3): end - begin for begin, end, _ in drive.truth.plateaus}
    fixes = np.array([length[round(t, 3)] for t in drive.truth.reading_time_s]) / drive.kind.fix_interval_s
    variance = drive.kind.sd_mps**2 + (drive.truth.error_factor * DOPPLER_SD_MPS) ** 2 / fixes
    return drive.truth.reading_ground_mps, variance, np.ones(len(fixes), np.bool_)


def _timed_noise(drive: Drive) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return expected ground speed, variance in indicated speed, and use of every reading."""
    truth, kind = drive.truth, drive.kind
    if kind.time_resolution_s >= 60:
        shift = (np.arange(60) + 0.5) / 60 * kind.time_resolution_s
        share = np.full(60, 1 / 60)
    else:
        node, share = np.polynomial.hermite_e.hermegauss(15)
        shift = node * np.hypot(kind.time_sd_s, kind.time_resolution_s / np.sqrt(12))
        share = share / share.sum()
    at = drive.readings.time_s + truth.clock_offset_s
    possible = truth.ground_at(at[:, None] + shift)
    mean = possible @ share
    variance_time = ((possible - mean[:, None]) ** 2) @ share
    between, received = _between_fixes(drive, at)
    variance_ground = variance_time + between + (DOPPLER_SD_MPS**2 if kind.recorded_speed else 0.0)
    rounding = SPEED_UNIT_MPS[kind.unit] ** 2 / 12 * (_rounding_memory(drive) if kind.readings == "logged" else 1.0)
    variance = kind.sd_mps**2 + rounding + truth.error_factor**2 * variance_ground
    linear = truth.reading_ground_mps > LINEAR_FROM_MPS
    return mean, variance, ~truth.wrong & received & linear


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
    seen = truth.ground_at(time)
    missed = truth.ground_at(at) - (seen[before] + part * (seen[before + 1] - seen[before]))
    steady = np.any([(at >= begin) & (at <= end) for begin, end, _ in truth.plateaus], axis=0)
    ramp = ~steady & received & (truth.ground_at(at) > LINEAR_FROM_MPS)
    on_ramp = float(np.mean(missed[ramp] ** 2)) if ramp.any() else 0.0
    return np.where(steady, tied, on_ramp), received


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
