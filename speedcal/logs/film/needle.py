"""The needle in a picture of the dial: what differs from the face without needle, in rings about the centre."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray, robust_scale
from speedcal.logs.film.dial_fit import seen_at
from speedcal.logs.film.frames import Picture
from speedcal.logs.film.marks import FilmedDial

ANGLES, RINGS = 720, 40
_NEAREST, _FARTHEST = 0.16, 0.98
_FACE_FRAMES, _LEAST_FACES, _MOST_FOR_FACE = 48, 7, 400
_TIP_RINGS = 0.35
_HALF_WIDTH, _SIDE = 14, 4
_LEAST_CONTRAST = 9.0
_SECOND_SHARE = 0.72
_APART = 40
_LEAST_RINGS = 6
_LEAST_RANGE = 12.0
_U_FLOOR_RAD = 0.0025
"""Standard uncertainty of a needle's angle at the best, 0.14 degrees: what registration leaves. From rendered films."""


def polar_picture(picture: Picture, dial: FilmedDial, warp: FloatArray) -> Picture:
    """Return a frame's dial unrolled about its centre, shape (ANGLES, RINGS, 3).

    Row k is seen in the direction of dial angle ``2 pi k / ANGLES``, counted as in the picture; columns go from near
    the centre to the circle of marks.
    """
    import cv2

    angle = 2 * np.pi * np.arange(ANGLES) / ANGLES
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    points = seen_at(dial.plane, direction[:, None, :] * ring_radii()[None, :, None])
    seen = (points @ warp[:, :2].T + warp[:, 2]).astype(np.float32)
    return np.asarray(
        cv2.remap(picture, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )


def ring_radii() -> FloatArray:
    """Return the radii of the rings as shares of the radius of the marks, shape (RINGS,)."""
    return np.linspace(_NEAREST, _FARTHEST, RINGS)


def face_without_needle(polar: Picture) -> FloatArray:
    """Return the face as it is where the needle is not, shape (ANGLES, RINGS, 3).

    The median over frames that differ from each other as much as can be: a needle that rests in one place for half of
    the film stands there in few of them.

    Parameters
    ----------
    polar
        Unrolled frames, shape (n, ANGLES, RINGS, 3).
    """
    some = np.unique(np.linspace(0, len(polar) - 1, min(len(polar), _MOST_FOR_FACE)).astype(int))
    small = polar[some][:, ::4, RINGS // 3 :: 3].astype(np.float32).mean(axis=3)
    small -= np.median(small, axis=(1, 2), keepdims=True)
    flat = small.reshape(len(some), -1)
    flat = np.clip(flat - np.median(flat, axis=0), -40, 40)  # a glare must not count for more than a needle
    chosen = [int(np.argmin(np.sum(flat**2, axis=1)))]
    away = np.sum((flat - flat[chosen[0]]) ** 2, axis=1)
    for _ in range(min(_FACE_FRAMES, max(len(some) // 3, _LEAST_FACES)) - 1):
        if not away.any():  # frames that a film repeats exactly say nothing new
            break
        chosen.append(int(np.argmax(away)))
        away = np.minimum(away, np.sum((flat - flat[chosen[-1]]) ** 2, axis=1))
    levelled = [_levelled(polar[some[i]].astype(np.float32)) for i in chosen]
    return np.asarray(np.median(levelled, axis=0))


def _levelled(polar: FloatArray) -> FloatArray:
    """Return a frame in hundredths of its own contrast, a channel by itself: the light of day and night taken out."""
    low, high = np.quantile(polar, (0.1, 0.98), axis=(0, 1))
    return np.asarray((polar - low) / np.maximum(high - low, _LEAST_RANGE) * 100.0)


@dataclass(frozen=True, slots=True)
class NeedleShape:
    """What all frames say about the needle: its colour against the face, and which rings it covers."""

    colour: FloatArray
    """Direction of the needle's difference from the face, unit length, shape (3,)."""
    rings: FloatArray
    """Weight of each ring, shape (RINGS,); zero where there is no needle."""
    strength: float
    """Usual contrast along it, in hundredths of the face's own contrast."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A needle found in one frame."""

    angle: float
    """Direction in the picture's dial angle. [rad]"""
    lateral: FloatArray
    """Sideways place of the needle on each ring from that direction, in shares of the radius; NaN where unseen."""
    u: float
    """Standard uncertainty of the angle from the picture. [rad]"""


def differences(polar: Picture, face: FloatArray) -> FloatArray:
    """Return the difference of a frame from the face, in hundredths of the face's contrast, float32."""
    away = _levelled(polar.astype(np.float32)) - face
    return np.asarray(away - np.median(away, axis=0, keepdims=True), np.float32)


def needle_shape(away: list[FloatArray]) -> NeedleShape | None:
    """Return the needle that most frames show, None when nothing needle-like moves.

    Parameters
    ----------
    away
        Differences of some dozens of frames, each of shape (ANGLES, RINGS, 3).
    """
    colours, profiles = [], []
    for frame in away:
        strength = np.sqrt(np.sum(frame**2, axis=2))
        best = int(np.argmax(_along(strength[:, RINGS // 3 :])))
        here = frame[_around(best, 2)].mean(axis=0)
        mean = np.median(here[RINGS // 3 :], axis=0)
        if np.linalg.norm(mean) > _LEAST_CONTRAST:
            colours.append(mean)
            profiles.append(here)
    if len(colours) < 3:
        return None
    colour = np.median(colours, axis=0)
    size = float(np.linalg.norm(colour))
    if size < _LEAST_CONTRAST:
        return None
    colour = colour / size
    contrast = np.median([profile @ colour for profile in profiles], axis=0)
    covered = contrast > 0.5 * float(np.max(np.convolve(contrast, np.ones(5) / 5, mode="valid")))
    covered[: int(_TIP_RINGS * RINGS)] = False  # the tail and the hub reach as far as this
    if covered.sum() < _LEAST_RINGS:
        return None
    return NeedleShape(colour, covered * contrast, float(np.median(contrast[covered])))


def find_needle(away: FloatArray, shape: NeedleShape) -> Sighting | str:
    """Return the needle of one frame, or the code of why it cannot be told."""
    signed = away @ shape.colour
    across = np.sqrt(np.maximum(np.sum(away**2, axis=2) - signed**2, 0.0))
    match = signed - 0.5 * across
    use = shape.rings > 0
    profile = _along(np.clip(match[:, use], -20.0, 1.5 * shape.strength))
    smooth = np.convolve(np.concatenate([profile[-2:], profile, profile[:2]]), np.ones(5) / 5, mode="valid")
    beside = np.maximum(np.roll(smooth, _HALF_WIDTH), np.roll(smooth, -_HALF_WIDTH))
    smooth = smooth - np.maximum(beside, 0.0)  # a glare is wide
    best = int(np.argmax(smooth))
    if smooth[best] < max(_LEAST_CONTRAST / 2, 0.35 * shape.strength):
        return "no_needle"
    far = np.abs((np.arange(ANGLES) - best + ANGLES // 2) % ANGLES - ANGLES // 2) > _APART
    if smooth[far].max() > _SECOND_SHARE * smooth[best]:
        return "two_needles"
    return _refined(match, best, use, 1.5 * shape.strength)


def _refined(match: FloatArray, best: int, use: BoolArray, most: float) -> Sighting | str:
    """Return the direction of the line through the needle's middle on each ring."""
    near = np.arange(best - _HALF_WIDTH, best + _HALF_WIDTH + 1)
    window = match[near % ANGLES]
    sides = np.stack([window[:_SIDE].mean(axis=0), window[-_SIDE:].mean(axis=0)])
    slope = np.linspace(0.0, 1.0, len(near))[:, None]
    window = np.clip(window - sides[0] - slope * (sides[1] - sides[0]), 0.0, most)
    window = np.maximum(window - 0.35 * window.max(axis=0, keepdims=True), 0.0)
    weight = window.sum(axis=0)
    offset = np.full(RINGS, np.nan)
    seen = use & (weight > 0.25 * np.median(weight[use]))
    step = 2 * np.pi / ANGLES
    relative = (near - best)[:, None] * step
    offset[seen] = (window * relative).sum(axis=0)[seen] / weight[seen]
    middle = np.nanmedian(offset)
    spread = robust_scale((offset - middle)[np.isfinite(offset)]) + 0.2 * step
    offset[np.abs(offset - middle) > 3.5 * spread] = np.nan
    good = np.isfinite(offset)
    if good.sum() < _LEAST_RINGS or good.sum() < 0.4 * use.sum():
        return "covered"
    radii = ring_radii()
    angle = float(np.average(offset[good], weights=radii[good]))
    rest = (offset[good] - angle) * radii[good]
    # neighbouring rings share their errors: a quarter of them count
    u = float(np.sqrt(np.mean(rest**2) / max(good.sum() / 4, 1.0))) / float(np.mean(radii[good]))
    return Sighting(best * step + angle, (offset - angle) * radii, float(np.hypot(u, _U_FLOOR_RAD)))


def _along(strength: FloatArray) -> FloatArray:
    """Return how much of a needle lies in each direction: a low quantile along the rings, so that a spot is none."""
    return np.asarray(np.quantile(strength, 0.3, axis=1))


def _around(row: int, reach: int) -> IntArray:
    return np.arange(row - reach, row + reach + 1) % ANGLES
