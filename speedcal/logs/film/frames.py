"""Frames of a film with their times: a video of a phone, or a folder of timed pictures."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from speedcal.errors import ReadingsFormatError

Picture = NDArray[np.uint8]
_PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".bmp", ".tif", ".tiff")
_LONGEST_S = 4 * 3600.0
_FAST_RATE = 45.0
_EARLY, _LATE = 0.3, 0.2
"""A key frame is taken so much before it is due, and a frame may come so much late, in steps between frames."""
_LONGEST_GROUP = 600
"""Packets between key frames that are held before any is decoded."""
_HEAVY_CODECS = ("hevc", "av1", "vp9")
_EXIF_OFFSETS, _EXIF_TIME, _EXIF_PARTS, _EXIF_ZONE = 0x8769, 0x9003, 0x9291, 0x9011


@dataclass(frozen=True, slots=True)
class Film:
    """What a film says of itself."""

    path: Path
    created_s: float | None
    """Creation time since 1970, which may be that of its begin or of its end. [s]"""
    length_s: float
    """Length, for a progress bar; zero where it is not known. [s]"""
    keyframes_only: bool
    """Whether only keyframes are decoded, about one a second, because all would take too long."""


def open_film(path: str | Path) -> Film:
    """Return what a film or a folder of pictures says of itself.

    Raises
    ------
    ReadingsFormatError
        There is no such file, it holds no video, or the library that decodes it is not installed.
    """
    path = Path(path)
    if path.is_dir():
        times = [_picture_time(picture) for picture in _pictures(path)]
        known = [time for time in times if time is not None]
        if len(known) < 2:
            raise ReadingsFormatError("film_folder_untimed", source=path.name, count=len(times), timed=len(known))
        return Film(path, min(known), max(known) - min(known), keyframes_only=False)
    with _container(path) as container:
        stream = container.streams.video[0]
        length = float(container.duration / 1e6) if container.duration else 0.0
        if length > _LONGEST_S:
            raise ReadingsFormatError("film_too_long", source=path.name, length_s=length)
        rate = float(stream.average_rate or 30)
        heavy = stream.codec_context.name in _HEAVY_CODECS or rate > _FAST_RATE
        return Film(path, _created(container), length, keyframes_only=heavy and length > 120)


def frames(film: Film, *, per_s: float, after_s: float = 0.0) -> Iterator[tuple[float, Picture | None]]:
    """Yield the time since the begin of the film and the picture, upright, RGB, shape (height, width, 3).

    None stands for a picture that the decoder had to make up, in part or whole, and for all that follow it up to the
    next key frame, since they are made from it.

    Parameters
    ----------
    film
        From :func:`open_film`.
    per_s
        About how many to yield a second, at the most.
    after_s
        Frames before this moment are left out. [s]
    """
    if film.path.is_dir():
        yield from ((time, picture) for time, picture in _from_folder(film) if time + 1e-6 >= after_s)
        return
    with _container(film.path) as container:
        stream = container.streams.video[0]
        # where pictures are shown in another order than they are stored in, a picture may come out of one thread before
        # another has found it damaged
        stream.thread_type = "SLICE" if stream.codec_context.has_b_frames else "AUTO"
        if film.keyframes_only:
            stream.codec_context.skip_frame = "NONKEY"
        import av

        begin = None if stream.start_time is None else float(stream.start_time * stream.time_base)
        due = after_s
        try:
            if after_s and begin is not None:
                container.seek(int((begin + after_s) / stream.time_base), stream=stream)
            for moment, frame in _sound(_decoded(container, stream, 1 / per_s)):
                begin, is_key = moment if begin is None else begin, frame is not None and frame.key_frame
                time = moment - begin
                if time + 1e-6 < due - (_EARLY / per_s if is_key and due > after_s else 0.0):
                    continue
                due = time + 1 / per_s if is_key or time - due > 1 / per_s else due + 1 / per_s
                yield time, None if frame is None else _upright(frame)
        except av.error.FFmpegError:  # a film that breaks off: what was read so far counts
            yield from ((float(time), None) for time in np.arange(due, film.length_s, 1 / per_s))


def _sound(decoded: Iterator[Any]) -> Iterator[tuple[float, Any]]:
    """Yield the time of each frame, and the frame or None where it is damaged. [s]."""
    broken = False
    for one in decoded:
        is_frame = hasattr(one, "key_frame")
        broken = not is_frame or one.is_corrupt or (broken and not one.key_frame)
        if one.pts is not None:
            yield float(one.pts * one.time_base), None if broken else one


def _decoded(container, stream, every_s: float):  # type: ignore[no-untyped-def]
    """Yield decoded frames, and packets that cannot be.

    What follows the last frame wanted before the next key frame is not decoded. Frames are wanted from each key frame
    on, every ``every_s``. Nothing refers to what follows them, but pictures that come after the next key frame and are
    shown before it, which are dropped too.
    """
    group: list[Any] = []
    dropped_until = None
    for packet in container.demux(stream):
        if packet.is_keyframe and group:
            sent, dropped_until = _wanted(group, packet, every_s)
            for one in sent:
                yield from _tried(stream, one)
            group = []
        if dropped_until is not None and packet.pts is not None and packet.pts < dropped_until:
            continue
        group.append(packet)
        if len(group) > _LONGEST_GROUP:
            for one in group:
                yield from _tried(stream, one)
            group = []
    for one in group:
        yield from _tried(stream, one)


def _tried(stream: Any, packet: Any) -> list[Any]:
    """Return the frames that come out when a packet goes in, or the packet itself when it cannot be decoded."""
    import av

    try:
        return list(stream.decode(packet))
    except av.error.InvalidDataError:
        return [packet]


def _wanted(group: list[Any], following: Any, every_s: float) -> tuple[list[Any], int | None]:
    """Return the packets of a group that are to be decoded, and where the next begins when some are not."""
    first, times = group[0], [packet.pts for packet in group]
    if not first.is_keyframe or following.pts is None or None in times:
        return group, None
    last_s = np.floor(float((following.pts - first.pts) * first.time_base) / every_s - _EARLY) * every_s
    last = first.pts + (last_s + _LATE * every_s) / float(first.time_base)
    needed = max((i for i, time in enumerate(times) if time <= last), default=0)
    return (group[: needed + 1], following.pts) if needed + 1 < len(group) else (group, None)


def picture_at(film: Film, moment_s: float) -> Picture:
    """Return the first picture at or after a moment of the film, else the last one; a film without any is refused."""
    found = next((one for _, one in frames(film, per_s=1000.0, after_s=moment_s) if one is not None), None)
    if found is not None:
        return found
    last = None
    for _, picture in frames(film, per_s=10.0):
        last = last if picture is None else picture
    if last is None:
        raise ReadingsFormatError("film_empty", source=film.path.name)
    return last


def _container(path: Path):  # type: ignore[no-untyped-def]  # av is an extra
    try:
        import av
    except ImportError:
        raise ReadingsFormatError("film_extra_missing", source=path.name) from None
    try:
        container = av.open(str(path))
    except FileNotFoundError:
        raise ReadingsFormatError("file_not_opened", source=path.name, reason=os.strerror(errno.ENOENT)) from None
    except (av.error.FFmpegError, OSError) as error:
        raise ReadingsFormatError("film_unreadable", source=path.name, reason=str(error)) from None
    if not container.streams.video:
        container.close()
        raise ReadingsFormatError("film_without_video", source=path.name)
    return container


def _upright(frame) -> Picture:  # type: ignore[no-untyped-def]
    """Return the picture as a phone shows it: turned by the angle that the file states."""
    picture = frame.to_ndarray(format="rgb24")
    quarters = round(-float(getattr(frame, "rotation", 0) or 0) / 90) % 4
    return np.ascontiguousarray(np.rot90(picture, -quarters)) if quarters else picture


def _created(container) -> float | None:  # type: ignore[no-untyped-def]
    stated = container.metadata.get("creation_time")
    try:
        return datetime.fromisoformat(stated.replace("Z", "+00:00")).timestamp() if stated else None
    except ValueError:
        return None


def _pictures(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.suffix.lower() in _PICTURES)


def _from_folder(film: Film) -> Iterator[tuple[float, Picture]]:
    from PIL import Image, ImageOps

    timed = [(time, path) for path in _pictures(film.path) if (time := _picture_time(path)) is not None]
    for time, path in sorted(timed):
        with Image.open(path) as image:
            yield time - (film.created_s or 0.0), np.asarray(ImageOps.exif_transpose(image).convert("RGB"))


def _picture_time(path: Path) -> float | None:
    """Return when a picture was taken by its EXIF data, since 1970; a time without a zone counts as UTC. [s]."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as image:
            exif = image.getexif().get_ifd(_EXIF_OFFSETS)
    except (UnidentifiedImageError, OSError):
        return None
    stated = str(exif.get(_EXIF_TIME, ""))
    zone = str(exif.get(_EXIF_ZONE, "") or "+00:00")
    parts = "".join(character for character in str(exif.get(_EXIF_PARTS, "") or "0") if character.isdigit())
    try:
        moment = datetime.strptime(f"{stated} {zone}", "%Y:%m:%d %H:%M:%S %z")
    except ValueError:
        return None
    return moment.timestamp() + float(f"0.{parts or '0'}")
