"""Print how jobs fare that come with one fault each: diagnosis, work, road test.

python tests/benchmark/run_faults.py --jobs 20 --seed 11 --processes 2
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
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmark.mechanic import JobMark, mark_job  # noqa: E402 (after the path is set)
from benchmark.outside.faults import FAULTS  # noqa: E402


def marked(task: tuple[str, tuple[int, int], bool]) -> JobMark:
    """Return how one job went."""
    fault, seed, logged = task
    return mark_job(fault, seed, logged=logged)


def render_table(marks: list[JobMark]) -> str:
    """Return the table of all jobs, a row for each fault and way of reading."""
    lines = [
        "| fault | jobs | class on top | among two | work: pass | pass after the next step | parts not there |",
        "|---|---:|---:|---:|---:|---:|---:|",
    ]
    rows = [(f"{fault}, {'log' if logged else 'notes'}", [m for m in marks if (m.fault, m.logged) == (fault, logged)])
            for logged in (True, False) for fault in FAULTS]  # fmt: skip
    rows += [("**all logs**", [m for m in marks if m.logged]), ("**all notes**", [m for m in marks if not m.logged])]
    for name, some in [*rows, ("**all**", marks)]:
        if some:
            shares = [
                sum(m.on_top for m in some),
                sum(m.among_two for m in some),
                sum(m.verdict == "pass" for m in some),
                sum(m.final == "pass" for m in some),
            ]
            parts = sum(bool(m.missing_parts) for m in some)
            lines.append(
                f"| {name} | {len(some)} | "
                + " | ".join(f"{100 * n / len(some):.1f} %" for n in shares)
                + f" | {parts} |"
            )
    return "\n".join(lines)


def main() -> None:
    """Run the jobs asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=20, help="jobs of each fault and way of reading")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--fault", action="append", choices=list(FAULTS), help="only this fault; may be repeated")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--bad", action="store_true", help="list every job that did not go as it should")
    parser.add_argument("--marks", type=Path, help="add every single job to this file, one JSON object a line")
    options = parser.parse_args()
    tasks = [
        (fault, (options.seed, i), logged)
        for i in range(options.jobs)
        for fault in options.fault or FAULTS
        for logged in (True, False)
    ]
    marks: list[JobMark] = []
    with ExitStack() as stack:
        many = stack.enter_context(ProcessPoolExecutor(options.processes)) if options.processes > 1 else None
        out = stack.enter_context(options.marks.open("a", encoding="utf-8")) if options.marks else None
        for one in many.map(marked, tasks) if many else map(marked, tasks):
            marks.append(one)
            if out:
                out.write(json.dumps(asdict(one)) + "\n")
                out.flush()
    today = datetime.datetime.now(datetime.UTC).date()
    print(f"{options.jobs} jobs of each fault and way of reading, seed {options.seed}, {today}\n")  # noqa: T201
    print(render_table(marks))  # noqa: T201
    for one in marks if options.bad else []:
        if not (one.on_top and one.verdict == "pass" and not one.missing_parts):
            print(one)  # noqa: T201


if __name__ == "__main__":
    main()
