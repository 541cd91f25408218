"""Owners with a stopwatch or a phone, 1,000 of each kind: how often the intervals of their checks hold the truth.

``python tests/benchmark/run_checks.py --owners 1000 --seed 2026`` prints the table of DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.owners import KINDS, MPH, Owner

import speedcal

_FAR_WIDTHS, _FAR_MPH, _LEAST_SPREAD_MPH = 2.0, 0.3, 5.0


@dataclass(frozen=True)
class Outcome:
    """What came of one owner's file."""

    trusted: bool
    held: tuple[bool, ...]
    """Slowest, middle and fastest speed driven; the odometer alone where it is that."""
    half_width: float
    factor_held: bool | None
    sure_and_wrong: bool


def outcome(owner: Owner, kind: str, folder: Path) -> Outcome | None:
    """Return what came of an owner's file; None where it was refused."""
    path = folder / f"{kind}.csv"
    path.write_text(getattr(owner, kind)(), encoding="utf-8")
    try:
        result = speedcal.calibrate_checks(speedcal.read_checks(path))
    except speedcal.SpeedcalError:
        return None
    trusted = result.trust.word == "TRUSTED"
    if kind == "trip":
        factor = result.odometer_factor
        assert factor is not None
        inside = factor.low < owner.factor < factor.high
        return Outcome(trusted, (inside,), 100 * factor.half_width, inside, sure_and_wrong=False)
    low, high = result.speed_range_mps
    at = np.array([low, (low + high) / 2, high])
    away = np.abs(result.indicated(at) / MPH - owner.shown(at / MPH))
    half = result.half_width(at) / MPH
    used = result.readings["ground_mps"][result.readings["used"]].to_numpy() / MPH
    told = None
    if np.ptp(used) > _LEAST_SPREAD_MPH:
        slope = np.polyfit(used, owner.shown(used), 1)[0]
        told = bool(result.error_factor.low < slope < result.error_factor.high)
    far = bool((away > np.maximum(_FAR_WIDTHS * half, _FAR_MPH)).any())
    return Outcome(trusted, tuple((away < half).tolist()), float(half[1]), told, trusted and far)


def main() -> None:
    """Print a row for each kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--owners", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for kind in [options.kind] if options.kind else KINDS:
            found = [outcome(Owner.of(options.seed, i), kind, Path(folder)) for i in range(options.owners)]
            some = [one for one in found if one is not None]
            held = np.mean([one.held for one in some], axis=0)
            factor = np.mean([one.factor_held for one in some if one.factor_held is not None])
            counts = len(found), len(found) - len(some), sum(one.trusted for one in some)
            shares = " | ".join(f"{share:.3f}" for share in (factor, *held))
            wrong, width = sum(one.sure_and_wrong for one in some), np.median([one.half_width for one in some])
            row = f"| {kind} | {' | '.join(map(str, counts))} | {wrong} | {shares} | {width:.2f} |\n"
            sys.stdout.write(row)
            sys.stdout.flush()


if __name__ == "__main__":
    main()
