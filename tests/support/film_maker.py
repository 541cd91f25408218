"""Films of dials that never were: a face, a needle above it, a camera that shakes, light that changes.

Everything is projected by a pinhole camera in three dimensions; the reader works with affine maps and angles in the
picture, so the two share no geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

WIDTH, HEIGHT = 480, 360
_FACE_PX = 1200


@dataclass(frozen=True)
class FilmKind:
    """One dial and how it is filmed."""

    name: str
    top: float = 120.0
    unit: str = "mph"
    begin_deg: float = 135.0
    sweep_deg: float = 270.0
    power: float = 1.0
    """1 for a linear scale; the angle grows with (value / top) ** power."""
    face: tuple[int, int, int] = (20, 20, 24)
    ink: tuple[int, int, int] = (230, 230, 225)
    needle: tuple[int, int, int] = (235, 90, 30)
    needle_length: float = 0.86
    needle_width: float = 0.02
    tail: float = 0.18
    height: float = 0.03
    """Of the needle above the face, in radii of the marks."""
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    shake_px: float = 1.0
    slip_px: float = 0.0
    light: float = 1.0
    noise: float = 2.0
    glare: bool = False
    spoke: bool = False
    rolling_px: float = 0.0
    second_needle: bool = False


KINDS = (
    FilmKind("plain"),
    FilmKind("white face", face=(235, 233, 225), ink=(20, 20, 20), needle=(20, 20, 20)),
    FilmKind("red on white", face=(238, 238, 230), ink=(30, 30, 30), needle=(200, 25, 25), tilt_deg=(12.0, 6.0)),
    FilmKind("white needle", needle=(240, 240, 235), tilt_deg=(-8.0, 10.0), slip_px=12.0),
    FilmKind("km/h", top=220.0, unit="km/h", begin_deg=140.0, sweep_deg=260.0, needle_width=0.014),
    FilmKind("half circle", top=100.0, begin_deg=180.0, sweep_deg=180.0, needle=(250, 160, 20)),
    FilmKind("wide at the bottom", top=90.0, power=0.8, begin_deg=150.0, sweep_deg=240.0),
    FilmKind("narrow at the bottom", top=140.0, power=1.2, face=(40, 60, 45)),
    FilmKind("night", light=0.22, noise=4.0),
    FilmKind("sun", glare=True, tilt_deg=(5.0, -8.0)),
    FilmKind("spoke", spoke=True, shake_px=2.0),
    FilmKind("shaken", shake_px=4.0, rolling_px=1.5, tilt_deg=(6.0, 6.0), second_needle=True),
)


@dataclass(frozen=True)
class MadeFilm:
    """A film and what is true of it."""

    path: Path
    kind: FilmKind
    time_s: np.ndarray
    value: np.ndarray
    marks: list[list[float]]
    """Value, x and y of the marks in the first frame, tapped by hand."""

    def dial_toml(self) -> str:
        """Return the dial file of the marks as tapped."""
        rows = ", ".join(f"[{value:g}, {x:.1f}, {y:.1f}]" for value, x, y in self.marks)
        return f'unit = "{self.kind.unit}"\nframe_s = 0.0\nmarks = [{rows}]\n'


def make_film(
    path: Path,
    kind: FilmKind,
    *,
    seed: int,
    seconds: float = 60.0,
    rate: int = 5,
    codec: str = "libx264",
    tap_px: float = 0.7,
    speed: np.ndarray | None = None,
) -> MadeFilm:
    """Render a film; ``speed`` gives the value over its frames, else a drive is made up."""
    rng = np.random.default_rng(seed)
    count = int(seconds * rate)
    time = np.arange(count) / rate
    value = _drive(rng, time, kind.top) if speed is None else speed
    face = _face(kind)
    poses = _poses(rng, kind, count)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate, options={"crf": "24", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.time_base = Fraction(1, rate)
        background = cv2.GaussianBlur(rng.uniform(20, 90, (HEIGHT, WIDTH, 3)).astype(np.float32), (0, 0), 9)
        for i in range(count):
            picture = _picture(rng, kind, face, background, float(value[i]), poses[i], i / count)
            for packet in stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")):
                container.mux(packet)
        for packet in stream.encode():
            container.mux(packet)
    step = kind.top / (12 if kind.top == 120 else 10)
    marks = []
    for mark in np.arange(0, kind.top + 1e-9, step):
        x, y = _project(poses[0], 0.93 * _unit(_angle(kind, mark)), 0.0) + rng.normal(0, tap_px, 2)
        marks.append([float(mark), float(x), float(y)])
    return MadeFilm(path, kind, time, value, marks)


def _drive(rng: np.random.Generator, time: np.ndarray, top: float) -> np.ndarray:
    """Plateaus between a sixth and three quarters of the scale with ramps between them."""
    knots = np.arange(0, time[-1] + 12, 6.0)
    levels = rng.uniform(0.15, 0.75, len(knots) // 2 + 1) * top
    speed = np.interp(time, knots, np.repeat(levels, 2)[: len(knots)])
    return np.clip(np.convolve(np.pad(speed, 3, mode="edge"), np.ones(7) / 7, mode="valid"), 0, top)


def _angle(kind: FilmKind, value: float) -> float:
    return float(np.radians(kind.begin_deg + kind.sweep_deg * (value / kind.top) ** kind.power))


def _unit(angle: float) -> np.ndarray:
    return np.array([np.cos(angle), np.sin(angle)])


def _face(kind: FilmKind) -> np.ndarray:
    """Draw the face from above, one radius of the marks being 0.4 of the picture."""
    canvas = np.full((_FACE_PX, _FACE_PX, 3), 60, np.uint8)
    middle, radius = _FACE_PX // 2, 0.4 * _FACE_PX
    cv2.circle(canvas, (middle, middle), int(1.15 * radius), (90, 90, 95), -1, cv2.LINE_AA)
    cv2.circle(canvas, (middle, middle), int(1.08 * radius), kind.face, -1, cv2.LINE_AA)
    for number, value in enumerate(np.linspace(0, kind.top, 61)):
        direction = _unit(_angle(kind, float(value)))
        inner = 0.86 if number % 5 == 0 else 0.92
        ends = [tuple(round(16 * v) for v in middle + radius * share * direction) for share in (inner, 1.0)]
        cv2.line(canvas, ends[0], ends[1], kind.ink, 7 if number % 5 == 0 else 3, cv2.LINE_AA, 4)
    for value in np.linspace(0, kind.top, 11 if kind.top != 120 else 13):
        at = middle + radius * 0.72 * _unit(_angle(kind, float(value)))
        text = f"{value:.0f}"
        (w, h), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 1.2, 3)
        place = (int(at[0] - w / 2), int(at[1] + h / 2))
        cv2.putText(canvas, text, place, cv2.FONT_HERSHEY_SIMPLEX, 1.2, kind.ink, 3, cv2.LINE_AA)
    cv2.rectangle(canvas, (middle - 90, middle + 150), (middle + 90, middle + 200), kind.ink, 2)
    cv2.putText(canvas, "61482", (middle - 80, middle + 190), cv2.FONT_HERSHEY_SIMPLEX, 1.3, kind.ink, 3)
    return canvas


def _poses(rng: np.random.Generator, kind: FilmKind, count: int) -> list[np.ndarray]:
    """Return a 3 x 4 camera for every frame: tilted, shaking, slipping in its holder."""

    def wander(size: float) -> np.ndarray:
        white = rng.normal(size=count + 8)
        return size * np.convolve(white, np.ones(3) / np.sqrt(3), mode="valid")[:count]

    shift_x, shift_y = wander(kind.shake_px), wander(kind.shake_px)
    roll, zoom = wander(0.004 * kind.shake_px), wander(0.002 * kind.shake_px)
    slip = kind.slip_px * (np.arange(count) > count // 2)
    poses = []
    for i in range(count):
        x, y = np.radians(kind.tilt_deg)
        tilt = cv2.Rodrigues(np.array([x, y, 0.0]))[0]
        turn = cv2.Rodrigues(np.array([0.0, 0.0, roll[i] + 0.003 * (slip[i] > 0)]))[0]
        rotation = turn @ tilt
        focal, distance = 765.0 * (1 + zoom[i]), 6.0
        inner = np.array([[focal, 0, WIDTH / 2 + shift_x[i] + slip[i]], [0, focal, HEIGHT / 2 + shift_y[i]], [0, 0, 1]])
        poses.append(inner @ np.column_stack([rotation, [0.0, 0.0, distance]]))
    return poses


def _project(pose: np.ndarray, flat: np.ndarray, above: float) -> np.ndarray:
    """Return pixels of points of the dial's plane, or of a plane above it towards the camera."""
    points = np.atleast_2d(flat)
    whole = np.column_stack([points, np.full(len(points), -above), np.ones(len(points))])
    seen = whole @ pose.T
    return np.squeeze(seen[:, :2] / seen[:, 2:])


def _polygon(picture: np.ndarray, points: np.ndarray, colour: tuple[int, int, int]) -> None:
    cv2.fillPoly(picture, [np.round(points * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)


def _needle(picture: np.ndarray, kind: FilmKind, pose: np.ndarray, angle: float, length: float, colour) -> None:  # type: ignore[no-untyped-def]
    along = _unit(angle)
    side = np.array([-along[1], along[0]])
    shape = np.array(
        [
            -kind.tail * along - kind.needle_width * side,
            length * along - 0.4 * kind.needle_width * side,
            length * along + 0.4 * kind.needle_width * side,
            -kind.tail * along + kind.needle_width * side,
        ]
    )
    _polygon(picture, _project(pose, shape, kind.height), colour)
    ring = np.linspace(0, 2 * np.pi, 40)
    hub = 0.07 * np.column_stack([np.cos(ring), np.sin(ring)])
    _polygon(picture, _project(pose, hub, kind.height), (50, 50, 52))


def _picture(
    rng: np.random.Generator,
    kind: FilmKind,
    face: np.ndarray,
    background: np.ndarray,
    value: float,
    pose: np.ndarray,
    share: float,
) -> np.ndarray:
    corners = np.array([[0, 0], [_FACE_PX, 0], [_FACE_PX, _FACE_PX], [0, _FACE_PX]], np.float32)
    flat = (corners - _FACE_PX / 2) / (0.4 * _FACE_PX)
    warp = cv2.getPerspectiveTransform(corners, _project(pose, flat, 0.0).astype(np.float32))
    big = cv2.warpPerspective(face, warp, (WIDTH, HEIGHT), flags=cv2.INTER_AREA)
    inside = cv2.warpPerspective(np.full(face.shape[:2], 255, np.uint8), warp, (WIDTH, HEIGHT))[..., None] > 0
    picture = np.where(inside, big, background).astype(np.uint8)
    if kind.second_needle:
        _needle(picture, kind, pose, np.radians(80 + 20 * share), 0.45, (120, 120, 120))
    _needle(picture, kind, pose, _angle(kind, value), kind.needle_length, kind.needle)
    if kind.spoke and 0.4 < share < 0.5:
        x = int(WIDTH * (0.35 + 2.5 * (share - 0.4)))
        _polygon(picture, np.array([[x, 0], [x + 70, 0], [x + 30, HEIGHT], [x - 40, HEIGHT]], float), (25, 22, 20))
    light = picture.astype(np.float32) * kind.light * (1 + 0.1 * np.sin(9 * share))
    if kind.glare:
        y, x = np.mgrid[:HEIGHT, :WIDTH]
        at = (WIDTH * (0.3 + 0.4 * ((3 * share) % 1)), HEIGHT * 0.35)
        light += 130 * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * 60.0**2))[..., None]
    if kind.rolling_px:
        row = np.arange(HEIGHT, dtype=np.float32)[:, None]
        x = np.arange(WIDTH, dtype=np.float32)[None, :] + kind.rolling_px * np.sin(row / 60 + rng.uniform(0, 6.28))
        light = cv2.remap(light, x.astype(np.float32), np.broadcast_to(row, x.shape).copy(), cv2.INTER_LINEAR)
    light += rng.normal(0, kind.noise, light.shape)
    return np.clip(light, 0, 255).astype(np.uint8)
