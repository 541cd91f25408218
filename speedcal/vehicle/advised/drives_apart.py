"""What to do about drives of one state that do not agree: a third one decides, then one is left out, or a group."""

from __future__ import annotations

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.vehicle.advised.advice import Advice

_PAIR = 2
"""Of two drives nobody can tell which is the odd one."""


def drives_apart(pooled: Calibration, phase: str) -> tuple[Advice, ...]:
    """Return what to do first where drives that were pooled do not agree; empty where they do.

    Parameters
    ----------
    phase
        ``before`` or ``after``: whose drives they are.
    """
    for found in pooled.findings:
        if found.code != "drives_disagree":
            continue
        if len(found.values["errors_percent"]) == _PAIR:
            tested_twice = (Finding("worked_between"),) if phase == "after" else ()
            return (Advice("drive_again", part=phase, because=(found, *tested_twice, Finding("third_drive_decides"))),)
        if found.values["others_agree"]:
            odd = found.values["farthest"]
            return (Advice("check_files", part=f"{phase} {odd}", because=(found, Finding("odd_drive", drive=odd))),)
        if found.values["groups"]:
            return (Advice("check_files", part=phase, because=(found, Finding("one_group_holds"))),)
        return (
            Advice("check_count", part="needle_drive", because=(found, Finding("no_two_agree"))),
            Advice("measure_fact", part="bench"),
        )
    return ()
