"""One simulated drive against its truth, and many of them in one row."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from benchmark.bound import line_bound
from benchmark.trade import WAYS, trade_factors

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.interval import FloatArray
from speedcal.simulate import KINDS, Drive, simulate
from speedcal.units import MPH_MPS

SPEEDS_MPS = np.array([30.0, 40.0, 50.0, 60.0, 70.0]) * MPH_MPS
"""What the tooth is chosen for."""
TEETH = np.arange(16, 46)
FITTED_TEETH = 29
WRONG_CLOCK_S = 450.0
"""Half of the smallest step between two zones."""
WRONG_GROUND_MPS = 1.5
"""A held speed laid on a plateau that is this far from its own is laid on the wrong one."""


@dataclass(frozen=True, slots=True)
class Score:
    """How one drive went. Numbers are NaN when there was no answer."""

    kind: str
    seed: tuple[int, ...]
    bound: float
    """Standard uncertainty that nobody beats, relative to the factor. [1]"""
    seconds: float
    refusal: str = ""
    error: float = np.nan
    """Of the factor, relative. [1]"""
    half_width: float = np.nan
    held: float = np.nan
    """1 when the 95 % interval holds the true factor, else 0."""
    offset_held: float = np.nan
    bound_at_50_mph: float = np.nan
    """Standard uncertainty of the predicted reading that nobody beats. [mph]"""
    error_at_50_mph: float = np.nan
    """Predicted less true reading at a true 50 mph. [mph]"""
    held_at_50_mph: float = np.nan
    clock_error_s: float = np.nan
    regret: float = np.nan
    """True worst error with the chosen tooth less that with the best tooth, relative to speed. [1]"""
    regret_at_bound: float = np.nan
    """The same for an analyst whose offset and factor are off as the bound says."""
    wrong_answer: bool = False
    """The answer stands on the wrong hour or on the wrong plateaus."""
    trust: str = ""
    trade: tuple[float, ...] = ()
    """Relative error of each of the usual ways."""


def judge(kind: str, seed: Sequence[int], *, with_trade: bool = True) -> Score:
    """Simulate one drive, calibrate it, and hold the result against the truth."""
    rng = np.random.default_rng(seed)
    drive = simulate(kind, rng)
    truth = drive.truth
    best = line_bound(drive)
    bound = float(np.sqrt(best[1, 1])) / truth.error_factor
    at = np.array([1.0, 50 * MPH_MPS])
    trade = tuple(trade_factors(drive)[way] / truth.error_factor - 1 for way in WAYS) if with_trade else ()
    start = time.perf_counter()
    try:
        result = speedcal.calibrate(drive.track, drive.readings)
    except speedcal.SpeedcalError as error:
        return Score(kind, tuple(seed), bound, time.perf_counter() - start, refusal=str(error), trade=trade)
    seconds = time.perf_counter() - start
    off = float(result.indicated(at[1])) - (truth.offset_mps + truth.error_factor * at[1])
    clock = result.clock_offset_s.value - truth.clock_offset_s if result.clock_offset_s else np.nan
    return Score(
        kind=kind,
        seed=tuple(seed),
        bound=bound,
        seconds=seconds,
        error=result.error_factor.value / truth.error_factor - 1,
        half_width=result.error_factor.half_width / truth.error_factor,
        held=float(result.error_factor.contains(truth.error_factor)),
        offset_held=float(result.offset_mps.contains(truth.offset_mps)),
        bound_at_50_mph=float(np.sqrt(at @ best @ at)) / MPH_MPS,
        error_at_50_mph=off / MPH_MPS,
        held_at_50_mph=float(abs(off) <= result.coverage_factor * float(result.u_indicated(at[1]))),
        clock_error_s=clock,
        regret=_regret((result.offset_mps.value, result.error_factor.value), drive),
        regret_at_bound=_regret(rng.multivariate_normal((truth.offset_mps, truth.error_factor), best), drive),
        wrong_answer=abs(clock) > WRONG_CLOCK_S or _wrong_plateaus(result, drive),
        trust=result.trust.word,
        trade=trade,
    )


def _wrong_plateaus(result: Calibration, drive: Drive) -> bool:
    if drive.kind.readings != "held":
        return False
    used = result.readings["used"].to_numpy(bool)
    laid = result.readings["ground_mps"].to_numpy(float)
    return bool((np.abs(laid - drive.truth.reading_ground_mps)[used] > WRONG_GROUND_MPS).any())


def worst_errors(offset_mps: float, factor: float) -> FloatArray:
    """Return for every tooth the largest error over the speeds, relative to the speed. [1]."""
    shown = offset_mps + factor * FITTED_TEETH / TEETH[:, None] * SPEEDS_MPS
    return np.asarray(np.abs(shown / SPEEDS_MPS - 1).max(axis=1))


def _regret(line: Sequence[float], drive: Drive) -> float:
    chosen = int(np.argmin(worst_errors(*line)))
    true = worst_errors(drive.truth.offset_mps, drive.truth.error_factor)
    return float(true[chosen] - true.min())


@dataclass(frozen=True, slots=True)
class Row:
    """What many drives of one kind come to."""

    kind: str
    drives: int
    refused: int
    wrong: int
    rms: float
    ratio: float
    coverage: float
    half_width: float
    offset_coverage: float
    rms_at_50_mph: float
    ratio_at_50_mph: float
    coverage_at_50_mph: float
    clock_median_s: float
    clock_worst_s: float
    tooth_right: float
    tooth_right_at_bound: float
    regret: float
    milliseconds: float
    trade_rms: tuple[float, ...]


def summarise(kind: str, scores: Iterable[Score]) -> Row:
    """Return one row; the statistics are over the drives that gave an answer."""
    scores = list(scores)
    answered = [score for score in scores if not score.refusal]

    def column(name: str) -> FloatArray:
        return np.array([getattr(score, name) for score in answered] or [np.nan], float)

    clock = np.abs(column("clock_error_s"))
    timed = bool(np.isfinite(clock).any())
    trade = np.array([score.trade for score in scores if score.trade] or [[np.nan] * len(WAYS)])
    return Row(
        kind=kind,
        drives=len(scores),
        refused=len(scores) - len(answered),
        wrong=sum(score.wrong_answer for score in answered),
        rms=_rms(column("error")),
        ratio=_rms(column("error")) / _rms(column("bound")),
        coverage=float(column("held").mean()),
        half_width=float(np.median(column("half_width"))),
        offset_coverage=float(column("offset_held").mean()),
        rms_at_50_mph=_rms(column("error_at_50_mph")),
        ratio_at_50_mph=_rms(column("error_at_50_mph")) / _rms(column("bound_at_50_mph")),
        coverage_at_50_mph=float(column("held_at_50_mph").mean()),
        clock_median_s=float(np.median(clock)) if timed else np.nan,
        clock_worst_s=float(clock.max()) if timed else np.nan,
        tooth_right=float((column("regret") <= 0.001).mean()),
        tooth_right_at_bound=float((column("regret_at_bound") <= 0.001).mean()),
        regret=float(column("regret").mean()),
        milliseconds=1000 * float(np.mean([score.seconds for score in scores])),
        trade_rms=tuple(_rms(trade[:, k]) for k in range(trade.shape[1])),
    )


def _rms(x: FloatArray) -> float:
    return float(np.sqrt(np.mean(x**2)))


def render_tables(rows: Sequence[Row]) -> str:
    """Return both tables in Markdown: this package, and what people do instead."""
    columns = (
        "drives",
        "refused",
        "wrong",
        "rms %",
        "rms / bound",
        "coverage",
        "half width %",
        "offset coverage",
        "50 mph: rms mph",
        "50 mph: / bound",
        "50 mph: coverage",
        "clock median s",
        "clock worst s",
        "tooth %",
        "tooth % at the bound",
        "regret %",
        "ms",
    )
    lines = ["| kind | " + " | ".join(columns) + " |", "|---" + "|---:" * len(columns) + "|"]
    lines += [
        f"| {row.kind} | {row.drives} | {row.refused} | {row.wrong} | {100 * row.rms:.3f} | {row.ratio:.2f} "
        f"| {row.coverage:.3f} | {100 * row.half_width:.3f} | {row.offset_coverage:.3f} | {row.rms_at_50_mph:.3f} "
        f"| {row.ratio_at_50_mph:.2f} | {row.coverage_at_50_mph:.3f} | {_dash(row.clock_median_s)} "
        f"| {_dash(row.clock_worst_s)} | {100 * row.tooth_right:.1f} | {100 * row.tooth_right_at_bound:.1f} "
        f"| {100 * row.regret:.3f} | {row.milliseconds:.0f} |"
        for row in rows
    ]
    lines += ["", "| rms % of the error factor | speedcal | " + " | ".join(WAYS) + " |", "|---" + "|---:" * 5 + "|"]
    lines += [
        f"| {row.kind} | {100 * row.rms:.2f} | " + " | ".join(_dash(100 * x) for x in row.trade_rms) + " |"
        for row in rows
    ]
    return "\n".join(lines)


def _dash(x: float) -> str:
    return f"{x:.2f}" if np.isfinite(x) else "-"


def drives_of(kind: str, *, seed: int, drives: int) -> list[tuple[str, tuple[int, ...]]]:
    """Return kind and seed of every drive of a run; a drive keeps its seed when other kinds are left out."""
    number = list(KINDS).index(kind)
    return [(kind, (seed, number, i)) for i in range(drives)]
