"""What a job came to, and the folder it is written to."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.errors import JobError
from speedcal.jobs.contents import JobContents
from speedcal.report import (
    DriveFacts,
    Paper,
    Pictures,
    ReportFacts,
    ReportModel,
    build_model,
    draw_pictures,
    render_card,
    render_html,
    render_pdf,
    render_picture,
)
from speedcal.report.typesetting import PageKind
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.whole_file import write_whole

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History, Verification
    from speedcal.conformity.distance import DrivenDistance
    from speedcal.vehicle import Corrections
    from speedcal.vehicle.diagnosed.explanations import Explanations

_PICTURE: tuple[PageKind, ...] = ("png", "svg", "pdf")
_CARD: tuple[PageKind, ...] = ("pdf", "png")


@dataclass(frozen=True)
class JobResult:
    """Everything a job came to; parts that the job does not carry are None.

    Examples
    --------
    >>> import speedcal
    >>> result = speedcal.load_job("data_demo").run()
    >>> result.before.error_factor.value > result.after.error_factor.value
    True
    """

    job: JobContents
    drives: tuple[DriveFacts, ...]
    before: Calibration | None
    after: Calibration | None
    corrections: Corrections | None
    explanations: Explanations | None
    verification: Verification | None
    histories: tuple[tuple[str, History], ...] = ()
    """``before`` or ``after``, and its dated drives in order of time, where there are several."""

    @property
    def unit(self) -> DisplayUnit:
        """Unit for people."""
        return self.job.unit or (self.drives[0].calibration.unit if self.drives else "mph")

    @property
    def expected(self) -> Calibration | None:
        """How the instrument should read by the facts of the vehicle, where nothing was driven."""
        from speedcal.vehicle.choices.facts_only import expected_reading

        if self.drives or self.job.vehicle is None:
            return None
        return expected_reading(self.job.vehicle, self.unit)

    @property
    def distance(self) -> DrivenDistance | None:
        """What was driven since the work, where the job says what the odometer showed then and shows now."""
        from speedcal.conformity.distance import distance_since

        return distance_since(self.job.work, self.after)

    @property
    def files(self) -> tuple[tuple[str, str], ...]:
        """Names and SHA-256 digests of the job file and of every file used, each once."""
        used = [pair for drive in self.drives for pair in drive.calibration.sources]
        return tuple(dict.fromkeys([(self.job.source.name, self.job.digest), *used]))

    def to_dict(self) -> dict[str, Any]:
        """Return the whole result, ready for JSON."""
        return {
            "job": self.job.to_dict(),
            "before": self.before.to_dict() if self.before else None,
            "after": self.after.to_dict() if self.after else None,
            "corrections": self.corrections.to_dict() if self.corrections else None,
            "explanations": self.explanations.to_dict() if self.explanations else None,
            "verification": self.verification.to_dict() if self.verification else None,
            "drives": [
                {
                    "name": drive.name,
                    **({"noted": dict(drive.noted)} if drive.noted else {}),
                    **drive.calibration.to_dict(),
                }
                for drive in self.drives
            ],
            "history": {name: history.to_dict() for name, history in self.histories},
            **({"distance": self.distance.to_dict()} if self.distance else {}),
            "files": [{"name": name, "sha256": digest} for name, digest in self.files],
            "version": version("speedcal"),
        }

    def readings_csv(self) -> str:
        """Return every reading of every drive, on the GPS clock, used or rejected and why, as a table with a header.

        Speeds are in the unit of the job, which the column names carry; times are ISO 8601 in UTC (times of day
        where the track has no date, empty where a held speed was left out).
        """
        name = {"mph": "mph", "km/h": "kmh"}[self.unit]
        factor = SPEED_UNIT_MPS[self.unit]
        speeds = ("ground", "indicated", "predicted", "residual", "u")
        out = io.StringIO()
        rows = csv.writer(out, lineterminator="\n")
        rows.writerow(["drive", "line", "time", *(f"{s}_{name}" for s in speeds), "steady_run", "used", "reason"])
        for drive in self.drives:
            for row in drive.calibration.readings.to_dict("records"):
                numbers = (_number(row[f"{s}_mps"] / factor) for s in speeds)
                time = _time(row["time_s"], has_date=drive.has_date)
                run = int(row["run"]) if row["run"] >= 0 else ""
                used = "yes" if row["used"] else "no"
                rows.writerow([drive.name, int(row["line"]), time, *numbers, run, used, row["reason"]])
        return out.getvalue()

    def facts(self, *, both_units: bool = False) -> ReportFacts:
        """Return what the report shows of this result; a dial that is marked in another unit has its own beside."""
        job = self.job
        other = any(drive.noted_in not in (None, self.unit) for drive in self.drives)
        return ReportFacts(
            unit=self.unit,
            drives=self.drives,
            before=self.before,
            after=self.after,
            expected=self.expected,
            corrections=self.corrections,
            explanations=self.explanations,
            histories=self.histories,
            verification=self.verification,
            tolerance=job.tolerance,
            vehicle=job.vehicle,
            work=job.work,
            shop=job.shop,
            number=job.number,
            customer=job.customer,
            note=job.note,
            files=self.files,
            version=version("speedcal"),
            both_units=both_units or other,
        )

    @cached_property
    def model(self) -> ReportModel:
        """The report as sentences and tables, in the unit of the job."""
        return build_model(self.facts())

    @cached_property
    def pictures(self) -> Pictures:
        """The pictures of the report, drawn once."""
        return draw_pictures(self.model)

    def contents(self, *, paper: Paper = "a4", both_units: bool = False) -> dict[str, bytes]:
        """Return the files of the result by name; the same result gives the same bytes."""
        if both_units:
            model = build_model(self.facts(both_units=True))
            pictures = draw_pictures(model)
        else:
            model, pictures = self.model, self.pictures
        kept = {f"before_after.{kind}": render_picture(model, pictures, kind=kind) for kind in _PICTURE}
        return {
            "report.html": render_html(model, pictures).encode(),
            "report.pdf": render_pdf(model, pictures, paper=paper),
            **kept,
            **({f"correction_card.{kind}": render_card(model, kind=kind) for kind in _CARD} if model.card else {}),
            "result.json": (json.dumps(self.to_dict(), indent=2, ensure_ascii=False) + "\n").encode(),
            "readings_aligned.csv": self.readings_csv().encode(),
        }

    def write(self, folder: str | Path, *, paper: Paper = "a4", both_units: bool = False) -> tuple[Path, ...]:
        """Write the page, the comparison picture and the numbers into a folder; the same result gives the same bytes.

        Parameters
        ----------
        folder
            Made when it is missing; nothing is written outside it. A correction card of an earlier result goes.
        paper
            Size of ``report.pdf``.
        both_units
            Give every figure of the report in the other unit besides.

        Returns
        -------
        tuple of Path
            The files written: ``report.html``, ``report.pdf``, ``before_after.png``, ``.svg`` and ``.pdf``,
            ``result.json``, ``readings_aligned.csv``, and ``correction_card.pdf`` and ``.png`` where the advice is one.

        Raises
        ------
        JobError
            The folder cannot be written, or a file of the job would be overwritten.
        """
        contents = self.contents(paper=paper, both_units=both_units)
        folder = Path(folder)
        originals = {path.resolve() for path in (self.job.source, *self.job.files)}
        taken = [name for name in contents if (folder / name).resolve() in originals]
        if taken:
            raise JobError("original_overwritten", source=str(folder), name=taken[0])
        try:
            folder.mkdir(parents=True, exist_ok=True)
            write_whole({folder / name: data for name, data in contents.items()})
            for card in (folder / f"correction_card.{kind}" for kind in _CARD):
                if card.name not in contents and card.resolve() not in originals:
                    card.unlink(missing_ok=True)  # its figures are those of an earlier result
        except OSError as error:
            raise JobError("result_not_written", source=str(folder), reason=error.strerror or str(error)) from None
        return tuple(folder / name for name in contents)

    def summary(self) -> str:
        """Return the few lines that a person wants to read first."""
        model = self.model
        lines = [*model.warnings, model.sentence]
        if model.verdict:
            lines.append(f"{model.verdict.word}: {model.verdict.sentence} {model.verdict.rule}")
        lines += model.next_steps
        return "\n".join([*lines, *model.missing])

    def __str__(self) -> str:
        parts = [str(self.job)]
        for drive in self.drives:
            parts.append(f"\n{drive.name}\n{drive.calibration}")
        parts += [f"\n{part}" for part in (self.corrections, self.verification) if part is not None]
        return "\n".join(parts)


def _number(x: float) -> str:
    return "" if x != x else f"{x + 0.0:.3f}"


def _time(time_s: float, *, has_date: bool) -> str:
    if time_s != time_s:
        return ""
    shown_s = round(time_s if has_date else time_s % 86400.0, 2)  # Windows knows no time before 1970
    moment = datetime.fromtimestamp(shown_s, tz=UTC)
    text = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return text if has_date else text.split("T")[1]
