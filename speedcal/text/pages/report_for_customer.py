"""The customer's part of a report, and what the command says of a job: plain sentences, cautions, law."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.results.explanations import likely_causes
from speedcal.text.results.vehicle_summary import work_words
from speedcal.text.words import rules
from speedcal.text.words.names import capital, one_line
from speedcal.text.words.numbers import chance
from speedcal.text.words.parts import part_value, setting_name
from speedcal.text.words.sources import status_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from speedcal.calibration.result import Calibration
    from speedcal.conformity import Tolerance, Verification
    from speedcal.vehicle import Corrections, Vehicle, Work
    from speedcal.vehicle.advised.advice import Advice

HEADINGS = {
    "picture": "How far the dial is off",
    "shows": "What the dial shows at a true speed",
    "fit": "What to fit or set",
    "instead": "What a gear or setting would leave",
    "done": "What was done",
    "left": "What is left",
    "odometer": "Odometer",
    "cautions": "Cautions for the road test and the work",
    "law": "What the law says",
    "tech": "For the tech",
    "next": "What happens next",
}
TITLE_EXPECTED = "How the speedometer should read by its parts"
DRIVE_IT = "Before money is spent on the last tooth: add a drive to the job, or a mile that is timed at a steady dial."
BY_FACTS = "by the parts"
TITLE_BOTH, TITLE_ONE = "Speedometer before and after", "How the speedometer reads"
_PAST = "What the dial showed before the work is roughly known; the verdict rests on the road test."
MORE = "… more in report.html"
RANGES = "19 times in 20 the true value lies inside the range given."
NOT_DRIVEN = "not driven: estimated"
ADVISED = "advised"

CAUTIONS = (
    "The driver only drives; a passenger reads the dial and writes.",
    "Legal speeds only, on a straight, dry road with little traffic. Stop whenever traffic asks for it.",
    "Wheels off the ground only on rated stands on firm, level ground, the vehicle secured against rolling; keep clear "
    "of turning wheels and shafts.",
    "Local rules on speedometers and odometers come first; where they ask for a licensed shop, it does the work.",
)
"""What can hurt someone in this work, and who decides."""

ODOMETER_LAW = (
    "New gears, tires or settings change only the distance counted from now on. The mileage shown stays as it is; "
    "altering it is an offense in many places."
)
ODOMETER_LAW_IN_FULL = (
    "United States, 49 USC 32703 and 32704: service may not change the mileage shown; where it cannot stay the same, "
    "the odometer is set to zero and a written notice with the mileage before and the date goes on the left door "
    "frame. Elsewhere: ask for the local rule."
)
"""Reminder that belongs to every change of an odometer drive."""


def caption(has_readings: bool) -> str:
    """Say what is drawn in the comparison."""
    return f"{'Points are readings, bands' if has_readings else 'Bands are'} the ranges of the lines."


def change_words(work: Work | None) -> str:
    """Name what was changed, to follow the word ``after``."""
    if work is None:
        return "the work"
    names = {
        "the gear change": work.driven_gear or work.drive_gear,
        "fitting the ratio box": work.ratio_box,
        "the new setting": work.pulse_scaler or work.settings,
        "fitting the new sensor": work.pulses_per_turn,
        "reseating the needle": work.needle,
        "the repair": work.instrument_repaired,
        "the tire change": work.tire,
        "the axle change": work.axle,
    }
    done = [name for name, change in names.items() if change]
    return done[0] if len(done) == 1 else "the work"


def warnings(before: Calibration | None, after: Calibration | None, *, is_passed: bool = False) -> tuple[str, ...]:
    """Say how far each drive may not be trusted, the word first and every reason.

    What the drive before leaves to ask is past once the road test has passed.
    """
    return tuple(
        f"Drive {name}: {c.trust.word}. {_PAST if name == 'before' and is_passed else _reasons(c)}".strip()
        for name, c in (("before", before), ("after", after))
        if c is not None and c.trust.word != "TRUSTED"
    )


def _reasons(drive: Calibration) -> str:
    return " ".join(capital(reason.text) for reason in drive.trust.reasons)


def missing(
    before: Calibration | None, after: Calibration | None, tolerance: Tolerance | None, *, stays: bool
) -> tuple[str, ...]:
    """Name the parts that the job does not carry, each with what would bring them.

    Parameters
    ----------
    stays
        Whether nothing is to be done: then no drive shows what was.
    """
    out = []
    if before is None:
        out.append("There is no drive before the work, so what changed is not known.")
    if after is None and not stays:
        out.append("There is no drive after the work yet.")
    elif after is None and tolerance is not None:
        out.append("There is no road test yet, so there is no verdict.")
    elif after is not None and tolerance is None:
        out.append("No rule was named for this job, so there is no verdict.")
    return tuple(out)


def cause(corrections: Corrections | None) -> str:
    """Say what is likely wrong; empty where nothing is, or nothing tells."""
    diagnosis = corrections.diagnosis if corrections else None
    return f"{capital(likely_causes(diagnosis))}." if diagnosis and diagnosis.top else ""


def done(work: Work | None, vehicle: Vehicle | None, unit: str) -> tuple[str, ...]:
    """Say what was changed, what was there before, and the note about it."""
    if work is None:
        return ()
    text, note = work_words(work, unit), one_line(work.note)
    lines = [] if work.is_nothing and note else [capital(text) + _was(work, vehicle)]
    return (*lines, *([note] if note else []))


def _was(work: Work, vehicle: Vehicle | None) -> str:
    names = ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "axle", "tire")
    was = {
        name: one_line(part_value(getattr(vehicle, name)))
        for name in names
        if getattr(work, name) is not None and getattr(vehicle, name, None) is not None
    }
    is_alone = len(was) == 1 and not work.settings
    parts = [value if is_alone else f"{name.replace('_', ' ')} {value}" for name, value in was.items()]
    now = {setting.kind: setting.now for setting in vehicle.settings} if vehicle else {}
    before = [(setting.kind, now.get(setting.kind)) for setting in work.settings]
    parts += [setting_name(kind, value) for kind, value in before if value is not None]
    return f" (before: {', '.join(parts)})" if parts else ""


def verdict_sentence(verification: Verification) -> str:
    """Say whether the speedometer, or the odometer that a rule is about, complies, and how sure that is."""
    it = "The odometer" if verification.tolerance.quantity == "distance" else "The speedometer"
    sure = f"chance that it does: {chance(verification.probability)}"
    if verification.verdict == "pass":
        return f"{it} complies with the rule ({sure})."
    if verification.verdict == "fail":
        return f"{it} does not comply with the rule ({sure})."
    if any(found.code == "fell_on_road_test" for found in verification.findings):
        return f"{it} complies with the rule while its needle stays up; on this drive it fell in spells."
    if verification.probability < 0.2:
        return f"{it} likely does not comply with the rule ({sure}), but this drive does not prove it."
    if verification.probability > 0.8:
        return f"{it} likely complies with the rule ({sure}), but this drive does not prove it."
    return f"The drive does not settle whether {it.lower()} complies with the rule ({sure})."


def rule_lines(rule: Tolerance) -> tuple[str, str]:
    """Name the rule with its limits, and its document with how far that was read."""
    status = status_words(rule.status)
    source = f"{one_line(rule.source)} ({status})" if rule.source else status
    return f"Rule: {one_line(rules.title(rule.about))} – {rules.limits(rule)}.", f"Source: {source}."


def next_steps(corrections: Corrections | None, verification: Verification | None) -> tuple[str, ...]:
    """Say what happens next while the speedometer is not put right, or not driven after work; nothing when it is."""
    if verification is not None:
        return _after_verdict(verification)
    if corrections is None:
        return ()
    return advice_lines(corrections.advice) or (to_fit(corrections),)


def advice_lines(advice: Sequence[Advice]) -> tuple[str, ...]:
    """Return a sentence for each thing to do, the first thing first."""
    return tuple(capital(str(entry)) for entry in advice)


def _after_verdict(verification: Verification) -> tuple[str, ...]:
    told = advice_lines(verification.advice)
    if verification.verdict == "pass":
        return told
    if verification.verdict == "fail":
        left = told or ("Check that what was meant to be fitted is fitted, put right what is left, and drive again.",)
        return (f"Do not sign the work off. {left[0]}", *left[1:])
    return told or ("More driving would not settle it. Put right what is left, then drive again.",)


def to_fit(corrections: Corrections) -> str:
    """Name the best thing to do about the error, and what error it leaves."""
    best = corrections.best
    if best is None:
        return "The job names no gear, scaler or setting; add what is fitted, and its choices are listed here."
    return f"{capital(str(best))}: worst error left {best.worst_error_percent:.1f} %."
