"""Where the dial of the reference stands in another frame: shake, zoom and a phone that slips in its holder."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.film.frames import Picture

_RADIUS_PX = 90.0
"""The dial is brought to this radius for registration; larger takes longer and gains nothing below 0.1 px."""
_MARGIN = 1.3
_INNER, _OUTER = 0.55, 1.25
_ROUNDS, _SETTLED = 40, 1e-4
GOOD_CORRELATION = 0.55
"""Correlation with the reference from which on a frame shows the dial; frames of a covered dial reach 0.3."""
_BLUR = 8.0
_STRETCH, _STAYS = 1.02, 21
"""A dial stretched more than this one way over so many frames was seen from another angle; 14 degrees make
1.03."""


@dataclass
class Registration:
    """Finds the affine map from the reference picture to a frame, starting from the frame before."""

    reference: Picture
    centre: FloatArray
    radius_px: float
    _template: Any = field(init=False)
    _mask: FloatArray = field(init=False)
    _scale: float = field(init=False)
    _origin: FloatArray = field(init=False)
    _last: Any = field(init=False)

    def __post_init__(self) -> None:
        self._scale = _RADIUS_PX / self.radius_px
        whole = self._small(self.reference)
        middle = self.centre * self._scale
        reach = _MARGIN * _RADIUS_PX
        low = np.maximum(np.floor(middle - reach), 0).astype(int)
        high = np.minimum(np.ceil(middle + reach), np.array(whole.shape[::-1])).astype(int)
        self._origin = low.astype(float)
        self._template = np.ascontiguousarray(whole[low[1] : high[1], low[0] : high[0]])
        y, x = np.mgrid[low[1] : high[1], low[0] : high[0]]
        away = np.hypot(x - middle[0], y - middle[1]) / _RADIUS_PX
        self._mask = ((away > _INNER) & (away < _OUTER)).astype(np.uint8)
        self._home = np.array([[1.0, 0.0, self._origin[0]], [0.0, 1.0, self._origin[1]]], np.float32)
        self._last = self._home.copy()

    def locate(self, picture: Picture) -> tuple[FloatArray, float]:
        """Return the map from reference to frame, shape (2, 3), and the correlation reached. [px, 1]."""
        small = self._small(picture)
        warp, good = self._refined(small, self._last)
        if good < GOOD_CORRELATION:
            warp, good = max((self._refined(small, start) for start in self._starts(small)), key=lambda found: found[1])
        if good >= GOOD_CORRELATION:
            self._last = warp
        full = warp.astype(float).copy()
        # template pixel = reference * scale - origin; frame pixel = warped / scale
        linear = full[:, :2]
        shift = (full[:, 2] - linear @ self._origin) / self._scale
        return np.column_stack([linear, shift]), good

    def _refined(self, small: Any, start: Any) -> tuple[Any, float]:
        """Maximise the enhanced correlation coefficient (Evangelidis and Psarakis 2008, IEEE PAMI 30, 1858)."""
        import cv2

        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _ROUNDS, _SETTLED)
        shifted = self._seen_mask(small.shape, start)
        try:
            good, warp = cv2.findTransformECC(self._template, small, start.copy(), cv2.MOTION_AFFINE, stop, shifted, 5)
        except cv2.error:
            return start, 0.0
        stretch = np.linalg.svd(warp[:, :2], compute_uv=False)
        return (warp, float(good)) if stretch[1] > 0.4 and stretch[0] < 2.5 else (start, 0.0)

    def _seen_mask(self, shape: tuple[int, ...], warp: Any) -> Picture:
        import cv2

        return np.asarray(cv2.warpAffine(self._mask, warp, (shape[1], shape[0]), flags=cv2.INTER_NEAREST), np.uint8)

    def _starts(self, small: Any) -> list[Any]:
        """Return places worth a try after a jolt: by features, by phase, and where it all began."""
        import cv2

        starts = [self._home]
        detector = cv2.SIFT_create(400)  # type: ignore[attr-defined]
        points, marks = detector.detectAndCompute(_bytes(self._template), None)
        seen, seen_marks = detector.detectAndCompute(_bytes(small), None)
        if marks is None or seen_marks is None or len(points) < 8 or len(seen) < 8:
            return starts
        pairs = cv2.BFMatcher().knnMatch(marks, seen_marks, k=2)
        sure = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < 0.8 * pair[1].distance]
        if len(sure) >= 6:
            here = np.array([points[match.queryIdx].pt for match in sure], np.float32)
            there = np.array([seen[match.trainIdx].pt for match in sure], np.float32)
            warp, _ = cv2.estimateAffinePartial2D(here, there, ransacReprojThreshold=3.0)
            if warp is not None:
                starts.append(warp.astype(np.float32))
        return starts

    def _small(self, picture: Picture) -> Any:
        """Return the picture small, grey, and with its slow changes of light taken out."""
        import cv2

        grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
        size = (round(grey.shape[1] * self._scale), round(grey.shape[0] * self._scale))
        small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        level = cv2.GaussianBlur(small, (0, 0), _BLUR)
        contrast = np.sqrt(cv2.GaussianBlur((small - level) ** 2, (0, 0), 2 * _BLUR) + 4.0)
        return np.asarray((small - level) / contrast, np.float32)


def are_from_aside(warps: FloatArray, reference: int) -> BoolArray:
    """Return which frames see the dial from another angle than the reference, so that directions differ in them.

    Parameters
    ----------
    warps
        Maps from the reference to each frame, in order of time, shape (n, 2, 3). A rolling shutter shears single
        frames, the reference too; a phone that has been turned stays turned.
    reference
        Number of the frame that is nearest to the reference.
    """
    padded = np.pad(warps[:, :, :2], ((_STAYS // 2, _STAYS // 2), (0, 0), (0, 0)), mode="edge")
    usual = np.median(np.lib.stride_tricks.sliding_window_view(padded, _STAYS, axis=0), axis=-1)
    stretch = np.linalg.svd(usual @ np.linalg.inv(usual[reference]), compute_uv=False)
    return np.asarray(stretch[:, 0] > _STRETCH * stretch[:, 1])


def _bytes(flat: Any) -> Picture:
    return np.asarray(np.clip(128 + 40 * flat, 0, 255), np.uint8)
