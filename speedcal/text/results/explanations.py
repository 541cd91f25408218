"""What the command prints of causes and of the combinations of parts that would explain an error."""

from __future__ import annotations

from speedcal.text.codes.advice_messages import CAUSES, SETTLES
from speedcal.text.words.numbers import likely, signed
from speedcal.text.words.parts import part_name
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis
from speedcal.vehicle.diagnosed.explanations import Explanation, Explanations

_MOST_CAUSES = 4
_WORTH_SAYING, _WORTH_NAMING = 0.03, 0.1
"""From which probability a cause is listed in full, and named beside the first in a sentence. Our own choice."""
_ALL = 100
"""Per cent; a cause in the drive and one in the instrument are not held against each other."""
_MEASURED = "as measured"


def summary(result: object) -> str:
    """Return the few lines of a result of this room."""
    if isinstance(result, Diagnosis):
        return "\n".join([*diagnosis_lines(result), *_in_full(result)])
    assert isinstance(result, Explanations)  # noqa: S101 - phrases sends nothing else
    lines = [explanation_text(item) for item in result.ranked]
    lines.append(f"everything as the job states: {likely(result.as_stated)}   (!) marks what would differ from it")
    lines += [f"believed before the drive: {prior.text}" for prior in result.priors]
    return "\n".join([*lines, *(f"note: {finding.text}" for finding in result.findings)])


def diagnosis_lines(diagnosis: Diagnosis) -> list[str]:
    """Return the outcome in a line or two."""
    if diagnosis.top is None:
        return [f"nothing seems to be wrong ({likely(diagnosis.healthy)})"]
    lines = [likely_causes(diagnosis)]
    if diagnosis.settled_by:
        lines.append(f"to settle it: {SETTLES[diagnosis.settled_by]}")
    return lines


def likely_causes(diagnosis: Diagnosis) -> str:
    """Return the causes worth saying, the likeliest first."""
    first, *rest = diagnosis.hypotheses
    worth = [first, *(item for item in rest if item.probability > _WORTH_NAMING)][:_MOST_CAUSES]
    causes = "; ".join(f"{CAUSES[item.code]} ({likely(item.probability)})" for item in worth)
    shares = sum(round(100 * item.probability) for item in worth)
    return f"likely cause: {causes}" + ("; two may go together" if shares > _ALL else "")


def _in_full(diagnosis: Diagnosis) -> list[str]:
    lines = []
    for item in diagnosis.hypotheses:
        if item.probability > _WORTH_SAYING:
            against = f" Against it: {' '.join(finding.text for finding in item.against)}" if item.against else ""
            lines.append(
                f"  {likely(item.probability):>9}  {CAUSES[item.code]}; would make it read "
                f"{signed(100 * (item.factor - 1))} %.{against}"
            )
    return lines


def explanation_text(item: Explanation) -> str:
    """Return one combination of parts in a line."""
    words = [
        f"{part_name(name)} {_MEASURED if label == 'measured' else label}{' (!)' if name in item.departs else ''}"
        for name, label in item.parts
    ]
    return f"{likely(item.probability):>9}  {', '.join(words)}; would read {signed(100 * (item.factor - 1))} %"
