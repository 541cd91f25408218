"""The dial file: which marks of the dial stand where in one frame, and what angle belongs to which value."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.errors import ReadingsFormatError
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.film.dial_fit import Pivot, fit_scale, seen_at
from speedcal.logs.film.uneven import refuse_uneven
from speedcal.units import SpeedUnit, parse_speed_unit
from speedcal.whole_file import read_small

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator

FEWEST_MARKS = 3
_PLANE_MARKS, _PLANE_ARC_RAD = 6, 2.0
"""Marks and arc from which on the camera's angle can be told."""
_ON_ONE_CIRCLE = 0.08
TAP_PX = 1.0
"""Taps are good to a pixel; films and marks tell how well they really were."""
_FEW_LEFT = 0.5
"""What a scale through a few marks leaves of the error of a tap. From rendered dials."""
_BETWEEN = 24
_FARTHEST = 1e6
"""No value of a dial and no pixel of a picture is larger."""
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
    scale_rad: FloatArray
    """Angle of each mark on the scale, as drawn in the picture, unwrapped, shape (m,). [rad]"""
    u_rad: float
    """What plane and scale err by in all needles alike, standard. [rad]"""
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
        return 1.0 if self.scale_rad[-1] > self.scale_rad[0] else -1.0

    def angles(self) -> FloatArray:
        """Return the angle of each mark on the scale, growing with the value. [rad]."""
        return np.asarray(self.sense * self.scale_rad)

    def on_scale(self, direction: FloatArray) -> FloatArray:
        """Return directions in the plane as :meth:`angles` counts them, about the middle of the scale. [rad]."""
        middle = self.angles()[[0, -1]].mean()
        return np.asarray(middle + (self.sense * direction - middle + np.pi) % (2 * np.pi) - np.pi)

    def fitted(
        self, *, points: FloatArray | None = None, u_px: FloatArray | None = None, pivot: Pivot | None = None
    ) -> FilmedDial:
        """Return the dial with its plane and scale fitted to the marks.

        A circle seen at an angle is an ellipse whose middle is not the circle's centre; how far it is off follows from
        the marks once their scale is taken to be smooth. Few marks, or marks on a short arc, leave it as it is.

        Parameters
        ----------
        points
            Where the marks are known to stand now, shape (m, 2), else where they were tapped. [px]
        u_px
            How well each of them is known, across and along the line from the centre, shape (m, 2), else as a finger
            taps. [px]
        pivot
            Where the needle turns in the picture.
        """
        at = self.points if points is None else points
        around = _turned(self.plane, at)
        if len(at) < _PLANE_MARKS or abs(around[-1] - around[0]) < _PLANE_ARC_RAD:
            return self
        u = np.full((len(at), 2), TAP_PX) if u_px is None else u_px
        found = fit_scale(self.values, at, u, self.plane, around, pivot)
        return replace(self, points=at, plane=found.plane, scale_rad=found.scale_rad, u_rad=found.u_rad)

    def refuse_misprinted(self, found: BoolArray, u_px: float) -> None:
        """Refuse marks whose printed strokes do not go with each other.

        Parameters
        ----------
        found
            Of which marks the stroke is known, shape (m,).
        u_px
            How well, standard. [px]
        """
        turned = np.abs(_turned(self.plane, self.points[found]) - self.scale_rad[0])
        refuse_uneven(self.values[found], turned, u_px / self.radius_px, self.source, are_printed=True)

    def value_at(self, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the value at angles as :meth:`angles` counts them, and its slope; monotone between the marks.

        Beyond the end marks it goes on straight. [unit, unit per rad].
        """
        at, curve = self.angles(), self._curve("not-a-knot")
        inside = np.clip(angle, at[0], at[-1])
        slope = curve(inside, 1)
        return np.asarray(curve(inside) + (angle - inside) * slope), np.asarray(slope)

    def between_marks(self, angle: FloatArray) -> FloatArray:
        """Return how far two curves through the marks, one of them straight at the ends, are from each other. [unit].

        Nothing for a linear scale; what a scale does between two marks cannot be known better.
        """
        inside = np.clip(angle, *self.angles()[[0, -1]])
        return np.asarray(np.abs(self._curve("not-a-knot")(inside) - self._curve("natural")(inside)))

    def _curve(self, ends: Literal["natural", "not-a-knot"]) -> PchipInterpolator:
        """Return the curve from angle to value: a cubic spline from value to angle turned around where it can be."""
        from scipy.interpolate import CubicSpline, PchipInterpolator

        at = self.angles()
        if len(at) >= _PLANE_MARKS:
            between = np.linspace(self.values[0], self.values[-1], _BETWEEN * (len(at) - 1) + 1)
            drawn = CubicSpline(self.values, at, bc_type=ends)(between)
            if (np.diff(drawn) > 0).all():
                return PchipInterpolator(drawn, between)
        return PchipInterpolator(at, self.values)


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
        table = tomllib.loads(read_small(Path(path)).decode("utf-8-sig"))
    except OSError as error:
        raise ReadingsFormatError("file_not_opened", source=source, reason=error.strerror or "") from None
    except (ValueError, RecursionError) as error:
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
    plane = _square_on(points, None if centre is None else centre[0], source)
    scale = _turned(plane, points)
    tap_rad = TAP_PX / float(plane[0, 0])
    _refuse_order(values, scale, source)
    refuse_uneven(values, np.abs(scale - scale[0]), tap_rad, source)
    dial = FilmedDial(unit, values, points, plane, scale, _FEW_LEFT * tap_rad, float(moment), source).fitted()
    _refuse_order(values, dial.scale_rad, source)
    return dial


def _refuse_order(values: FloatArray, scale: FloatArray, source: str) -> None:
    steps = np.diff(scale) * np.sign(scale[-1] - scale[0])
    if (steps <= 0).any() or abs(scale[-1] - scale[0]) > 2 * np.pi:
        raise ReadingsFormatError("dial_file_order", source=source, value=float(values[int(np.argmin(steps)) + 1]))


def _rows(value: object, width: int) -> FloatArray | None:
    """Return a list of rows of numbers that a dial or a picture may have, None when it is not one."""
    if not isinstance(value, list):
        return None
    try:
        rows = np.array(value, float)
    except (TypeError, ValueError, OverflowError):
        return None
    return rows if rows.ndim == 2 and rows.shape[1] == width and (np.abs(rows) < _FARTHEST).all() else None


def _square_on(points: FloatArray, centre: FloatArray | None, source: str) -> FloatArray:
    """Return the homography whose unit circle carries the marks, the picture taken to be square on."""
    middle = _circle_centre(points) if centre is None else centre
    radius = np.hypot(*(points - middle).T)
    if radius.std() > _ON_ONE_CIRCLE * radius.mean() * (4 if len(points) >= _PLANE_MARKS else 1):
        raise ReadingsFormatError("dial_file_circle", source=source)
    return np.array([[radius.mean(), 0, middle[0]], [0, radius.mean(), middle[1]], [0, 0, 1.0]])


def _turned(plane: FloatArray, points: FloatArray) -> FloatArray:
    """Return the directions of points in a plane, unwrapped. [rad]."""
    flat = seen_at(np.asarray(np.linalg.inv(plane), float), points)
    return np.asarray(np.unwrap(np.arctan2(flat[:, 1], flat[:, 0])))


def _circle_centre(points: FloatArray) -> FloatArray:
    """Return the centre of the least-squares circle (Kasa 1976, IEEE Trans. Instrum. Meas. 25, 8)."""
    design = np.column_stack([2 * points, np.ones(len(points))])
    solution, *_ = np.linalg.lstsq(design, np.sum(points**2, axis=1), rcond=None)
    return np.asarray(solution[:2])
