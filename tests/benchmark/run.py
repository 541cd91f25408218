"""Print how good the error factor is over many simulated drives of every kind.

python tests/benchmark/run.py --drives 200 --seed 1
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # one core a process, so that the times mean something
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmark.judge import Score, drives_of, judge, render_tables, summarise  # noqa: E402 (after the path is set)

from speedcal.simulate import KINDS  # noqa: E402


def _judged(task: tuple[str, tuple[int, ...], bool]) -> Score:
    kind, seed, with_trade = task
    return judge(kind, seed, with_trade=with_trade)


def main() -> None:
    """Run the drives asked for and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drives", type=int, default=200, help="drives of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", action="append", choices=list(KINDS), help="only this kind; may be repeated")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--no-trade", action="store_true", help="leave out what people do instead")
    parser.add_argument("--scores", type=Path, help="write every single drive here, one JSON object a line")
    parser.add_argument("--bad", action="store_true", help="list refusals and wrong answers with their seeds")
    options = parser.parse_args()
    kinds = options.kind or list(KINDS)
    tasks = [
        (*one, not options.no_trade)
        for kind in kinds
        for one in drives_of(kind, seed=options.seed, drives=options.drives)
    ]
    if options.jobs > 1:
        with ProcessPoolExecutor(options.jobs) as pool:
            scores = list(pool.map(_judged, tasks, chunksize=10))
    else:
        scores = [_judged(task) for task in tasks]
    rows = [summarise(kind, [score for score in scores if score.kind == kind]) for kind in kinds]
    today = datetime.datetime.now(datetime.UTC).date()
    print(f"{options.drives} drives of each kind, seed {options.seed}, {today}\n")  # noqa: T201 (a command)
    print(render_tables(rows))  # noqa: T201
    if options.bad:
        for score in scores:
            if score.refusal or score.wrong_answer:
                print(f"{score.kind} {score.seed}: {score.refusal or f'WRONG {score.clock_error_s:.0f} s'}")  # noqa: T201
    if options.scores:
        options.scores.write_text("".join(json.dumps(asdict(score)) + "\n" for score in scores), encoding="utf-8")


if __name__ == "__main__":
    main()
