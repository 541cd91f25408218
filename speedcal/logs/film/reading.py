"""From a film and a dial file to readings, with what could not be read and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import FloatArray
from speedcal.logs.film import needle
from speedcal.logs.film.frames import Film, Picture, frames, open_film, picture_at
from speedcal.logs.film.lens import InThePicture
from speedcal.logs.film.marks import FilmedDial, read_dial
from speedcal.logs.film.printed import Rim
from speedcal.logs.film.registration import GOOD_CORRELATION, Registration, are_from_aside
from speedcal.logs.film.sane import plausible, refuse_beyond, refuse_unsteady
from speedcal.logs.film.stills import Kept, Still, cut_out, needle_px

_PER_S = 2.0
_MOST_FRAMES = 4500
"""Frames of one film, each 86 kB unrolled and held twice: a film of hours is read less often a second."""
_SHAPE_FRAMES = 60
_FEWEST = 20
_STILLS = 12
_BESIDE_FIT_RAD = 0.0007
"""What needles of one film err by alike beside plane, scale and lens, standard: an allowance, more than rendered films
show."""


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


def film_reading(
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
    face = needle.face_without_needle(polar)
    some = np.unique(np.linspace(0, len(polar) - 1, _SHAPE_FRAMES).astype(int))
    shape = needle.needle_shape([needle.differences(polar[i], face) for i in some])
    if shape is None:
        raise ReadingsFormatError("film_no_needle", source=opened.path.name)
    aside = are_from_aside(np.array(seen.warps), int(np.argmin(np.abs(np.array(times) - known.frame_s))))
    sighted = {}
    for i in range(len(polar)):
        found = "other_angle" if aside[i] else needle.find_needle(needle.differences(polar[i], face), shape)
        if isinstance(found, str):
            left_out[found] += 1
        else:
            sighted[i] = found
    kept, sightings = list(sighted), list(sighted.values())
    if len(kept) < _FEWEST:
        raise _few(opened, len(kept), left_out)
    angle, shift = _directions(sightings)
    rims = [
        (seen.rims[number], direction) for number, direction in zip(kept, angle, strict=True) if number in seen.rims
    ]
    picture = InThePicture.of(known, rims, angle, shift, (reference.shape[1], reference.shape[0]))
    known, on_scale = picture.through()
    refuse_beyond(known, on_scale, opened.path.name)
    value, slope = known.value_at(on_scale)
    refuse_unsteady(value, known, opened.path.name)
    u = np.abs(slope) * np.array([sighting.u for sighting in sightings])
    unsure = known.between_marks(on_scale)
    moments = np.array(times)[kept]
    good = plausible(value, unsure, known, left_out)
    tips = {kept[i]: (float(value[i]), float(angle[i])) for i in np.flatnonzero(good)}
    stills = _stills(seen, known, tips)
    if good.sum() < _FEWEST or not stills:
        raise _few(opened, int(good.sum()), left_out)
    return FilmReading(
        dial=known,
        time_s=(opened.created_s or 0.0) + moments[good],
        begin_s=opened.created_s or 0.0,
        value=value[good],
        u=u[good],
        u_common=np.hypot(np.hypot(_u_common(known), picture.u_lens(value)), unsure[good]),
        has_clock=opened.created_s is not None,
        left_out={reason: count for reason, count in left_out.items() if count},
        stills=stills,
    )


def _stills(seen: _Seen, known: FilmedDial, tips: Mapping[int, tuple[float, float]]) -> tuple[Still, ...]:
    """Return a dozen frames with reading and needle; ``tips`` are value and angle by the number of the frame."""
    shown = [one for one in seen.kept if one.number in tips]
    some = np.unique(np.linspace(0, len(shown) - 1, _STILLS).astype(int)) if shown else ()
    stills = []
    for one in (shown[i] for i in some):
        value, angle = tips[one.number]
        stills.append(Still(seen.times[one.number], value, one.picture, one.place(needle_px(known, angle, one.warp))))
    return tuple(stills)


def readings_table(reading: FilmReading) -> bytes:
    """Return the readings file: ``time``, ``dial (UNIT)``, ``u (UNIT)``, ``u_common (UNIT)``."""
    from datetime import UTC, datetime

    unit = reading.dial.unit
    rows = [f"{'time' if reading.has_clock else 'time (s)'},dial ({unit}),u ({unit}),u_common ({unit})"]
    for time, value, u, shared in zip(reading.time_s, reading.value, reading.u, reading.u_common, strict=True):
        moment = datetime.fromtimestamp(time, UTC) if reading.has_clock else None
        stamp = f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z" if moment else f"{time:.3f}"
        rows.append(f"{stamp},{value:.2f},{u:.3f},{shared:.3f}")
    return ("\n".join(rows) + "\n").encode()


@dataclass
class _Seen:
    """Frames that could be brought onto the reference."""

    times: list[float]
    warps: list[FloatArray]
    unrolled: list[Picture]
    left_out: Counter[str]
    kept: list[Kept]
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
        if picture is None:
            seen.left_out["damaged"] += 1
            continue
        if picture.shape != reference.shape:
            seen.left_out["other_size"] += 1
            continue
        warp, good = registration.locate(picture)
        if good < GOOD_CORRELATION:
            seen.left_out["dial_not_found"] += 1
            continue
        if time >= every * len(seen.kept):
            seen.kept.append(cut_out(len(seen.times), picture, dial, warp))
            seen.rims[len(seen.times)] = rim.of(picture, warp)
        seen.times.append(time)
        seen.warps.append(warp)
        seen.unrolled.append(needle.polar_picture(picture, dial, warp))
    return seen


def _directions(sightings: list[needle.Sighting]) -> tuple[FloatArray, FloatArray]:
    """Return the direction of every needle, freed of where its pivot is seen, and that place in the plane. [rad, 1].

    A needle above the face is seen beside where it is, by the same shift in every direction (parallax), and a tapped
    centre is never exact. Both move the whole needle and leave its direction. The shift is what makes the sideways
    place change along the rings, in all frames together: lateral = angle error x radius + n . shift.
    """
    radii = needle.ring_radii()
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


def _u_common(dial: FilmedDial) -> float:
    """Return what plane and scale do to every reading alike, in the unit of the dial."""
    _, slope = dial.value_at(dial.angles())
    return float(np.median(np.abs(slope))) * float(np.hypot(dial.u_rad, _BESIDE_FIT_RAD))


def _few(film: Film, count: int, left_out: Counter[str]) -> ReadingsFormatError:
    reasons = {reason: frames for reason, frames in left_out.items() if frames}
    return ReadingsFormatError("film_few_frames", source=film.path.name, count=count, left_out=reasons)


def _refuse_marks_outside(dial: FilmedDial, picture: Picture, film: Film) -> None:
    height, width = picture.shape[:2]
    x, y = dial.points.T
    if not ((x >= 0) & (x < width) & (y >= 0) & (y < height)).all():
        raise ReadingsFormatError("film_marks_outside", source=film.path.name, width=width, height=height)
