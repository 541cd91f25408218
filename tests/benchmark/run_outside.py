"""Print how calibrations fare on drives made apart from our own simulator.

python tests/benchmark/run_outside.py --drives 200 --seed 7 --jobs 2
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import asdict
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # one core a process, so that the times mean something
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmark.outside.kinds import KINDS  # noqa: E402 (after the path is set)
from benchmark.outside.several import pairs  # noqa: E402
from benchmark.outside_score import Mark, mark, render_table, rows_of, rows_of_parts, seeds_of  # noqa: E402


def _marked(task: tuple[str, tuple[int, int]], *, told: bool) -> Mark:
    return mark(*task, told=told)


def main() -> None:
    """Run the drives asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--drives", type=int, default=200, help="drives of each kind")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--kind", action="append", choices=list(KINDS), help="only this kind; may be repeated")
    parser.add_argument("--pairs", action="store_true", help="every two kinds of a sort at once, a row for each kind")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--untold", action="store_true", help="keep back what somebody would say when asked")
    parser.add_argument("--bad", action="store_true", help="list refusals and wrong answers with their seeds")
    parser.add_argument("--marks", type=Path, help="write every single drive here, one JSON object a line")
    options = parser.parse_args()
    kinds = pairs() if options.pairs else options.kind or KINDS
    tasks = [(kind, seed) for kind in kinds for seed in seeds_of(options.seed, options.drives)]
    work, marks = partial(_marked, told=not options.untold), []
    with ExitStack() as stack:
        many = stack.enter_context(ProcessPoolExecutor(options.jobs)) if options.jobs > 1 else None
        out = stack.enter_context(options.marks.open("w", encoding="utf-8")) if options.marks else None
        for one in many.map(work, tasks, chunksize=4) if many else map(work, tasks):
            marks.append(one)
            if out:
                out.write(json.dumps(asdict(one) | {"wrong": one.wrong}) + "\n")
                out.flush()
    today = datetime.datetime.now(datetime.UTC).date()
    print(f"{options.drives} drives of each kind, seed {options.seed}, {today}\n")  # noqa: T201 (a command)
    print(render_table((rows_of_parts if options.pairs else rows_of)(marks)))  # noqa: T201
    if options.bad:
        for one in marks:
            if one.wrong or not one.word:
                print(f"{one.kind} {one.seed}: {_complaint(one)}")  # noqa: T201


def _complaint(one: Mark) -> str:
    if not one.word:
        return f"refused, {one.refusal}"
    readings = ", ".join(f"{off:+.2f} ± {half:.2f}" for off, half in zip(one.off_mph, one.half_mph, strict=True))
    return f"WRONG, factor {100 * one.error:+.2f} ± {100 * one.half_width:.2f} %, mph {readings}"


if __name__ == "__main__":
    main()
