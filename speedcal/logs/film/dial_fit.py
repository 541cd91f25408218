"""Plane and scale of a dial together, from marks that err: which plane is seen, and at what angle each value stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from speedcal.interval import FloatArray

_PERSPECTIVE_SD = 0.02
"""Of the two terms of perspective; a camera at ten radii and 12 degrees has 0.02."""
_PIVOT_SHARE = 0.002
"""How well the needle's pivot is seen, standard, in radii, parallax apart."""
_RAISED, _RAISED_LN_SD = 0.3, 0.8
"""Height of a needle above the face by the camera's distance, in radii of the dial squared, and how it varies; from
memory: 2 mm above a dial of 90 mm, seen from 30 cm."""
_FOCAL_SHARE = 1.0
"""Focal length by the longer side of the picture; phones have 0.7 to 0.9, half as much again when zoomed."""
_BENDS = (0.0, 0.03, 0.1, 0.3, 1.0, 3.0)
"""Bending that a scale may have: of its second derivative by the share of the scale, in sweeps; 0 is a linear one."""
_COARSENESS = (0.3, 0.6, 1.2, 2.4)
"""How much more or less the marks err than was thought."""
_COARSENESS_LN_SD = 1.0
_MOST_STEPS = 60
"""Of a fit: one with a bend that a scale may have takes ten, one that must do without takes a thousand in vain."""
_NEEDLE_ENDS = (0.3, 0.9)


@dataclass(frozen=True, eq=False)
class Pivot:
    """Where the needle turns, as it is seen."""

    at: FloatArray
    """Shape (2,). [px]"""
    size: tuple[int, int]
    """Width and height of the picture. [px]"""

    def aside(self, centre: FloatArray) -> FloatArray:
        """Return how far a point is seen from the middle of the picture, by the camera's distance, shape (2,)."""
        return np.asarray((centre - np.array(self.size) / 2) / (_FOCAL_SHARE * max(self.size)))


@dataclass(frozen=True, eq=False)
class FittedScale:
    """A dial in space: its plane, and the angle of each mark on a scale as smooth as the marks say it is."""

    plane: FloatArray
    """Homography from the dial's plane, where the marks stand on the unit circle, to the picture, shape (3, 3)."""
    scale_rad: FloatArray
    """Angle of each mark as drawn in the picture, unwrapped, shape (m,). [rad]"""
    u_rad: float
    """Standard uncertainty of a needle's angle on that scale, which all needles share, over the marks. [rad]"""


@dataclass(frozen=True, eq=False)
class _Fit:
    """The parameters that go best with the marks, and what is left."""

    at: FloatArray
    cost: float
    """Half the sum of the squares of what is away."""
    slopes: FloatArray


def seen_at(plane: FloatArray, flat: FloatArray) -> FloatArray:
    """Return where points of a plane are seen by a homography, shape (..., 2)."""
    whole = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1) @ plane.T
    return np.asarray(whole[..., :2] / whole[..., 2:])


@dataclass(frozen=True, eq=False)
class _Marks:
    """What is fitted: the plane's eight, sweep, needle's height, and how far inner marks stand off a linear scale."""

    share: FloatArray
    points: FloatArray
    axes: FloatArray
    """Across and along the line from the centre to each mark, by how well it is known so, shape (m, 2, 2). [1/px]"""
    size: float
    begin: float
    sweep: float
    pivot: Pivot | None
    rough: FloatArray
    """Whitens the roughness of a natural cubic spline through the inner marks, shape (m - 2, m - 2)."""

    def plane(self, parameters: FloatArray) -> FloatArray:
        a, b, x, c, d, y, g, h = parameters[:8]
        size = self.size
        return np.array([[a * size, b * size, x * size], [c * size, d * size, y * size], [g, h, 1.0]])

    def angles(self, parameters: FloatArray) -> FloatArray:
        off = np.zeros(len(self.share))
        if len(parameters) > 10:
            off[1:-1] = parameters[10:]
        return np.asarray(self.begin + parameters[8] * self.share + off)

    def away(self, parameters: FloatArray, bend: float, coarse: float) -> FloatArray:
        plane, angle = self.plane(parameters), self.angles(parameters)
        seen = seen_at(plane, np.column_stack([np.cos(angle), np.sin(angle)]))
        rest = [
            np.einsum("mij,mj->mi", self.axes, seen - self.points).ravel() / coarse,
            parameters[6:8] / _PERSPECTIVE_SD,
        ]
        if bend:
            rest.append(self.rough @ parameters[10:] / (bend * abs(self.sweep)))
        rest.append(parameters[9:10] / _RAISED_LN_SD)
        if self.pivot is not None:
            rest.append((self.pivot_at(self.pivot, parameters) - self.pivot.at) / (_PIVOT_SHARE * self.size))
        return np.concatenate(rest)

    def slopes(self, parameters: FloatArray, bend: float, coarse: float) -> FloatArray:
        """Return how :meth:`away` changes with each parameter, shape (rest, parameters)."""
        plane, angle, count = self.plane(parameters), self.angles(parameters), len(parameters)
        flat, turned = (
            np.column_stack(part) for part in ((np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle)))
        )
        near = 1 / (flat @ plane[2, :2] + 1.0)[:, None]
        seen = seen_at(plane, flat)
        by = np.zeros((len(angle), 2, count))
        by[:, 0, :2] = by[:, 1, 3:5] = self.size * flat * near
        by[:, 0, 2] = by[:, 1, 5] = self.size * near[:, 0]
        by[:, :, 6:8] = -seen[:, :, None] * (flat * near)[:, None, :]
        around = (turned @ plane[:2, :2].T - seen * (turned @ plane[2, :2])[:, None]) * near
        by[:, :, 8] = around * self.share[:, None]
        if count > 10:
            inner = np.arange(1, len(angle) - 1)
            by[inner, :, 9 + inner] = around[inner]
        rest = [(self.axes @ by).reshape(-1, count) / coarse, np.eye(count)[6:8] / _PERSPECTIVE_SD]
        if bend:
            rest.append(np.pad(self.rough, ((0, 0), (10, 0))) / (bend * abs(self.sweep)))
        rest.append(np.eye(count)[9:10] / _RAISED_LN_SD)
        if self.pivot is not None:
            rest.append(self._pivot_slopes(self.pivot, parameters) / (_PIVOT_SHARE * self.size))
        return np.concatenate(rest)

    def _pivot_slopes(self, pivot: Pivot, parameters: FloatArray) -> FloatArray:
        """Return how :meth:`pivot_at` changes with each parameter, shape (2, parameters)."""
        plane, raised = self.plane(parameters), _RAISED * np.exp(parameters[9])
        centre, far = plane[:2, 2], plane[2, :2]
        focal = _FOCAL_SHARE * max(pivot.size)
        by = np.zeros((2, len(parameters)))
        by[0, :2] = by[1, 3:5] = raised * self.size * far
        by[0, 2] = by[1, 5] = self.size * (1 + raised * ((self.size / focal) ** 2 - far @ far))
        by[:, 6:8] = raised * (plane[:2, :2] - 2 * np.outer(centre, far))
        by[:, 9] = self.pivot_at(pivot, parameters) - centre
        return by

    def pivot_at(self, pivot: Pivot, parameters: FloatArray) -> FloatArray:
        """Return where the needle turns: above the centre, so that it is seen beside it from the side (parallax).

        The same slant makes the farther half of the dial smaller: the perspective tells how far, and which way.
        """
        plane, raised = self.plane(parameters), _RAISED * np.exp(parameters[9])
        centre, far = plane[:2, 2], plane[2, :2]
        slant = plane[:2, :2] @ far - centre * (far @ far)
        aside = pivot.aside(centre) * self.size**2 / (_FOCAL_SHARE * max(pivot.size))
        return np.asarray(centre + raised * (slant + aside))

    def fit(self, first: FloatArray, bend: float, coarse: float) -> _Fit:
        """Return the parameters that bring all that is away to its least, from first ones."""
        from scipy.optimize import leastsq

        told: Any = leastsq(self.away, first, (bend, coarse), self.slopes, full_output=True, maxfev=_MOST_STEPS)
        at, rest = told[0], told[2]["fvec"]
        return _Fit(at, float(rest @ rest) / 2, self.slopes(at, bend, coarse))

    def evidence(self, fit: _Fit, bend: float, coarse: float) -> float:
        """Return the log evidence of a bend and a coarseness (Laplace), with a prior on the second."""
        found = -fit.cost - np.linalg.slogdet(fit.slopes.T @ fit.slopes)[1] / 2
        if bend:
            found += np.linalg.slogdet(self.rough / (bend * abs(self.sweep)))[1]
        scatter = 2 * len(self.share) * np.log(coarse) + (np.log(coarse) / _COARSENESS_LN_SD) ** 2 / 2
        return float(found - scatter)

    def needles(self, parameters: FloatArray, ends: list[FloatArray]) -> FloatArray:
        """Return how far needles, of which two points are seen, stand from the marks. [rad]."""
        back = np.asarray(np.linalg.inv(self.plane(parameters)))
        near, far = (seen_at(back, end) for end in ends)
        away = np.arctan2(*(far - near).T[::-1]) - self.angles(parameters)
        return np.asarray((away + np.pi) % (2 * np.pi) - np.pi)


def fit_scale(
    values: FloatArray,
    points: FloatArray,
    u_px: FloatArray,
    start: FloatArray,
    around: FloatArray,
    pivot: Pivot | None = None,
) -> FittedScale:
    """Fit plane and scale of a dial.

    The scale is a natural cubic spline through the marks with a prior on its roughness (Green and Silverman 1994,
    section 2.1). A linear scale is the limit; which size of bend, and how coarse the marks, the evidence says.

    Parameters
    ----------
    values, points
        Of the marks, shapes (m,) and (m, 2), m at least five. [any, px]
    u_px
        How well each is known, standard, across and along the line from the centre, shape (m, 2). [px]
    start
        A plane to start from, shape (3, 3).
    around
        Angle of each mark in it, unwrapped, shape (m,). [rad]
    pivot
        Where the needle turns in the picture, if that is known.
    """
    share = (values - values[0]) / (values[-1] - values[0])
    size = float(np.sqrt(abs(np.linalg.det(start[:2, :2]))))
    sweep = float(around[-1] - around[0])
    outward = (points - start[:2, 2]) / np.hypot(*(points - start[:2, 2]).T)[:, None]
    axes = np.stack([outward[:, ::-1] * (-1, 1), outward], axis=1) / u_px[:, :, None]
    marks = _Marks(share, points, axes, size, float(around[0]), sweep, pivot, _roughness(share))
    linear = np.array([1, 0, start[0, 2] / size, 0, 1, start[1, 2] / size, 0, 0, sweep, 0])
    tried: list[tuple[float, _Fit]] = []
    for coarse in _COARSENESS:
        first = linear
        for bend in _BENDS:
            first = first if not bend or len(first) > 10 else np.append(first, np.zeros(len(share) - 2))
            fit = marks.fit(first, bend, coarse)
            first = fit.at
            tried.append((marks.evidence(fit, bend, coarse), fit))
    fit = max(tried, key=lambda one: one[0])[1]
    return FittedScale(marks.plane(fit.at), marks.angles(fit.at), _u_shared(marks, fit))


def _u_shared(marks: _Marks, fit: _Fit) -> float:
    """Return what errors of plane and scale do to a needle's place on the scale, rms over the marks. [rad]."""
    plane, angle = marks.plane(fit.at), marks.angles(fit.at)
    flat = np.column_stack([np.cos(angle), np.sin(angle)])
    ends = [seen_at(plane, reach * flat) for reach in _NEEDLE_ENDS]
    step = 1e-6
    change = [marks.needles(fit.at + step * one, ends) / step for one in np.eye(len(fit.at))]
    covariance = np.linalg.pinv(fit.slopes.T @ fit.slopes)
    return float(np.sqrt(np.mean(np.einsum("ik,ij,jk->k", change, covariance, change))))


def _roughness(share: FloatArray) -> FloatArray:
    """Return the matrix whose product with a spline's values at inner knots has the integral of f''^2 as its square."""
    step, inner = np.diff(share), len(share) - 2
    second, mass = np.zeros((len(share), inner)), np.zeros((inner, inner))
    for j in range(inner):
        second[j : j + 3, j] = 1 / step[j], -1 / step[j] - 1 / step[j + 1], 1 / step[j + 1]
        mass[j, j] = (step[j] + step[j + 1]) / 3
        if j + 1 < inner:
            mass[j, j + 1] = mass[j + 1, j] = step[j + 1] / 6
    return np.asarray(np.linalg.cholesky(np.linalg.inv(mass)).T @ second.T[:, 1:-1])
