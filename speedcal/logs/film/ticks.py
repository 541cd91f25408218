"""Where the numbered ticks of a dial may stand in a still: a round face, and long ticks around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.film.dial_fit import seen_at
from speedcal.logs.film.frames import Picture

_WORK_PX = 720
_ANGLES = 1440
_RADII = np.linspace(0.5, 1.2, 106)
"""Rings that are searched, in radii of a round thing found."""
_CIRCLES, _ROUNDS = 6, 3
_TICK_DEG = 2.5
"""Ticks are narrower than this, figures are wider."""
_FEWEST, _MOST = 5, 25
_LONG_SHARE = 0.55
_UNEVEN = 0.3
"""How far the steps between numbered ticks may differ from their neighbours."""


@dataclass(frozen=True, eq=False)
class ProposedTicks:
    """Ticks that look like those with figures beside them; a person confirms them."""

    points: FloatArray
    """Outer ends of the ticks, clockwise from the widest gap on, shape (n, 2). [px]"""
    evenness: float
    """How much the steps between them differ, as a share; smaller is surer."""


def propose_ticks(picture: Picture) -> ProposedTicks | None:
    """Return the ticks of the dial in a picture, None when nothing looks like a dial.

    A round thing gives the place of the dial; the ring on which narrow radial strokes repeat all around gives its
    ticks, and an ellipse through their ends the tilt. The long ones among them are proposed.
    """
    import cv2

    shrink = min(_WORK_PX / max(picture.shape[:2]), 1.0)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    size = (round(grey.shape[1] * shrink), round(grey.shape[0] * shrink))
    shrunk = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    dark, light = np.quantile(shrunk, (0.01, 0.99))
    small = np.asarray(np.clip((shrunk - dark) / max(light - dark, 1.0) * 255, 0, 255), np.uint8)
    found = [ticks for circle in _circles(small) if (ticks := _on_circle(small, circle)) is not None]
    if not found:
        return None
    best = min(found, key=lambda ticks: ticks.evenness / np.sqrt(len(ticks.points)))
    return ProposedTicks(best.points / shrink, best.evenness)


def _circles(grey: Picture) -> list[FloatArray]:
    """Return planes of round things, as homographies from the unit circle."""
    import cv2

    side = min(grey.shape)
    found = cv2.HoughCircles(
        cv2.medianBlur(grey, 5),
        cv2.HOUGH_GRADIENT,
        1.5,
        side / 12,
        param1=120,
        param2=60,
        minRadius=int(0.12 * side),
        maxRadius=int(0.62 * side),
    )
    rows = [] if found is None else found[0][:_CIRCLES]
    return [np.array([[r, 0, x], [0, r, y], [0, 0, 1.0]], float) for x, y, r in rows]


def _on_circle(grey: Picture, plane: FloatArray) -> ProposedTicks | None:
    """Return the long ticks around one round thing, following its tilt in a few rounds."""
    for _ in range(_ROUNDS):
        strokes, ring, angle, rows = _ticks_seen(grey, plane)
        if len(angle) < _FEWEST:
            return None
        outer = _outer_ends(strokes, rows, ring)
        points = seen_at(plane, outer[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))
        ellipse = _ellipse_through(points, plane)
        if ellipse is None:
            return None
        plane = ellipse
    return _long_ones(grey, plane)


def _ticks_seen(grey: Picture, plane: FloatArray) -> tuple[FloatArray, slice, FloatArray, IntArray]:
    """Return the strokes around a plane, the rings of the ticks, and their angles and rows, shape (n,). [1, rad, 1]."""
    strokes = _strokes(grey, plane)
    ring = _ring_of(strokes)
    angle = _peaks(strokes, ring)
    return strokes, ring, angle, np.round(angle / (2 * np.pi) * _ANGLES).astype(np.int64) % _ANGLES


def _strokes(grey: Picture, plane: FloatArray) -> FloatArray:
    """Return how much each place looks like a narrow stroke across the ring, shape (_ANGLES, rings), 0 to 1."""
    import cv2

    around = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    flat = np.column_stack([np.cos(around), np.sin(around)])[:, None, :] * _RADII[None, :, None]
    at = seen_at(plane, flat).astype(np.float32)
    polar = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(
        np.float32
    )
    wide = round(_TICK_DEG / 360 * _ANGLES)
    padded = np.concatenate([polar[-2 * wide :], polar, polar[: 2 * wide]])
    bar = np.ones((2 * wide + 1, 1), np.uint8)
    light = padded - cv2.morphologyEx(padded, cv2.MORPH_OPEN, bar)
    dark = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, bar) - padded
    either = [one[2 * wide : -2 * wide] for one in (light, dark)]
    strokes = max(either, key=lambda one: float(np.mean(np.sort(one, axis=0)[-_ANGLES // 10 :])))
    return np.asarray(np.minimum(strokes / (np.quantile(strokes, 0.99) + 1e-6), 1.0))


def _ring_of(strokes: FloatArray) -> slice:
    """Return the rings on which most strokes stand all around: the band of the ticks."""
    sectors = strokes.reshape(36, -1, strokes.shape[1]).max(axis=1)
    share = (sectors > 0.4).mean(axis=0)
    smooth = np.convolve(share, np.ones(5) / 5, mode="same")
    best = int(np.argmax(smooth))
    low = high = best
    while low > 0 and smooth[low - 1] > 0.8 * smooth[best]:
        low -= 1
    while high < len(smooth) - 1 and smooth[high + 1] > 0.8 * smooth[best]:
        high += 1
    return slice(low, high + 1)


def _peaks(strokes: FloatArray, ring: slice) -> FloatArray:
    """Return the angles of the strokes on a band of rings. [rad]."""
    profile = strokes[:, ring].mean(axis=1)
    smooth = np.convolve(
        np.concatenate([profile[-4:], profile, profile[:4]]), np.hanning(9) / np.hanning(9).sum(), "valid"
    )
    apart = round(0.6 * _TICK_DEG / 360 * _ANGLES)
    top = np.max([np.roll(smooth, k) for k in range(-apart, apart + 1)], axis=0)
    rows = np.flatnonzero((smooth == top) & (smooth > 0.35 * np.quantile(smooth, 0.99)))
    near = np.arange(-apart, apart + 1)
    weight = smooth[(rows[:, None] + near) % _ANGLES] ** 2
    middle = rows + (weight * near).sum(axis=1) / weight.sum(axis=1)
    return np.asarray(2 * np.pi * middle / _ANGLES)


def _outer_ends(strokes: FloatArray, rows: IntArray, ring: slice) -> FloatArray:
    """Return the radius at which each stroke ends outside."""
    along = np.max([np.roll(strokes, k, axis=0)[rows] for k in range(-3, 4)], axis=0)
    ends = []
    for stroke in along:
        at = ring.start + int(np.argmax(stroke[ring]))
        while at < len(stroke) - 1 and stroke[at + 1] > 0.4:
            at += 1
        ends.append(_RADII[at])
    return np.array(ends)


def _lengths(strokes: FloatArray, rows: IntArray, ring: slice) -> FloatArray:
    """Return how far each stroke reaches inwards from the outside of the band, in rings."""
    along = np.max([np.roll(strokes, k, axis=0)[rows] for k in range(-3, 4)], axis=0)
    lengths = []
    for stroke in along:
        at = ring.start + int(np.argmax(stroke[ring]))
        first = at
        while first > 0 and stroke[first - 1] > 0.4:
            first -= 1
        last = at
        while last < len(stroke) - 1 and stroke[last + 1] > 0.4:
            last += 1
        lengths.append(last - first + 1)
    return np.array(lengths, float)


def _ellipse_through(points: FloatArray, plane: FloatArray) -> FloatArray | None:
    """Return the plane whose unit circle is the ellipse through most of some points, as near the old one as can be."""
    import cv2

    away = np.hypot(*(points - plane[:2, 2]).T)
    near = np.abs(away / np.median(away) - 1) < 0.15
    if near.sum() < _FEWEST:
        return None
    made = plane
    for _ in range(3):
        (x, y), (wide, high), turned = cv2.fitEllipse(points[near].astype(np.float32))
        if min(wide, high) < 0.6 * max(wide, high):
            return None
        turn = np.radians(turned)
        axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        linear = axes @ np.diag([wide / 2, high / 2]) @ axes.T  # symmetric: directions stay as they are
        made = np.eye(3)
        made[:2, :2], made[:2, 2] = linear, (x, y)
        flat = seen_at(np.asarray(np.linalg.inv(made)), points)
        again = np.abs(np.hypot(*flat.T) - 1) < 0.04
        if again.sum() < _FEWEST:
            return None
        near = again
    return made


def _long_ones(grey: Picture, plane: FloatArray) -> ProposedTicks | None:
    """Return the ticks that are longer than the rest, or all when they are alike, where their steps are even."""
    strokes, ring, angle, rows = _ticks_seen(grey, plane)
    if len(angle) < _FEWEST:
        return None
    lengths = _lengths(strokes, rows, ring)
    usual, longest = np.median(lengths), np.quantile(lengths, 0.95)
    choices = [np.ones(len(angle), bool)]
    if longest > 1.25 * usual:
        choices.append(lengths > usual + _LONG_SHARE * (longest - usual))
    radius = float(np.median(_outer_ends(strokes, rows, ring)))
    made = [_even(angle[choice]) for choice in choices]
    found = [(one, uneven) for one, uneven in made if _FEWEST <= len(one) <= _MOST and uneven < _UNEVEN]
    if not found:
        return None
    chosen, uneven = min(found, key=lambda one: one[1])
    points = seen_at(plane, radius * np.column_stack([np.cos(chosen), np.sin(chosen)]))
    return ProposedTicks(points, uneven)


def _even(angle: FloatArray) -> tuple[FloatArray, float]:
    """Return angles in order from the widest gap on, without those between even steps, and how uneven the steps are."""
    if len(angle) < _FEWEST:
        return angle, 1.0
    order = np.sort(angle)
    gaps = np.diff(np.append(order, order[0] + 2 * np.pi))
    start = int(np.argmax(gaps)) + 1
    turned = np.unwrap(np.roll(order, -start))
    keep: BoolArray = np.ones(len(turned), bool)
    for _ in range(4):
        steps = np.diff(turned[keep])
        usual = np.median(steps)
        short = np.flatnonzero(steps < 0.6 * usual)
        if not len(short):
            break
        inside = np.flatnonzero(keep)
        keep[inside[short[0] + 1]] = False
    steps = np.diff(turned[keep])
    return turned[keep], float(np.std(steps) / np.mean(steps)) if len(steps) else 1.0
