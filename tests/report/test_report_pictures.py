"""The pictures: legible in grey, complete, the same every time, with their gaps and limits."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from support.report_cases import make_calibration

import speedcal
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.result import Calibration
from speedcal.conformity import load_tolerance
from speedcal.interval import FloatArray
from speedcal.report import style
from speedcal.report.allowed import Allowed
from speedcal.report.charts import NARROW, WIDE, Shape, comparison_svg
from speedcal.report.clock_match import draw_clock_match
from speedcal.report.comparison import MOST_POINTS, Curve, draw_comparison, margin_beside, thinned
from speedcal.simulate import simulate
from speedcal.units import KMH_MPS, MPH_MPS, DisplayUnit

RANGE_MPS = (10.0, 30.0)


def curve_of(c: Calibration, *, label: str, drawn_as: style.DriveStyle) -> Curve:
    """Return the curve of a calibration in mph."""
    return Curve.of(c.dial, c.readings, "mph", label=label, drawn_as=drawn_as)


def curves() -> list[Curve]:
    """Return a drive before and a drive after."""
    return [
        curve_of(make_calibration(1.096), label="before", drawn_as=style.BEFORE),
        curve_of(make_calibration(1.01, seed=2), label="after the gear change", drawn_as=style.AFTER),
    ]


def allowed(rule: str) -> Allowed | None:
    """Return a rule as the picture sees it."""
    return Allowed.of(load_tolerance(rule, unit="mph").in_unit("mph"), "mph", range_mps=RANGE_MPS)


def luminance(color: str) -> float:
    """Return the relative luminance of a colour, 0 black to 1 white (IEC 61966-2-1)."""
    channels = np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a: str, b: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, relative luminance)."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.published("WCAG 2.2, 1.4.3 and 1.4.11")
def test_text_and_lines_stand_out_from_what_is_behind_them() -> None:
    """4.5 for text, 3 for lines, on paper and on the shading of the tolerance."""
    for back in (style.PAPER, style.ALLOWED):
        assert contrast(style.INK, back) >= 4.5
        assert contrast(style.QUIET, back) >= 4.5
        for look in (style.BEFORE, style.AFTER):
            assert contrast(look.color, back) >= 3.0
    assert contrast(style.BEFORE.color, style.PAPER) >= 4.5


def test_before_and_after_differ_in_everything_that_survives_a_grey_printer() -> None:
    """Line style, marker, filling, hatching; and a darkness that falls from tolerance to before to after."""
    before, after = style.BEFORE, style.AFTER
    assert before.line != after.line
    assert before.marker != after.marker
    assert before.hollow != after.hollow
    assert before.hatch != after.hatch
    falling = [luminance(c) for c in (style.PAPER, style.ALLOWED, before.color, after.color)]
    assert all(a > 1.2 * b for a, b in pairwise(falling))


@pytest.mark.parametrize("rule", [None, "un_r39_type", "us_393_82", "jp_148", "sae_j2976", "eec_75_443", "tm9_1829a"])
@pytest.mark.parametrize(
    ("count", "shape", "units"),
    [
        (5, NARROW, ("mph",)),
        (22, NARROW, ("mph", "km/h")),
        (22, WIDE, ("mph",)),
        (200, WIDE, ("mph", "km/h")),
        (2000, NARROW, ("mph",)),
    ],
)
def test_every_word_of_the_picture_lies_in_it_and_on_no_other(
    rule: str | None, count: int, shape: Shape, units: tuple[DisplayUnit, ...]
) -> None:
    """Labels stand beside the lines; none is cut off, none covers another."""
    drawn = [
        curve_of(make_calibration(1.096, count=count), label="before", drawn_as=style.BEFORE),
        curve_of(make_calibration(1.0, seed=3), label="after the gear change", drawn_as=style.AFTER),
    ]
    with style.drawing():
        figure = Figure(figsize=shape.inches)
        ax = figure.add_axes(shape.frame_for(units))
        draw_comparison(ax, drawn, allowed(rule) if rule else None, units=units, size=shape.size)
        renderer = FigureCanvasAgg(figure).get_renderer()
        tight = figure.get_tightbbox(renderer)
        labels = [text.get_window_extent(renderer) for text in ax.texts]
    assert tight is not None
    assert tight.x0 >= 0
    assert tight.y0 >= 0
    assert tight.x1 <= shape.inches[0]
    assert tight.y1 <= shape.inches[1]
    for i, a in enumerate(labels):
        assert not any(a.overlaps(b) for b in labels[i + 1 :])


def _invented(rng: np.random.Generator) -> list[Curve]:
    """Return one drive or two of any dial, with notes or rows all over the picture and some left out."""
    looks = [("before", style.BEFORE), ("after the gear change", style.AFTER)][: int(rng.integers(1, 3))]
    found = []
    for label, look in looks:
        speed = np.linspace(rng.uniform(15, 30), rng.uniform(55, 80), 60)
        error = rng.normal(0, 3) + rng.normal(0, 0.06) * speed + rng.normal(0, 1.5) * np.sin(speed / rng.uniform(8, 20))
        wide = rng.uniform(0.2, 1.5)
        count = int(rng.choice([6, 20, 60, 200, 800]))
        at = rng.uniform(speed[0], speed[-1], count)
        used = np.column_stack([at, np.interp(at, speed, error) + rng.uniform(0.3, 2.0) * rng.standard_normal(count)])
        rejected = np.column_stack([rng.uniform(20, 60, 3), rng.normal(0, 6, 3)])
        found.append(Curve(label, look, speed, error, error - wide, error + wide, used, rejected))
    return found


@pytest.mark.parametrize("shape", [WIDE, NARROW])
@pytest.mark.parametrize("rule", [None, "un_r39_type"])
def test_no_label_covers_a_reading_where_there_is_room(shape: Shape, rule: str | None) -> None:
    """Sixteen pictures a parameter: a label touches a mark only where the whole frame has no place without one."""
    rng = np.random.default_rng([3, shape is WIDE, rule is None])
    free = 0
    for _ in range(16):
        drawn = _invented(rng)
        with style.drawing():
            figure = Figure(figsize=shape.inches)
            ax = figure.add_axes(shape.frame_for(("mph",)))
            draw_comparison(ax, drawn, allowed(rule) if rule else None, units=("mph",), size=shape.size)
            renderer = FigureCanvasAgg(figure).get_renderer()
            labels = [text.get_window_extent(renderer) for text in ax.texts]
            frame = ax.get_window_extent(renderer)
            points = np.concatenate([thinned(p) for c in drawn for p in (c.used, c.rejected)])
            marks = ax.transData.transform(points)
        for label in labels:
            others = [other for other in labels if other is not label]
            if _touches(label.x0, label.y0, label, marks, 3.0):
                assert not _has_room(label, frame, marks, others), "it covers a reading, and there is room"
            free += 1
    assert free > 32


def _touches(x0: float, y0: float, label: Bbox, marks: FloatArray, radius: float) -> bool:
    x, y = marks.T
    across = (x > x0 - radius) & (x < x0 + label.width + radius)
    return bool((across & (y > y0 - radius) & (y < y0 + label.height + radius)).any())


def _has_room(label: Bbox, frame: Bbox, marks: FloatArray, others: list[Bbox]) -> bool:
    """Tell whether there is a place of its size, with air about it, on no mark and no other label."""
    for x0 in np.arange(frame.x0 + 4, frame.x1 - label.width - 4, 4.0):
        for y0 in np.arange(frame.y0 + 4, frame.y1 - label.height - 4, 2.0):
            here = Bbox.from_bounds(x0 - 6, y0 - 6, label.width + 12, label.height + 12)
            if not _touches(x0, y0, label, marks, 9.0) and not any(here.overlaps(other) for other in others):
                return True
    return False


def test_the_same_drives_give_the_same_bytes() -> None:
    """No date, no random names in them."""
    make = lambda: comparison_svg(curves(), allowed("un_r39_type"), units=("mph",), shape=NARROW)  # noqa: E731
    first = make()
    assert first == make()
    assert b"<svg" in first
    assert b"dc:date" not in first


def test_drawing_leaves_the_settings_of_others_alone() -> None:
    """A notebook that plots its own things must not find them changed."""
    from matplotlib import rcParams

    before = dict(rcParams)
    with style.drawing():
        assert rcParams["svg.fonttype"] == "path"
    assert dict(rcParams) == before


@pytest.mark.published("UN R39 5.3: 0 <= V1 - V2 <= V2/10 + 4 km/h")
def test_the_shaded_area_is_what_the_rule_allows() -> None:
    """At a true 80 km/h the error may be from 0 to 12 km/h."""
    rule = load_tolerance("un_r39_type", unit="km/h")
    seen = Allowed.of(rule, "km/h", range_mps=(60 * KMH_MPS, 100 * KMH_MPS))
    assert seen is not None
    (band,) = seen.bands
    assert np.interp(80, band[:, 0], band[:, 1]) == pytest.approx(0.0, abs=1e-9)
    assert np.interp(80, band[:, 0], band[:, 2]) == pytest.approx(12.0, abs=1e-9)
    assert seen.checked_at == (80.0,)


@pytest.mark.published("49 CFR 393.82")
def test_a_rule_for_one_speed_is_drawn_at_that_speed_only() -> None:
    """Plus or minus 5 mph at 50 mph says nothing about 30."""
    seen = allowed("us_393_82")
    assert seen is not None
    assert not seen.bands
    assert seen.bars == (pytest.approx((50.0, -5.0, 5.0)),)


def test_a_rule_for_distance_or_for_other_speeds_shades_nothing() -> None:
    """Nothing is drawn that the rule does not say."""
    assert allowed("odo_stvzo") is None
    rule = load_tolerance("adr18_pre2006", unit="km/h")
    assert Allowed.of(rule, "km/h", range_mps=(1.0, 30 * KMH_MPS)) is None


def test_the_curve_ends_where_the_driving_ended() -> None:
    """Nothing is drawn at speeds that were not driven."""
    curve = curve_of(make_calibration(low=30, high=55), label="before", drawn_as=style.BEFORE)
    assert (curve.speed[0], curve.speed[-1]) == pytest.approx((30, 55))


def test_the_band_is_the_95_per_cent_interval() -> None:
    """Half width = coverage factor times the standard uncertainty, from the joint covariance, by hand at 50 mph."""
    c = make_calibration(1.1)
    curve = curve_of(c, label="before", drawn_as=style.BEFORE)
    v = 50 * MPH_MPS
    u = np.sqrt(c.covariance[0, 0] + 2 * v * c.covariance[0, 1] + v * v * c.covariance[1, 1])
    at = np.interp(50, curve.speed, curve.high) - np.interp(50, curve.speed, curve.error)
    assert at == pytest.approx(c.coverage_factor * u / MPH_MPS, rel=1e-3)


def test_the_line_and_its_band_follow_a_bent_dial() -> None:
    """A hump of 3 mph at 45 with a band of its own is drawn where it is; the straight line through it would hide it."""
    knots = np.array([0.0, 25, 45, 65, 90]) * MPH_MPS
    shown = knots + np.array([0.0, 0, 3, 0, 0]) * MPH_MPS
    u = np.array([1.0, 0.2, 0.5, 0.2, 1.0]) * MPH_MPS
    dial = Dial(knots, shown, np.diag(u**2), used_mps=np.array([25.0, 65.0]) * MPH_MPS, shape="bent")
    curve = Curve.of(dial, make_calibration().readings, "mph", label="before", drawn_as=style.BEFORE)
    assert np.interp([25, 45, 65], curve.speed, curve.error) == pytest.approx([0, 3, 0], abs=0.02)
    half = np.interp([25, 45, 65], curve.speed, curve.high - curve.error)
    assert half == pytest.approx([1.96 * 0.2, 1.96 * 0.5, 1.96 * 0.2], rel=0.01)


def test_points_of_figures_that_were_cut_lie_about_their_line() -> None:
    """Whole mph cut to fives and told so: drawn as written all of them would lie 2 mph under it."""
    drive = simulate("noted", [43, 0])
    low = np.floor(drive.readings.speed_mps / (5 * MPH_MPS) + 1e-6) * 5 * MPH_MPS
    cut = replace(drive.readings, speed_mps=low, speed_resolution_mps=5 * MPH_MPS)
    curve = curve_of(speedcal.calibrate(drive.track, cut, rounding="down"), label="before", drawn_as=style.BEFORE)
    off = curve.used[:, 1] - np.interp(curve.used[:, 0], curve.speed, curve.error)
    assert off.mean() == pytest.approx(0.0, abs=0.8)


def test_the_line_of_the_clock_match_is_broken_at_a_gap() -> None:
    """A gap that is bridged would claim a speed nobody measured."""
    with style.drawing():
        ax = Figure(figsize=(7, 2.5)).add_subplot()
        draw_clock_match(ax, make_calibration(gap=True), unit="mph", drawn_as=style.BEFORE, size=9)
        with_gap = np.isnan(ax.lines[0].get_ydata()).sum()  # type: ignore[arg-type]
        ax = Figure(figsize=(7, 2.5)).add_subplot()
        whole = make_calibration(gap=False)
        whole.ground["piece"] = 0
        draw_clock_match(ax, whole, unit="mph", drawn_as=style.BEFORE, size=9)
    assert with_gap == 1
    assert np.isnan(ax.lines[0].get_ydata()).sum() == 0  # type: ignore[arg-type]


def test_used_readings_lie_on_the_gps_speed_once_the_error_is_taken_out() -> None:
    """Points stand where the dial shows what was read: within the scatter of the ground speed."""
    c = make_calibration(1.096)
    with style.drawing():
        ax = Figure(figsize=(7, 2.5)).add_subplot()
        draw_clock_match(ax, c, unit="mph", drawn_as=style.BEFORE, size=9)
    points = np.asarray(ax.collections[0].get_offsets())
    used = c.readings[c.readings["used"]]
    assert np.abs(points[:, 1] - used["ground_mps"].to_numpy() / MPH_MPS).max() < 1.5


def test_a_crowd_of_readings_is_thinned_evenly() -> None:
    """At most so many points, first one kept, every k-th after it."""
    rows = np.arange(4000.0).reshape(-1, 2)
    kept = thinned(rows)
    assert len(kept) <= MOST_POINTS
    assert len(set(np.diff(kept[:, 0]))) == 1
    assert thinned(rows[:10]).shape == (10, 2)


def test_a_drive_at_one_speed_is_drawn_as_that() -> None:
    """Twenty units from left to right at the least: two of them are a tenth of the width."""
    assert margin_beside(49.0, 51.0) == 9.0
    assert margin_beside(25.0, 65.0) == pytest.approx(2.4)
