"""Where the printed strokes under the tapped marks stand: the face says it ten times better than a finger."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.film.dial_fit import seen_at
from speedcal.logs.film.frames import Picture
from speedcal.logs.film.marks import FilmedDial

_INNER, _OUTER = 0.76, 1.26
_FINE, _MOST = 1.5, 3000
"""Samples a pixel around the rim, and the most of them."""
_REACH_SHARE, _REACH_RAD = 0.4, 0.06
"""How far from a tap its stroke is looked for: a share of the step to the next mark, and at the most."""
_NEEDLE_RAD = 0.08
_FEWEST_FRAMES = 6
_NEAR_CIRCLE, _BAND_LEVEL = 0.06, 0.6
"""How far from the tapped circle a stroke may begin, in its radii; how strong it is to its end."""
_LEAST_CONTRAST, _AS_STRONG = 6.0, 0.25
"""In grey levels, and as a share of the strongest: short ticks are thinner."""
_NEARER = 0.5
"""The stroke that was tapped is nearer than this share of the way to the next."""
_MOST_MISSED = 0.34
STROKE_PX = (0.1, 0.4)
"""How well a stroke is found, standard: across, and its end, since long and short ones end alike to a pen's width."""


@dataclass(frozen=True, eq=False)
class Rim:
    """The ring about the marks, unrolled finely."""

    dial: FilmedDial

    @property
    def step_rad(self) -> float:
        """Angle from one row to the next. [rad]."""
        return 2 * np.pi / min(round(2 * np.pi * _FINE * self.dial.radius_px), _MOST)

    @property
    def radii(self) -> FloatArray:
        """Radius of each column in those of the marks."""
        return np.linspace(_INNER, _OUTER, min(round((_OUTER - _INNER) * _FINE * self.dial.radius_px), _MOST // 10))

    @cached_property
    def _points(self) -> FloatArray:
        angle = np.arange(0, 2 * np.pi - self.step_rad / 2, self.step_rad)
        direction = np.column_stack([np.cos(angle), np.sin(angle)])
        return seen_at(self.dial.plane, direction[:, None, :] * self.radii[None, :, None])

    def of(self, picture: Picture, warp: FloatArray) -> Picture:
        """Return the rim of a frame, grey, a row a direction, a column a radius."""
        import cv2

        seen = (self._points @ warp[:, :2].T + warp[:, 2]).astype(np.float32)
        polar = cv2.remap(picture, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(cv2.cvtColor(polar, cv2.COLOR_RGB2GRAY) if polar.ndim == 3 else polar)


@dataclass(frozen=True, eq=False)
class _Window:
    """The face around one mark: how much lighter it is than beside it, and the angle of each row from the tap."""

    away_rad: FloatArray
    lighter: FloatArray


def printed_marks(rim: Rim, rims: list[Picture], needles: FloatArray) -> tuple[FloatArray, BoolArray] | None:
    """Return the middle of each stroke that was tapped, and which of them were found; None when too few were.

    Parameters
    ----------
    rim, rims
        How the rim was unrolled, and that of some frames.
    needles
        Angle of the needle in each of them; what it covers is left out. [rad]
    """
    dial = rim.dial
    reach = min(_REACH_SHARE * float(np.min(np.abs(np.diff(dial.scale_rad)))), _REACH_RAD)
    windows = [_window(rim, rims, needles, angle, reach) for angle in dial.scale_rad]
    seen = [window for window in windows if window is not None]
    if len(seen) < (1 - _MOST_MISSED) * len(windows):
        return None
    sign, band = _band(seen, rim.radii)
    places = [None if window is None else _stroke(window, sign, band, rim.radii) for window in windows]
    points, found = dial.points.copy(), np.zeros(len(places), bool)
    for i, place in enumerate(places):
        if place is not None:
            angle = dial.scale_rad[i] + place[0]
            points[i] = seen_at(dial.plane, place[1] * np.array([[np.cos(angle), np.sin(angle)]]))[0]
            found[i] = True
    return (points, found) if found.mean() >= 1 - _MOST_MISSED else None


def _window(rim: Rim, rims: list[Picture], needles: FloatArray, angle: float, reach: float) -> _Window | None:
    """Return the face around a mark without needle, None when the needle stands there too often."""
    away = np.abs((needles - angle + np.pi) % (2 * np.pi) - np.pi)
    clear = np.flatnonzero(away > _NEEDLE_RAD + reach)
    if len(clear) < _FEWEST_FRAMES:
        return None
    middle, half = round(angle / rim.step_rad), int(np.ceil(1.5 * reach / rim.step_rad))
    rows = np.arange(middle - half, middle + half + 1)
    grey = np.stack([np.take(rims[i], rows, axis=0, mode="wrap") for i in clear]).astype(np.float32)
    face = np.median(grey - np.median(grey, axis=(1, 2), keepdims=True), axis=0).astype(float)
    return _Window(np.asarray(rows * rim.step_rad - angle, float), face - np.median(face, axis=0, keepdims=True))


def _band(windows: list[_Window], radii: FloatArray) -> tuple[float, BoolArray]:
    """Return 1 for light strokes and -1 for dark ones, and the columns in which they stand."""
    most = np.median([np.quantile(window.lighter, 0.97, axis=0) for window in windows], axis=0)
    least = np.median([np.quantile(-window.lighter, 0.97, axis=0) for window in windows], axis=0)
    near = np.abs(radii - 1) < _NEAR_CIRCLE
    sign = 1.0 if most[near].max() > least[near].max() else -1.0
    strength = most if sign > 0 else least
    best = int(np.flatnonzero(near)[np.argmax(strength[near])])
    weak = np.flatnonzero(strength < _BAND_LEVEL * strength[best])
    low, high = weak[weak < best].max(initial=-1), weak[weak > best].min(initial=len(radii))
    band = np.zeros(len(radii), bool)
    band[low + 1 : high] = True
    return sign, band


def _stroke(window: _Window, sign: float, band: BoolArray, radii: FloatArray) -> tuple[float, float] | None:
    """Return the angle of the stroke from the tap and the radius of its middle, None when that is not sure.

    Its middle, since on a tilted dial whose centre is not known yet the stroke does not run along a radius.
    """
    profile = sign * window.lighter[:, band].mean(axis=1)
    inner = slice(1, -1)
    tops = 1 + np.flatnonzero((profile[inner] >= profile[:-2]) & (profile[inner] > profile[2:]))
    tops = tops[profile[tops] > max(_AS_STRONG * profile.max(), _LEAST_CONTRAST)]
    tops = tops[np.argsort(np.abs(window.away_rad[tops]))]
    if not len(tops) or (np.abs(window.away_rad[tops[0]]) > _NEARER * np.abs(window.away_rad[tops[1:2]])).any():
        return None
    top = int(tops[0])
    low, high = _flanks(profile, top, profile[top] / 2)
    if low <= 0 or high >= len(profile) - 1:
        return None
    part = np.arange(low, high + 1)
    weight = np.maximum(profile[part] - profile[top] / 2, 0.0)
    angle = float(np.average(window.away_rad[part], weights=weight))
    along = sign * window.lighter[low : high + 1].mean(axis=0)
    usual = float(np.median(along[band]))
    out = np.flatnonzero(band)[-1] - 2
    while out < len(radii) - 1 and along[out] > usual / 2:
        out += 1
    if out >= len(radii) - 1 or along[out] >= along[out - 1]:
        return None
    part_out = (along[out - 1] - usual / 2) / (along[out - 1] - along[out])
    end = radii[out - 1] + part_out * (radii[out] - radii[out - 1])
    return angle, float(end - np.ptp(radii[band]) / 2)


def _flanks(profile: FloatArray, top: int, level: float) -> tuple[int, int]:
    """Return the rows next to a top at which a profile has fallen to a level."""
    low = high = top
    while low > 0 and profile[low] > level:
        low -= 1
    while high < len(profile) - 1 and profile[high] > level:
        high += 1
    return low, high
