"""Everything that advice on one vehicle rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from speedcal.finding import Finding, Trust
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.choices.options import FittedTeeth
from speedcal.vehicle.choices.undoing import StateBefore
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis
from speedcal.vehicle.judged.judge import Judge
from speedcal.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class Outlook:
    """Everything the advice rests on."""

    judge: Judge
    vehicle: Vehicle
    keep: Choice
    lists: Mapping[str, Sequence[Choice]]
    teeth: FittedTeeth
    diagnosis: Diagnosis | None
    measure: Finding | None
    trust: Trust | None
    may_keep: bool
    """False where a road test has told that it cannot stay as it is."""
    before: StateBefore | None = None
    """What undoing the latest work leads back to."""

    def judge_of(self, choice: Choice) -> Judge:
        """Return what a choice is judged by: undoing has a drive of its own."""
        return self.before.judge if self.before is not None and choice.kind == "undo" else self.judge

    @property
    def causes(self) -> tuple[Finding, ...]:
        """The likeliest cause, as a reason; empty where nothing is wrong."""
        top = self.diagnosis.top if self.diagnosis else None
        return (Finding("likely_cause", cause=top.code, chance=top.probability),) if top else ()
