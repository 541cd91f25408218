"""A report as sentences and tables, before anybody lays it out: one model feeds all."""

from __future__ import annotations

from dataclasses import dataclass

from speedcal.report.allowed import Allowed
from speedcal.report.comparison import Curve
from speedcal.report.for_tech import Cell, CheckRow, Depth, DriveDetail, Explained, OverTime, Units
from speedcal.text.pages import report_for_customer as text
from speedcal.text.pages import report_for_tech as tech_text
from speedcal.units import DisplayUnit


@dataclass(frozen=True)
class SpeedRow:
    """What the dial shows at one true speed; a cell is None where there is no such drive."""

    true: Cell
    before: Cell | None
    after: Cell | None
    outside: bool
    """True when a drive did not reach this speed, so that the figure is carried on from the speeds it did."""


@dataclass(frozen=True)
class ToFit:
    """What the drive before the work asks for."""

    heading: str
    sentence: str
    rows: tuple[tuple[str, str, str], ...]
    """Choice, worst error left, remarks; what is advised, then the best of each other kind."""
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """A verdict, ready to be laid out."""

    word: str
    """``PASS``, ``FAIL`` or ``NOT PROVEN``."""
    mark: str
    """A sign that says the same without colour."""
    sentence: str
    rule: str
    source: str
    decision_rule: str
    checks: tuple[CheckRow, ...]
    driven_range: str
    changes: tuple[str, ...]
    """Planned against measured change, with likely causes where they differ."""
    otherwise: tuple[str, ...]
    """Of these the changes that are not the planned ones, with only the causes whose size fits."""
    findings: tuple[str, ...]


@dataclass(frozen=True)
class ReportModel:
    """Everything a report says, in the order it is read."""

    title: str
    shop: str
    number: str
    customer: str
    vehicle: str
    note: str
    driven: tuple[tuple[str, str], ...]
    """Each drive and when it was made."""
    units: Units
    warnings: tuple[str, ...]
    """How far the figures may not be trusted; read before them."""
    next_steps: tuple[str, ...]
    """What happens next while the speedometer is not put right; empty when it is."""
    sentences: tuple[str, ...]
    """The one sentence, and the same in the other unit where both were asked for."""
    cause: str
    """What is likely wrong, while nothing was done about it; empty where nothing tells."""
    verdict: Verdict | None
    rows: tuple[SpeedRow, ...]
    done: tuple[str, ...]
    left: tuple[str, ...]
    low: tuple[str, ...]
    """That the dial shows less than the true speed as it is now, where it does; part of ``left`` after the work."""
    to_fit: ToFit | None
    odometer: tuple[str, ...]
    missing: tuple[str, ...]
    """Parts that the job does not carry, each with what would bring them."""
    curves: tuple[Curve, ...]
    allowed: Allowed | None
    picture_text: str
    """What the comparison picture shows, for those who do not see it."""
    details: tuple[DriveDetail, ...]
    depth: Depth | None
    explained: Explained | None
    over_time: tuple[OverTime, ...]
    files: tuple[tuple[str, str], ...]
    version: str
    card: tuple[tuple[float, float], ...]
    """True speeds and what the dial shows, in the unit of the report, where a card for the dash is what helps."""

    @property
    def unit(self) -> DisplayUnit:
        """The unit of the report."""
        return self.units[0]

    @property
    def sentence(self) -> str:
        """What the dial did at a usual speed and what it does now."""
        return self.sentences[0]

    @property
    def method(self) -> tuple[str, ...]:
        """How the figures were made."""
        return tech_text.method(detail.calibration for detail in self.details)

    @property
    def method_in_short(self) -> str:
        """The same for the printed page."""
        return tech_text.method_in_short(detail.calibration for detail in self.details)

    @property
    def next_heading(self) -> str:
        """Head what happens next, with the verdict where there is one."""
        return f"{self.verdict.word}: {text.HEADINGS['next'].lower()}" if self.verdict else text.HEADINGS["next"]

    @property
    def has_before(self) -> bool:
        """Whether a drive before the work is in it."""
        return bool(self.rows and self.rows[0].before)

    @property
    def has_after(self) -> bool:
        """Whether a drive after the work is in it."""
        return bool(self.rows and self.rows[0].after)
