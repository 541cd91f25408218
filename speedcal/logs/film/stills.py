"""Frames of a film for a person to look at, with the needle as it was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs.film.dial_fit import seen_at
from speedcal.logs.film.frames import Picture
from speedcal.logs.film.marks import FilmedDial
from speedcal.units import SpeedUnit
from speedcal.whole_file import write_whole

_LINE = (0, 200, 255)
_STILL_PX, _STILL_REACH = 320, 1.25


@dataclass(frozen=True, eq=False)
class Still:
    """One frame, made small, and where the needle was found in it."""

    time_s: float
    """Since the begin of the film. [s]"""
    value: float
    picture: Picture
    needle_px: FloatArray
    """Pivot and tip in the small picture, shape (2, 2). [px]"""


@dataclass
class Kept:
    """A frame kept for a person: the dial cut out and made small."""

    number: int
    picture: Picture
    warp: FloatArray
    corner: FloatArray
    scale: float

    def place(self, points: FloatArray) -> FloatArray:
        """Return where points of the frame stand in the small picture. [px]."""
        return (points - self.corner) * self.scale


def cut_out(number: int, picture: Picture, dial: FilmedDial, warp: FloatArray) -> Kept:
    """Return the square about the dial in a frame; beyond the picture it is grey."""
    import cv2

    middle, reach = warp[:, :2] @ dial.centre + warp[:, 2], _STILL_REACH * dial.radius_px
    scale = _STILL_PX / (2 * reach)
    place = np.column_stack([scale * np.eye(2), -scale * (middle - reach)])
    filtered = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    tile = cv2.warpAffine(picture, place, (_STILL_PX, _STILL_PX), flags=filtered, borderValue=(96, 96, 96))
    return Kept(number, np.asarray(tile, np.uint8), warp, middle - reach, scale)


def needle_px(dial: FilmedDial, angle: float, warp: FloatArray) -> FloatArray:
    """Return where pivot and tip of a needle are seen in a frame, shape (2, 2). [px]."""
    ends = seen_at(dial.plane, np.array([[0.0, 0.0], [np.cos(angle), np.sin(angle)]]) * 0.85)
    return np.asarray(ends @ warp[:, :2].T + warp[:, 2])


def drawn(still: Still) -> Picture:
    """Return the picture of a still with a line where the needle was found: thin on it, thick beyond its tip."""
    import cv2

    tile = still.picture.copy()
    pivot, tip = still.needle_px
    ends = [tuple(int(v) for v in np.round(pivot + share * (tip - pivot))) for share in (0.0, 1.05, 1.32)]
    for width, colour in ((6, (0, 0, 0)), (3, _LINE)):
        cv2.line(tile, ends[1], ends[2], colour, width, cv2.LINE_AA)
    cv2.line(tile, ends[0], ends[1], _LINE, 1, cv2.LINE_AA)
    return tile


def contact_sheet(stills: Sequence[Still], unit: SpeedUnit, path: str | Path) -> None:
    """Write the stills into one picture (PNG), each with its value and the needle as it was found."""
    import cv2

    tiles = []
    for still in stills:
        tile = drawn(still)
        cv2.rectangle(tile, (0, 0), (tile.shape[1], 26), (0, 0, 0), -1)
        said = f"{still.value:.1f} {unit}   {still.time_s:.1f} s"
        cv2.putText(tile, said, (6, 19), cv2.FONT_HERSHEY_SIMPLEX, 0.55, (255, 255, 255), 1, cv2.LINE_AA)
        tiles.append(tile)
    if not tiles:
        return
    across = 3
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % across)
    rows = [np.hstack(tiles[i : i + across]) for i in range(0, len(tiles), across)]
    done, coded = cv2.imencode(".png", cv2.cvtColor(np.vstack(rows), cv2.COLOR_RGB2BGR))
    if done:
        write_whole({Path(path): coded.tobytes()})
