"""Frames as phones write them: turned, at uneven times, in HEVC, at 60 a second."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from speedcal.logs.film.frames import Film, frames, open_film, picture_at

HIGH, WIDE = 64, 96


def write(path: Path, times_s: Sequence[float], *, codec: str = "libx264", created: str = "", gap: int = 30) -> Film:
    """Write a film whose frames grow lighter with time, the top left corner white."""
    with av.open(str(path), "w") as container:
        if created:
            container.metadata["creation_time"] = created
        options = {"g": str(gap), "keyint_min": str(gap), "x265-params": f"keyint={gap}:log-level=none"}
        stream = container.add_stream(codec, rate=60, options=options)
        stream.width, stream.height, stream.pix_fmt = WIDE, HIGH, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 600)
        for time in times_s:
            picture = np.full((HIGH, WIDE, 3), 20 + 170 * time / times_s[-1], np.uint8)
            picture[:20, :20] = 255
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts, frame.time_base = round(600 * time), Fraction(1, 600)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return open_film(path)


def seconds_of(picture: np.ndarray, film: Film) -> float:
    """Return the time that a frame shows; a step of its light is a 170th of the film."""
    return (float(np.median(picture)) - 20) / 170 * film.length_s


def test_a_film_held_upright_stands_upright(tmp_path: Path) -> None:
    """The track header turns it by 90 degrees clockwise (ISO/IEC 14496-12, tkhd): the white corner is on the right."""
    path = tmp_path / "film.mp4"
    write(path, [0, 0.5, 1.0])
    content = bytearray(path.read_bytes())
    at = content.index(b"tkhd") + 4 + 40
    one, far = 1 << 16, 1 << 30
    content[at : at + 36] = struct.pack(">9i", 0, one, 0, -one, 0, 0, HIGH << 16, 0, far)
    path.write_bytes(content)
    picture = picture_at(open_film(path), 0.0)
    assert picture.shape == (WIDE, HIGH, 3)
    assert picture[5, -5].min() > 230
    assert picture[5, 5].max() < 100


def test_frames_at_uneven_times_keep_their_times(tmp_path: Path) -> None:
    """A phone slows down in the dark; two a second are wanted of what is there."""
    rng = np.random.default_rng(4)
    film = write(tmp_path / "film.mp4", np.cumsum(rng.uniform(0.02, 0.12, 120)) - 0.02)
    seen = list(frames(film, per_s=2.0))
    assert len(seen) == pytest.approx(2 * film.length_s, abs=2)
    first = seconds_of(seen[0][1], film)
    for time, picture in seen:
        assert seconds_of(picture, film) - first == pytest.approx(time, abs=0.15)


def test_a_costly_film_is_read_by_its_key_frames(tmp_path: Path) -> None:
    """HEVC of more than two minutes; a shorter one is read whole."""
    film = write(tmp_path / "film.mp4", np.arange(0, 125, 0.5), codec="libx265", gap=10)
    assert film.keyframes_only
    assert np.allclose(np.diff([time for time, _ in frames(film, per_s=2.0)]), 5.0, atol=0.1)
    assert not write(tmp_path / "short.mp4", [0, 1, 2], codec="libx265").keyframes_only


def test_a_moment_is_found_without_reading_up_to_it(tmp_path: Path) -> None:
    """Also one beyond the end, which gives the last picture; the creation time is that of the file."""
    film = write(tmp_path / "film.mp4", np.arange(0, 16, 0.1), created="2031-05-17T20:10:00.000000Z")
    assert film.created_s == pytest.approx(1936815000.0)
    for moment in (0.0, 7.3, 12.0):
        assert seconds_of(picture_at(film, moment), film) == pytest.approx(moment, abs=0.25)
    assert seconds_of(picture_at(film, 99.0), film) == pytest.approx(15.9, abs=0.3)


@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_what_is_not_decoded_changes_no_frame_that_is(codec: str, tmp_path: Path) -> None:
    """Two frames of each group, with pictures that refer to later ones: the same as when all is decoded."""
    film = write(tmp_path / "film.mp4", np.arange(0, 6, 1 / 30), codec=codec, gap=30)
    with av.open(str(film.path)) as container:
        whole = [(frame.time, frame.to_ndarray(format="rgb24")) for frame in container.decode(video=0)]
    seen = list(frames(film, per_s=2.0))
    assert [time for time, _ in seen] == pytest.approx(np.arange(12) / 2, abs=0.04)
    for time, picture in seen:
        assert any(abs(other - whole[0][0] - time) < 1e-3 and (shown == picture).all() for other, shown in whole)


def test_what_the_decoder_makes_up_is_no_picture_up_to_the_next_key_frame(tmp_path: Path) -> None:
    """Bytes of one packet in the fourth of ten groups are noise: every picture but those after it is as it was."""
    rng, path = np.random.default_rng(7), tmp_path / "film.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=10, options={"g": "20", "keyint_min": "20", "crf": "20"})
        stream.width, stream.height, stream.pix_fmt = WIDE, HIGH, "yuv420p"
        for _ in range(200):
            picture = rng.integers(0, 255, (HIGH, WIDE, 3)).astype(np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    whole = list(frames(open_film(path), per_s=2.0))
    with av.open(str(path)) as container:
        hit = [packet for packet in container.demux(video=0) if packet.pts is not None and not packet.is_keyframe][63]
    content, middle = bytearray(path.read_bytes()), hit.pos + hit.size // 2
    content[middle : middle + 60] = rng.bytes(60)
    path.write_bytes(content)
    seen = list(frames(open_film(path), per_s=2.0))
    damaged = [time for time, picture in seen if picture is None]
    assert [time for time, _ in seen] == [time for time, _ in whole]
    assert damaged
    assert all(6.0 < time < 8.0 for time in damaged)
    for (_, picture), (_, was) in zip(seen, whole, strict=True):
        assert picture is None or (picture == was).all()
