"""What people do instead: join by the nearest time and fit a line."""

from __future__ import annotations

import warnings

import gpxpy.geo
import numpy as np

from speedcal.interval import FloatArray
from speedcal.simulate import Drive

WAYS = ("nearest time, polyfit", "clock removed, polyfit", "clock removed, RLM", "clock removed, odrpack")


def trade_factors(drive: Drive) -> dict[str, float]:
    """Return the error factor that each of the usual ways finds; NaN where the way does not apply.

    The clock is removed as a careful person would: the shift at which a line through the pairs leaves the smallest
    sum of squares, tried every half second over a minute either way (for a wall clock of unknown zone that minute is
    laid around the right hour, for a stopwatch around the right start, as if somebody had told).
    """
    if drive.kind.clock == "none":
        return dict.fromkeys(WAYS, np.nan)
    speed, stamp, shown = _ground(drive), drive.readings.time_s, drive.readings.speed_mps
    told = 0.0 if drive.kind.clock == "utc" else drive.truth.clock_offset_s
    x, y = _nearest(drive, speed, stamp + told, shown)
    result = dict.fromkeys(WAYS, np.nan)
    if drive.kind.clock == "utc":
        result[WAYS[0]] = float(np.polyfit(x, y, 1)[0])
    shifts = told + np.arange(-60, 60.25, 0.5)
    loss = [_mean_square(*_nearest(drive, speed, stamp + shift, shown)) for shift in shifts]
    x, y = _nearest(drive, speed, stamp + shifts[int(np.argmin(loss))], shown)
    slope, intercept = np.polyfit(x, y, 1)
    result[WAYS[1]] = float(slope)
    result[WAYS[2]] = _robust(x, y)
    result[WAYS[3]] = _orthogonal(x, y, np.array([intercept, slope]))
    return result


def _ground(drive: Drive) -> FloatArray:
    """Return the recorded speed, or for positions what gpxpy makes of them."""
    track = drive.track
    if drive.kind.recorded_speed:
        return track.speed_mps
    lat, lon = track.latitude_deg, track.longitude_deg
    step = [gpxpy.geo.haversine_distance(lat[i], lon[i], lat[i + 1], lon[i + 1]) for i in range(len(lat) - 1)]
    each = np.array(step) / np.diff(track.time_s)
    return np.concatenate((each[:1], (each[1:] + each[:-1]) / 2, each[-1:]))


def _nearest(drive: Drive, speed: FloatArray, at: FloatArray, shown: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the pairs of ground and indicated speed by nearest time, as pandas.merge_asof would join them."""
    time = drive.track.time_s
    after = np.clip(np.searchsorted(time, at), 1, len(time) - 1)
    nearest = after - (at - time[after - 1] < time[after] - at)
    return speed[nearest], shown


def _mean_square(x: FloatArray, y: FloatArray) -> float:
    dx, dy = x - x.mean(), y - y.mean()
    spread = float(dx @ dx)
    return float(dy @ dy) - float(dx @ dy) ** 2 / spread if spread > 0 else np.inf


def _robust(x: FloatArray, y: FloatArray) -> float:
    import statsmodels.api as sm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a logged drive may leave no scale at all
        return float(sm.RLM(y, sm.add_constant(x), M=sm.robust.norms.TukeyBiweight()).fit().params[1])


def _orthogonal(x: FloatArray, y: FloatArray, start: FloatArray) -> float:
    import odrpack

    fit = odrpack.odr_fit(
        lambda x, beta: beta[0] + beta[1] * x, x, y, start, weight_x=0.1**-2, weight_y=0.3**-2, diff_scheme="central"
    )
    return float(fit.beta[1])
