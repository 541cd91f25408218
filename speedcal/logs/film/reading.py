"""From a film and a dial file to readings, with what could not be read and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import FloatArray, robust_scale
from speedcal.logs.film.dial_fit import Pivot, seen_at
from speedcal.logs.film.frames import Film, Picture, frames, open_film, picture_at
from speedcal.logs.film.marks import TAP_PX, FilmedDial, read_dial
from speedcal.logs.film.needle import (
    Sighting,
    differences,
    face_without_needle,
    find_needle,
    needle_shape,
    polar_picture,
    ring_radii,
)
from speedcal.logs.film.printed import STROKE_PX, Rim, printed_marks
from speedcal.logs.film.registration import GOOD_CORRELATION, Registration, are_from_aside

_PER_S = 2.0
_MOST_FRAMES = 4500
"""Frames of one film, each 86 kB unrolled and held twice: a film of hours is read less often a second."""
_SHAPE_FRAMES = 60
_FEWEST = 20
_JUMP_SHARE, _JUMP_REACH = 0.04, 2
_UNSTEADY_SHARE = 0.01
"""Most usual jump, of the scale; needles that were found have under 0.002."""
_STOP_SHARE = 0.01
_CLEAR_SHARE = 0.0015
"""Of the scale, by which two curves through the marks may differ; next to the end of a scale that is not linear, they
err by two to three times as much."""
_STOP_RAD, _END_RAD, _MOST_BEYOND = 0.5, 0.25, 0.08
"""How far beyond its end marks a needle may stand, and the most frames in which one may seem to stand farther out."""
_LINE = (0, 200, 255)
_STILLS, _STILL_PX, _STILL_REACH = 12, 320, 1.25


@dataclass(frozen=True, eq=False)
class Still:
    """One frame, made small, and where the needle was found in it."""

    time_s: float
    """Since the begin of the film. [s]"""
    value: float
    picture: Picture
    needle_px: FloatArray
    """Pivot and tip in the small picture, shape (2, 2). [px]"""


@dataclass(frozen=True, eq=False)
class FilmReading:
    """What a dial showed over a film; arrays of shape (n,)."""

    dial: FilmedDial
    time_s: FloatArray
    """Creation time plus the film's own seconds where it states one, else its own seconds. [s]"""
    begin_s: float
    """What ``time_s`` is at the film's first frame. [s]"""
    value: FloatArray
    """What the dial showed, in its unit."""
    u: FloatArray
    """Standard uncertainty of each reading by itself, in the unit of the dial."""
    u_common: FloatArray
    """Standard uncertainty that all readings share: plane and scale, in the unit of the dial."""
    has_clock: bool
    left_out: Mapping[str, int]
    """How many frames could not be read, by the code of the reason."""
    stills: tuple[Still, ...] = ()
    """A dozen frames with the needle as it was found, for a person to look at."""


def read_film(
    film: str | Path,
    dial: str | Path | FilmedDial,
    *,
    per_s: float = _PER_S,
    progress: Callable[[float], None] | None = None,
) -> FilmReading:
    """Read a filmed dial.

    Every frame is brought onto the one the marks were taken in; the face without its needle comes from the film itself;
    the needle is what differs from it along a line from the centre.

    Parameters
    ----------
    film
        A video, or a folder of pictures with the time in their EXIF data.
    dial
        The dial file, or what was read from it.
    per_s
        How many frames a second to read, at the most.
    progress
        Called with the share done, 0 to 1.

    Raises
    ------
    ReadingsFormatError
        Film or dial cannot be read, or no needle is seen in enough frames.
    """
    known = dial if isinstance(dial, FilmedDial) else read_dial(dial)
    opened = open_film(film)
    reference = picture_at(opened, known.frame_s)
    _refuse_marks_outside(known, reference, opened)
    seen = _unrolled(opened, known, reference, min(per_s, _MOST_FRAMES / max(opened.length_s, 1.0)), progress)
    times, polar, left_out = seen.times, np.array(seen.unrolled), seen.left_out
    if len(times) < _FEWEST:
        raise _few(opened, len(times), left_out)
    face = face_without_needle(polar)
    some = np.unique(np.linspace(0, len(polar) - 1, _SHAPE_FRAMES).astype(int))
    shape = needle_shape([differences(polar[i], face) for i in some])
    if shape is None:
        raise ReadingsFormatError("film_no_needle", source=opened.path.name)
    aside = are_from_aside(np.array(seen.warps), int(np.argmin(np.abs(np.array(times) - known.frame_s))))
    kept, sightings = [], []
    for i in range(len(polar)):
        found = "other_angle" if aside[i] else find_needle(differences(polar[i], face), shape)
        if isinstance(found, str):
            left_out[found] += 1
        else:
            kept.append(i)
            sightings.append(found)
    if len(kept) < _FEWEST:
        raise _few(opened, len(kept), left_out)
    angle, shift = _directions(sightings)
    size = (reference.shape[1], reference.shape[0])
    known, angle = _seen_anew(known, angle, shift, seen.rims, dict(zip(kept, angle.tolist(), strict=True)), size)
    on_scale = _on_scale(known, angle)
    _refuse_beyond(known, on_scale, opened)
    value, slope = known.value_at(on_scale)
    _refuse_unsteady(value, known, opened)
    u = np.abs(slope) * np.array([sighting.u for sighting in sightings])
    unsure = known.between_marks(on_scale)
    moments = np.array(times)[kept]
    good = _plausible(value, unsure, known, left_out)
    if good.sum() < _FEWEST:
        raise _few(opened, int(good.sum()), left_out)
    tips = {kept[i]: (float(value[i]), float(angle[i])) for i in np.flatnonzero(good)}
    shown = [one for one in seen.kept if one.number in tips]
    shown = [shown[i] for i in np.unique(np.linspace(0, len(shown) - 1, _STILLS).astype(int))]
    return FilmReading(
        dial=known,
        time_s=(opened.created_s or 0.0) + moments[good],
        begin_s=opened.created_s or 0.0,
        value=value[good],
        u=u[good],
        u_common=np.hypot(_u_common(known), unsure[good]),
        has_clock=opened.created_s is not None,
        left_out={reason: count for reason, count in left_out.items() if count},
        stills=tuple(
            Still(
                times[one.number],
                tips[one.number][0],
                one.picture,
                one.place(_needle_px(known, tips[one.number][1], one.warp)),
            )
            for one in shown
        ),
    )


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


def contact_sheet(reading: FilmReading, path: str | Path) -> None:
    """Write the stills into one picture (PNG), each with its value and the needle as it was found."""
    import cv2

    tiles = []
    for still in reading.stills:
        tile = drawn(still)
        cv2.rectangle(tile, (0, 0), (tile.shape[1], 26), (0, 0, 0), -1)
        said = f"{still.value:.1f} {reading.dial.unit}   {still.time_s:.1f} s"
        cv2.putText(tile, said, (6, 19), cv2.FONT_HERSHEY_SIMPLEX, 0.55, (255, 255, 255), 1, cv2.LINE_AA)
        tiles.append(tile)
    if not tiles:
        return
    across = 3
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % across)
    rows = [np.hstack(tiles[i : i + across]) for i in range(0, len(tiles), across)]
    done, coded = cv2.imencode(".png", cv2.cvtColor(np.vstack(rows), cv2.COLOR_RGB2BGR))
    if done:
        Path(path).write_bytes(coded.tobytes())


def write_readings(reading: FilmReading, path: str | Path) -> None:
    """Write the readings file: ``time``, ``dial (UNIT)``, ``u (UNIT)``, ``u_common (UNIT)``."""
    from datetime import UTC, datetime

    unit = reading.dial.unit
    rows = [f"time,dial ({unit}),u ({unit}),u_common ({unit})"]
    for time, value, u, shared in zip(reading.time_s, reading.value, reading.u, reading.u_common, strict=True):
        moment = datetime.fromtimestamp(time, UTC) if reading.has_clock else None
        stamp = f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z" if moment else f"{time:.3f}"
        rows.append(f"{stamp},{value:.2f},{u:.3f},{shared:.3f}")
    Path(path).write_text("\n".join(rows) + "\n", encoding="utf-8")


@dataclass
class _Kept:
    """A frame kept for a person: the dial cut out and made small."""

    number: int
    picture: Picture
    warp: FloatArray
    corner: FloatArray
    scale: float

    def place(self, points: FloatArray) -> FloatArray:
        """Return where points of the frame stand in the small picture. [px]."""
        return (points - self.corner) * self.scale


@dataclass
class _Seen:
    """Frames that could be brought onto the reference."""

    times: list[float]
    warps: list[FloatArray]
    unrolled: list[Picture]
    left_out: Counter[str]
    kept: list[_Kept]
    """Frames kept for a person."""
    rims: dict[int, Picture]
    """The ring about the marks in some frames, by their number."""


def _unrolled(
    film: Film, dial: FilmedDial, reference: Picture, per_s: float, progress: Callable[[float], None] | None
) -> _Seen:
    """Bring every frame onto the reference and unroll its dial."""
    registration = Registration(reference, dial.centre, dial.radius_px)
    seen, rim = _Seen([], [], [], Counter(), [], {}), Rim(dial)
    every = film.length_s / (3 * _STILLS)
    for time, picture in frames(film, per_s=per_s):
        if progress is not None and film.length_s:
            progress(min(time / film.length_s, 1.0))
        if picture.shape != reference.shape:
            seen.left_out["other_size"] += 1
            continue
        warp, good = registration.locate(picture)
        if good < GOOD_CORRELATION:
            seen.left_out["dial_not_found"] += 1
            continue
        if time >= every * len(seen.kept):
            seen.kept.append(_cut_out(len(seen.times), picture, dial, warp))
            seen.rims[len(seen.times)] = rim.of(picture, warp)
        seen.times.append(time)
        seen.warps.append(warp)
        seen.unrolled.append(polar_picture(picture, dial, warp))
    return seen


def _cut_out(number: int, picture: Picture, dial: FilmedDial, warp: FloatArray) -> _Kept:
    """Return the square about the dial in a frame; beyond the picture it is grey."""
    import cv2

    middle, reach = warp[:, :2] @ dial.centre + warp[:, 2], _STILL_REACH * dial.radius_px
    scale = _STILL_PX / (2 * reach)
    place = np.column_stack([scale * np.eye(2), -scale * (middle - reach)])
    filtered = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    tile = cv2.warpAffine(picture, place, (_STILL_PX, _STILL_PX), flags=filtered, borderValue=(96, 96, 96))
    return _Kept(number, np.asarray(tile, np.uint8), warp, middle - reach, scale)


def _needle_px(dial: FilmedDial, angle: float, warp: FloatArray) -> FloatArray:
    """Return where pivot and tip of a needle are seen in a frame, shape (2, 2). [px]."""
    ends = seen_at(dial.plane, np.array([[0.0, 0.0], [np.cos(angle), np.sin(angle)]]) * 0.85)
    return np.asarray(ends @ warp[:, :2].T + warp[:, 2])


def _directions(sightings: list[Sighting]) -> tuple[FloatArray, FloatArray]:
    """Return the direction of every needle, freed of where its pivot is seen, and that place in the plane. [rad, 1].

    A needle above the face is seen beside where it is, by the same shift in every direction (parallax), and a tapped
    centre is never exact. Both move the whole needle and leave its direction. The shift is what makes the sideways
    place change along the rings, in all frames together: lateral = angle error x radius + n . shift.
    """
    radii = ring_radii()
    base = np.array([sighting.angle for sighting in sightings])
    rows, rest, owner = [], [], []
    for number, sighting in enumerate(sightings):
        seen = np.isfinite(sighting.lateral)
        across = np.full((seen.sum(), 2), (-np.sin(sighting.angle), np.cos(sighting.angle)))
        rows.append(np.column_stack([across, radii[seen]]))
        rest.append(sighting.lateral[seen])
        owner.append(np.full(seen.sum(), number))
    table, lateral, frame = np.concatenate(rows), np.concatenate(rest), np.concatenate(owner)
    # the angle error of each frame is eliminated: only its shift along the rings is left
    count = len(sightings)
    square = np.bincount(frame, table[:, 2] ** 2, count)

    def without_angle(column: FloatArray) -> FloatArray:
        share = np.bincount(frame, column * table[:, 2], count) / square
        return np.asarray(column - share[frame] * table[:, 2])

    design = np.column_stack([without_angle(table[:, 0]), without_angle(table[:, 1])])
    target = without_angle(lateral)
    normal = design.T @ design + 1e-4 * len(target) * np.eye(2) * np.mean(design**2)
    shift = np.linalg.solve(normal, design.T @ target)
    corrected = lateral - table[:, :2] @ shift
    return np.asarray(base + np.bincount(frame, corrected * table[:, 2], count) / square), np.asarray(shift)


def _seen_anew(
    dial: FilmedDial,
    angle: FloatArray,
    shift: FloatArray,
    rims: dict[int, Picture],
    needles: dict[int, float],
    size: tuple[int, int],
) -> tuple[FilmedDial, FloatArray]:
    """Return the dial fitted with the needle's pivot and printed marks, and the needles' directions in its plane."""
    some = [number for number in rims if number in needles]
    printed = printed_marks(Rim(dial), [rims[number] for number in some], np.array([needles[n] for n in some]))
    pivot = Pivot(seen_at(dial.plane, np.asarray(shift, float)[None, :])[0], size)
    if printed is None:
        again = dial.fitted(pivot=pivot)
    else:
        points, found = printed
        again = dial.fitted(points=points, u_px=np.where(found[:, None], STROKE_PX, TAP_PX), pivot=pivot)
    back = np.asarray(np.linalg.inv(again.plane))
    ends = [
        seen_at(back, seen_at(dial.plane, shift + reach * np.column_stack([np.cos(angle), np.sin(angle)])))
        for reach in (0.3, 0.9)
    ]
    return again, np.asarray(np.arctan2(*(ends[1] - ends[0]).T[::-1]))


def _on_scale(dial: FilmedDial, angle: FloatArray) -> FloatArray:
    """Return directions in the picture as the dial counts them, about the middle of its scale. [rad]."""
    marks = dial.angles()
    middle = (marks[0] + marks[-1]) / 2
    return np.asarray(middle + (dial.sense * angle - middle + np.pi) % (2 * np.pi) - np.pi)


def _plausible(value: FloatArray, unsure: FloatArray, dial: FilmedDial, left_out: Counter[str]) -> FloatArray:
    """Return which readings to keep: on the scale where it is clear, and without a jump there and back."""
    scale = float(np.ptp(dial.values))
    low, high = dial.values[0], dial.values[-1]
    on_scale = (value > low + _STOP_SHARE * scale) & (value < high + 0.05 * scale)
    smooth = np.abs(_jump(value)) <= _JUMP_SHARE * scale
    clear = unsure <= _CLEAR_SHARE * scale
    left_out["jump"] += int((on_scale & ~smooth).sum())
    left_out["between_marks"] += int((on_scale & smooth & ~clear).sum())
    return np.asarray(on_scale & smooth & clear)


def _u_common(dial: FilmedDial) -> float:
    """Return what plane and scale do to every reading alike, in the unit of the dial."""
    _, slope = dial.value_at(dial.angles())
    return float(np.median(np.abs(slope))) * dial.u_rad


def _jump(value: FloatArray) -> FloatArray:
    """Return how far each value is from the median of those around it, which a needle passes through."""
    padded = np.pad(value, _JUMP_REACH, mode="edge")
    return np.asarray(value - np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * _JUMP_REACH + 1), axis=1))


def _refuse_unsteady(value: FloatArray, dial: FilmedDial, film: Film) -> None:
    """Refuse what is found now here, now there, as in a film whose pictures are damaged."""
    spread = robust_scale(_jump(value)) / float(np.ptp(dial.values))
    if spread > _UNSTEADY_SHARE:
        raise ReadingsFormatError("film_needle_unsteady", source=film.path.name, spread=spread)


def _refuse_beyond(dial: FilmedDial, on_scale: FloatArray, film: Film) -> None:
    """Refuse what goes all around the dial: a reflection or another hand, no needle between two stops."""
    marks = dial.angles()
    beyond = (on_scale < marks[0] - _STOP_RAD) | (on_scale > marks[-1] + _END_RAD)
    if beyond.mean() > _MOST_BEYOND:
        raise ReadingsFormatError(
            "film_needle_beyond", source=film.path.name, count=int(beyond.sum()), total=len(beyond)
        )


def _few(film: Film, count: int, left_out: Counter[str]) -> ReadingsFormatError:
    reasons = {reason: frames for reason, frames in left_out.items() if frames}
    return ReadingsFormatError("film_few_frames", source=film.path.name, count=count, left_out=reasons)


def _refuse_marks_outside(dial: FilmedDial, picture: Picture, film: Film) -> None:
    height, width = picture.shape[:2]
    x, y = dial.points.T
    if not ((x >= 0) & (x < width) & (y >= 0) & (y < height)).all():
        raise ReadingsFormatError("film_marks_outside", source=film.path.name, width=width, height=height)
