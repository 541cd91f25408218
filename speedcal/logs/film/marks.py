"""The dial file: which marks of the dial stand where in one frame, and what angle belongs to which value."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import FloatArray
from speedcal.units import SpeedUnit, parse_speed_unit

FEWEST_MARKS = 3
_PLANE_MARKS, _PLANE_ARC_RAD = 6, 2.0
"""Marks and arc from which on the camera's angle can be told."""
_ON_ONE_CIRCLE = 0.08
_PIVOT_SHARE = 0.006
"""How far the needle's pivot is seen beside the centre, standard, in radii; from memory: 3 mm high, 10 degrees."""
_TAP_PX, _PERSPECTIVE_SD, _SCALE_BEND_SD = 1.0, 0.02, 0.5
"""Taps are good to a pixel; a camera at ten radii and 12 degrees has 0.02; a scale may be far from linear."""
_PLANE_FREEDOM, _TAP_WEIGHT = 5, 2
"""What of the plane the radii of the marks have to tell; a usual tap counts as much as two marks."""
_KEYS = ("unit", "marks", "centre", "frame_s")


@dataclass(frozen=True, eq=False)
class FilmedDial:
    """A dial as it stands in one frame of a film. Pixels count from the top left of the picture as it is shown."""

    unit: SpeedUnit
    values: FloatArray
    """Values of the marks, increasing, shape (m,), in the unit of the dial."""
    points: FloatArray
    """Where the marks stand, shape (m, 2). [px]"""
    plane: FloatArray
    """Homography from the dial's plane, where the marks stand on the unit circle, to the picture, shape (3, 3)."""
    frame_s: float
    """Moment of the film at which the marks were taken. [s]"""
    source: str = ""

    @property
    def centre(self) -> FloatArray:
        """Where the centre of the dial is seen, shape (2,). [px]."""
        return np.asarray(seen_at(self.plane, np.zeros((1, 2)))[0])

    @property
    def radius_px(self) -> float:
        """Mean radius of the circle of marks. [px]."""
        around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        edge = seen_at(self.plane, np.column_stack([np.cos(around), np.sin(around)]))
        return float(np.mean(np.hypot(*(edge - self.centre).T)))

    @property
    def sense(self) -> float:
        """1 where values grow with the angle as drawn in the picture, -1 where they fall."""
        return 1.0 if np.ptp(self._turned()) > 0 and self._turned()[-1] > self._turned()[0] else -1.0

    def angles(self) -> FloatArray:
        """Return the angle of each mark in the dial's plane, growing with the value, unwrapped. [rad]."""
        return np.asarray(self.sense * self._turned())

    def _turned(self) -> FloatArray:
        flat = seen_at(np.asarray(np.linalg.inv(self.plane), float), self.points)
        return np.asarray(np.unwrap(np.arctan2(flat[:, 1], flat[:, 0])))

    def with_pivot(self, pivot: FloatArray) -> FilmedDial:
        """Return the dial seen anew, knowing where the needle turns in the picture, shape (2,). [px].

        The needle turns above the dial's centre; from the side it is seen beside it by its height (parallax), which
        is little, while taps alone leave the centre of a tilted dial uncertain.
        """
        if len(self.values) < _PLANE_MARKS:
            return self
        turned = np.unwrap(np.arctan2(*(self.points - self.centre).T[::-1]))
        return replace(self, plane=_fitted_plane(self.values, self.points, self.plane, turned, pivot))

    @property
    def tap_rad(self) -> float:
        """How well the marks were tapped, standard, as seen from the centre: by how far they lie off the circle."""
        flat = seen_at(np.asarray(np.linalg.inv(self.plane), float), self.points)
        usual = _TAP_PX / self.radius_px
        free = max(len(self.values) - _PLANE_FREEDOM, 0)
        off = np.hypot(*flat.T) - 1.0 if free else np.zeros(1)
        return float(np.sqrt((_TAP_WEIGHT * usual**2 + np.sum(off**2)) / (_TAP_WEIGHT + free)))

    def scale(self) -> FloatArray:
        """Return the angle of each mark on a smooth scale: how smooth, the taps themselves tell. [rad].

        A smoothing spline with the penalty chosen by generalised cross-validation (Craven and Wahba 1979).
        """
        from scipy.interpolate import make_smoothing_spline

        tapped = self.angles()
        if len(tapped) < _PLANE_MARKS:
            return tapped
        share = (self.values - self.values[0]) / np.ptp(self.values)
        smooth = make_smoothing_spline(share, tapped)(share)
        return np.asarray(smooth) if (np.diff(smooth) > 0).all() else tapped

    def value_at(self, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the value at angles as :meth:`angles` counts them, and its slope; monotone between the marks.

        Beyond the end marks it goes on straight. [unit, unit per rad].
        """
        from scipy.interpolate import PchipInterpolator

        at = self.scale()
        curve = PchipInterpolator(at, self.values)
        inside = np.clip(angle, at[0], at[-1])
        slope = curve(inside, 1)
        return np.asarray(curve(inside) + (angle - inside) * slope), np.asarray(slope)


def read_dial(path: str | Path) -> FilmedDial:
    """Read a dial file.

    Parameters
    ----------
    path
        TOML with ``unit``, ``marks = [[value, x, y], ...]``, and where wanted ``centre = [x, y]`` and ``frame_s``.

    Raises
    ------
    ReadingsFormatError
        The file is no dial: the code says what is missing.
    """
    source = Path(path).name
    try:
        table = tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise ReadingsFormatError("cannot_open", source=source, reason=error.strerror or "") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ReadingsFormatError("dial_file_not_toml", source=source, reason=str(error)) from None
    return dial_from(table, source=source)


def dial_from(table: dict[str, Any], *, source: str = "") -> FilmedDial:
    """Return the dial of a table with the keys of a dial file; errors as :func:`read_dial`."""
    unknown = sorted(set(table) - set(_KEYS))
    if unknown:
        raise ReadingsFormatError("dial_file_unknown_key", source=source, key=unknown[0], known=_KEYS)
    unit = parse_speed_unit(str(table.get("unit", "")))
    if unit is None:
        raise ReadingsFormatError("dial_file_unit", source=source, found=str(table.get("unit", "")))
    rows = _rows(table.get("marks"), 3)
    if rows is None or len(rows) < FEWEST_MARKS:
        raise ReadingsFormatError("dial_file_marks", source=source, count=0 if rows is None else len(rows))
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    values, points = rows[:, 0], rows[:, 1:]
    if (np.diff(values) <= 0).any():
        raise ReadingsFormatError(
            "dial_file_mark_twice", source=source, value=float(values[np.argmin(np.diff(values))])
        )
    given = table.get("centre")
    centre = None if given is None else _rows([given], 2)
    if given is not None and centre is None:
        raise ReadingsFormatError("dial_file_centre", source=source)
    moment = table.get("frame_s", 0.0)
    if isinstance(moment, bool) or not isinstance(moment, (int, float)) or not 0 <= moment < 1e6:
        raise ReadingsFormatError("dial_file_frame", source=source, found=str(moment))
    plane = _plane(values, points, None if centre is None else centre[0], source)
    dial = FilmedDial(unit, values, points, plane, float(moment), source)
    steps = np.diff(dial.angles())
    if (steps <= 0).any() or dial.angles()[-1] - dial.angles()[0] > 2 * np.pi:
        raise ReadingsFormatError("dial_file_order", source=source, value=float(values[int(np.argmin(steps)) + 1]))
    return dial


def _rows(value: object, width: int) -> FloatArray | None:
    """Return a list of rows of finite numbers, None when it is not one."""
    if not isinstance(value, list):
        return None
    try:
        rows = np.array(value, float)
    except (TypeError, ValueError):
        return None
    return rows if rows.ndim == 2 and rows.shape[1] == width and np.isfinite(rows).all() else None


def seen_at(plane: FloatArray, flat: FloatArray) -> FloatArray:
    """Return where points of a plane are seen by a homography, shape (..., 2)."""
    whole = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1) @ plane.T
    return np.asarray(whole[..., :2] / whole[..., 2:])


def _plane(values: FloatArray, points: FloatArray, centre: FloatArray | None, source: str) -> FloatArray:
    """Return the homography whose unit circle carries the marks.

    A circle seen at an angle is an ellipse whose middle is not the circle's centre; how far it is off follows from the
    marks once their scale is taken to be smooth. With few marks the picture is taken to be square on.
    """
    middle = _circle_centre(points) if centre is None else centre
    radius = np.hypot(*(points - middle).T)
    if radius.std() > _ON_ONE_CIRCLE * radius.mean() * (4 if len(points) >= _PLANE_MARKS else 1):
        raise ReadingsFormatError("dial_file_circle", source=source)
    around = np.unwrap(np.arctan2(*(points - middle).T[::-1]))
    square_on = np.array([[radius.mean(), 0, middle[0]], [0, radius.mean(), middle[1]], [0, 0, 1.0]])
    if len(points) < _PLANE_MARKS or abs(around[-1] - around[0]) < _PLANE_ARC_RAD:
        return square_on
    return _fitted_plane(values, points, square_on, around)


def _fitted_plane(
    values: FloatArray, points: FloatArray, start: FloatArray, around: FloatArray, pivot: FloatArray | None = None
) -> FloatArray:
    """Fit plane and scale together: the angle is a smooth function of the value, the plane is seen by a camera."""
    from scipy.optimize import least_squares

    share = (values - values[0]) / (values[-1] - values[0])
    size = float(np.sqrt(abs(np.linalg.det(start[:2, :2]))))

    def away(parameters: FloatArray) -> FloatArray:
        sweep, bend, twist = parameters[8:]
        angle = around[0] + sweep * (share + bend * share * (1 - share) + twist * share * (1 - share) * (1 - 2 * share))
        plane = _plane_of(parameters, size)
        seen = seen_at(plane, np.column_stack([np.cos(angle), np.sin(angle)]))
        prior = np.concatenate([parameters[6:8] / _PERSPECTIVE_SD, parameters[9:] / _SCALE_BEND_SD])
        beside = np.empty(0) if pivot is None else (plane[:2, 2] - pivot) / (_PIVOT_SHARE * size)
        return np.concatenate([((seen - points) / _TAP_PX).ravel(), prior, beside])

    first = np.array([1, 0, start[0, 2] / size, 0, 1, start[1, 2] / size, 0, 0, around[-1] - around[0], 0, 0])
    fitted = least_squares(away, first, method="trf", x_scale="jac")
    return _plane_of(fitted.x, size)


def _plane_of(parameters: FloatArray, size: float) -> FloatArray:
    a, b, x, c, d, y, g, h = parameters[:8]
    return np.array([[a * size, b * size, x * size], [c * size, d * size, y * size], [g, h, 1.0]])


def _circle_centre(points: FloatArray) -> FloatArray:
    """Return the centre of the least-squares circle (Kasa 1976, IEEE Trans. Instrum. Meas. 25, 8)."""
    design = np.column_stack([2 * points, np.ones(len(points))])
    solution, *_ = np.linalg.lstsq(design, np.sum(points**2, axis=1), rcond=None)
    return np.asarray(solution[:2])
