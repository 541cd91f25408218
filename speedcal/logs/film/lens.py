"""Marks and needles as the picture has them, and what a lens that bends straight lines does to them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs.film.dial_fit import Pivot, seen_at
from speedcal.logs.film.frames import Picture
from speedcal.logs.film.marks import TAP_PX, FilmedDial
from speedcal.logs.film.printed import STROKE_PX, Rim, printed_marks

_LENS = 0.02
"""How far a phone's lens moves the corners of the picture, once the phone has corrected it, standard, by their distance
from the middle; from memory."""
_NEAR, _FAR = 0.3, 0.9


@dataclass(frozen=True, eq=False)
class InThePicture:
    """All that tells the dial's plane and scale, and two points of each needle. [px]."""

    dial: FilmedDial
    points: FloatArray
    """Of the marks, shape (m, 2)."""
    u_px: FloatArray
    """How well each is known, across and along the line from the centre, shape (m, 2)."""
    pivot: FloatArray
    needles: tuple[FloatArray, FloatArray]
    size: tuple[int, int]

    @classmethod
    def of(
        cls,
        dial: FilmedDial,
        rims: list[tuple[Picture, float]],
        angle: FloatArray,
        shift: FloatArray,
        size: tuple[int, int],
    ) -> InThePicture:
        """Return marks where they are printed, or else tapped, and the needles.

        Parameters
        ----------
        dial
            As tapped.
        rims
            Rims of some frames, each with the needle's direction in it. [rad]
        angle, shift
            Directions of all needles in the dial's plane, and where they turn in it. [rad, 1]
        size
            Width and height of the picture. [px]

        Raises
        ------
        ReadingsFormatError
            Printed marks do not go with each other.
        """
        printed = printed_marks(Rim(dial), [rim for rim, _ in rims], np.array([needle for _, needle in rims]))
        points, found = (dial.points, np.zeros(len(dial.points), bool)) if printed is None else printed
        along = np.column_stack([np.cos(angle), np.sin(angle)])
        near, far, pivot = (seen_at(dial.plane, shift + reach * along) for reach in (_NEAR, _FAR, 0.0))
        made = cls(dial, points, np.where(found[:, None], STROKE_PX, TAP_PX), pivot[0], (near, far), size)
        if printed is not None:
            made.through()[0].refuse_misprinted(found, STROKE_PX[0])
        return made

    def through(self, bent: float = 0.0) -> tuple[FilmedDial, FloatArray]:
        """Return the dial as fitted, and the needles on its scale, when a lens moved the corners so far in. [rad]."""
        middle, reach = np.array(self.size) / 2, np.hypot(*self.size) / 2

        def straight(seen: FloatArray) -> FloatArray:
            away = (seen - middle) / reach
            return np.asarray(middle + reach * away * (1 + bent * np.sum(away**2, axis=-1, keepdims=True)))

        dial = self.dial.fitted(
            points=straight(self.points), u_px=self.u_px, pivot=Pivot(straight(self.pivot), self.size)
        )
        back = np.asarray(np.linalg.inv(dial.plane))
        near, far = (seen_at(back, straight(end)) for end in self.needles)
        return dial, dial.on_scale(np.asarray(np.arctan2(*(far - near).T[::-1])))

    def u_lens(self, value: FloatArray) -> float:
        """Return what the lens does to all readings alike, rms; nothing in the picture's middle. [unit]."""
        dial, on_scale = self.through(_LENS)
        return float(np.sqrt(np.mean((dial.value_at(on_scale)[0] - value) ** 2)))
