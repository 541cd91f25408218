"""Print how dials on film do: drives made apart from our own simulator, held against their truth.

python tests/benchmark/run_film.py --drives 24 --seed 7 --marks films.jsonl
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np  # noqa: E402 (after the path is set)
from benchmark.outside.drive import OutsideDrive  # noqa: E402
from benchmark.outside.files import write_files  # noqa: E402
from benchmark.outside_score import outside_drive  # noqa: E402
from support import film_maker  # noqa: E402
from support.film_maker import KINDS, FilmKind, make_film  # noqa: E402

import speedcal  # noqa: E402
from speedcal.logs.film import needle as film_needle  # noqa: E402
from speedcal.logs.film import reading as reading_of_film  # noqa: E402
from speedcal.logs.film.dial_fit import Pivot, seen_at  # noqa: E402
from speedcal.logs.film.marks import dial_from  # noqa: E402
from speedcal.logs.film.printed import STROKE_PX  # noqa: E402
from speedcal.logs.film.reading import FilmReading, film_reading, readings_table  # noqa: E402
from speedcal.logs.film.sane import plausible  # noqa: E402
from speedcal.units import SPEED_UNIT_MPS  # noqa: E402

_WRONG_SHARE = 0.02
_SEEN_RAD = 0.0012
"""Scatter of the needle's direction in rendered films."""
_ALIKE_RAD = 0.0007
"""How far needles of one rendered film are beside plane and scale, going around with them."""
_STROKE_SD_PX = (0.07, 0.2)
"""Scatter of printed strokes as found in rendered films, across and of their ends."""


def film_of(options: argparse.Namespace, number: int, folder: Path) -> dict[str, Any]:
    """Film one drive, read the film, calibrate, and compare with the truth."""
    drive, kind = outside_drive("log", (options.seed, number)), KINDS[number % len(KINDS)]
    motion = drive.truth.motion
    count = int(min(options.seconds, motion.time_s[-1] - motion.time_s[0] - 2))
    moments = motion.time_s[0] + 1.0 + np.arange(count)
    needle = np.interp(moments, motion.time_s, drive.truth.dial.course(motion)) / SPEED_UNIT_MPS[kind.unit]  # type: ignore[index]
    seed = 1000 * options.seed + number
    if options.pictures:
        film = make_film(folder / "film.mp4", kind, seed=seed, seconds=count, rate=1, speed=needle, tap_px=options.tap)
        (folder / "dial.toml").write_text(film.dial_toml(), encoding="utf-8")
        reading = film_reading(film.path, folder / "dial.toml", per_s=1.0)
    else:
        reading = _read_square(np.random.default_rng(seed), kind, needle, options.tap, taps_only=options.taps_only)
    away = (reading.value - np.interp(reading.time_s, np.arange(count), needle)) / kind.top
    return {
        "number": number,
        "dial": kind.name,
        "frames": count,
        "read": len(away),
        "rms": float(np.sqrt(np.mean(away**2))),
        "wrong": int(np.sum(np.abs(away) > _WRONG_SHARE)),
        **_calibrated(drive, reading, moments, folder),
    }


def _read_square(
    rng: np.random.Generator, kind: FilmKind, needle: np.ndarray, tap_px: float, *, taps_only: bool
) -> FilmReading:
    """Return what a film tells whose needles are found to _SEEN_RAD: marks, tilt and scale err as in a whole film."""
    pose = film_maker._poses(rng, kind, 3)[0]
    marks = np.linspace(0, kind.top, 13 if kind.top == 120 else 11)
    points = [film_maker._project(pose, 0.93 * _toward(kind, mark), 0.0) + rng.normal(0, tap_px, 2) for mark in marks]
    table = {
        "unit": kind.unit,
        "marks": [[float(mark), *map(float, at)] for mark, at in zip(marks, points, strict=True)],
    }
    dial = dial_from(table).fitted(
        points=None if taps_only else _printed(rng, pose, kind, marks),
        u_px=None if taps_only else np.full((len(marks), 2), STROKE_PX),
        pivot=Pivot(film_maker._project(pose, np.zeros(2), kind.height), (film_maker.WIDTH, film_maker.HEIGHT)),
    )
    back = np.linalg.inv(dial.plane)
    ends = [[film_maker._project(pose, far * _toward(kind, v), kind.height) for v in needle] for far in (0.3, 0.8)]
    near, tip = (seen_at(back, np.array(end)) for end in ends)
    seen = np.arctan2(*(tip - near).T[::-1])
    alike = np.column_stack([np.cos(seen), np.sin(seen)]) @ rng.normal(0, _ALIKE_RAD, 2)
    turned = dial.on_scale(seen + alike + rng.normal(0, _SEEN_RAD, len(needle)))
    value, slope = dial.value_at(turned)
    unsure = dial.between_marks(turned)
    kept = plausible(value, unsure, dial, Counter())
    return FilmReading(
        dial=dial,
        time_s=np.flatnonzero(kept).astype(float),
        begin_s=0.0,
        value=value[kept],
        u=np.abs(slope[kept]) * film_needle._U_FLOOR_RAD,
        u_common=np.hypot(reading_of_film._u_common(dial), unsure[kept]),
        has_clock=False,
        left_out={},
    )


def _printed(rng: np.random.Generator, pose: np.ndarray, kind: FilmKind, marks: np.ndarray) -> np.ndarray:
    """Return where the strokes of the face are found, as scattered as they are in rendered films."""
    ends = np.array([film_maker._project(pose, _toward(kind, mark), 0.0) for mark in marks])
    outward = ends - film_maker._project(pose, np.zeros(2), 0.0)
    outward /= np.hypot(*outward.T)[:, None]
    across, along = (rng.normal(0, size, (len(marks), 1)) for size in _STROKE_SD_PX)
    return np.asarray(ends + along * outward + across * outward[:, ::-1] * (-1, 1))


def _toward(kind: FilmKind, value: float) -> np.ndarray:
    return film_maker._unit(film_maker._angle(kind, value))


def _calibrated(drive: OutsideDrive, reading: FilmReading, moments: np.ndarray, folder: Path) -> dict[str, Any]:
    (folder / "film.csv").write_bytes(readings_table(reading))
    track = speedcal.read_track(write_files(drive, folder)[0])
    try:
        found = speedcal.calibrate(track, speedcal.read_readings(folder / "film.csv"), read_from="film")
    except speedcal.SpeedcalError as error:
        return {"trust": error.code}
    used = found.readings["line"].to_numpy(int)[found.readings["used"].to_numpy(bool)] - 2
    speeds = drive.truth.motion.speed_at(np.interp(reading.time_s[used], np.arange(len(moments)), moments))
    truth = drive.truth.factor(speeds)
    factor = found.error_factor
    return {
        "trust": found.trust.word,
        "reasons": list(found.trust.codes),
        "error": factor.value / truth - 1,
        "half": (factor.high - factor.low) / 2 / truth,
        "covered": bool(factor.low <= truth <= factor.high),
    }


def main() -> None:
    """Run the drives asked for and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drives", type=int, default=24)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--seconds", type=float, default=900.0, help="length of a film, at a frame a second")
    parser.add_argument(
        "--tap", type=float, default=0.3, help="standard error of a tapped mark; a radius has 119 px [px]"
    )
    parser.add_argument("--pictures", action="store_true", help="render and read every frame: half a minute a drive")
    parser.add_argument("--taps-only", action="store_true", help="without the printed strokes, as where none are seen")
    parser.add_argument("--marks", type=Path, help="write every single drive here, one JSON object a line")
    options = parser.parse_args()
    rows = []
    for number in range(options.drives):
        with tempfile.TemporaryDirectory() as folder:
            rows.append(film_of(options, number, Path(folder)))
        if options.marks:
            with options.marks.open("a", encoding="utf-8") as out:
                out.write(json.dumps(rows[-1]) + "\n")
    read = sum(row["read"] for row in rows)
    good = [row for row in rows if "error" in row]
    rms = np.sqrt(np.average([row["rms"] ** 2 for row in rows], weights=[row["read"] for row in rows]))
    error = np.array([row["error"] for row in good])
    today = datetime.datetime.now(datetime.UTC).date()
    for line in (
        f"{len(rows)} films of {options.seconds:g} s, seed {options.seed}, {today}",
        f"frames: {read} of {sum(row['frames'] for row in rows)} read, rms {100 * rms:.3f} % of full scale, "
        f"{sum(row['wrong'] for row in rows)} wrong by more than 2 %",
        f"factor: {len(good)} answered, rms {100 * np.sqrt(np.mean(error**2)):.3f} %, half width "
        f"{100 * np.median([row['half'] for row in good]):.3f} %, covered {sum(row['covered'] for row in good)}",
    ):
        print(line)  # noqa: T201 (a command)


if __name__ == "__main__":
    main()
