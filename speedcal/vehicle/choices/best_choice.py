"""Which choice to take, and what to say when none will do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from speedcal.finding import Finding
from speedcal.interval import Interval, reached
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.judged.judge import RISK_OF_READING_LOW, Judge
from speedcal.vehicle.vehicle import Vehicle

_NOT_WORTH_MORE_WORK = 0.005
"""Relative error that does not justify a kind of change with more work when none is acceptable anyway."""
_CLEAR = 0.8
"""Chance of being the best of its kind from which a tooth count is called decided."""
_RIVAL = 0.05
"""Chance of being the best from which another count is named beside it."""


def best_of(judge: Judge, keep: Choice, lists: Sequence[Sequence[Choice]], *, has_keep: bool = True) -> Choice | None:
    """Return the choice to take.

    Parameters
    ----------
    keep
        Leaving everything as it is.
    lists
        Choices of one kind each, best first, the kind with the least work first.
    has_keep
        False when nobody knows what is fitted, so that nothing can be kept.

    Returns
    -------
    Choice or None
        From the first kind that has an acceptable choice, its best; when none has, the least work that comes near
        the best of all; None when nothing can be changed and the instrument is not right as it is.
    """
    tops = [choices[0] for choices in lists if choices and choices[0].available is not False]
    for top in tops:
        if top.is_acceptable:
            return keep if top.is_fitted else top
    if not tops:
        return keep if keep.is_acceptable else None
    tops = [keep, *tops] if has_keep else tops
    least = min(judge.loss(choice.gain)[0] for choice in tops)
    return next(choice for choice in tops if judge.loss(choice.gain)[0] <= least + _NOT_WORTH_MORE_WORK)


def findings_for(
    judge: Judge,
    vehicle: Vehicle,
    *,
    keep: Choice,
    best: Choice | None,
    lists: Mapping[str, Sequence[Choice]],
    exact_teeth: Interval | None,
    is_driven: bool,
) -> list[Finding]:
    """Return what a person must know before ordering.

    Speeds that the drive does not reach, nothing acceptable, not decided yet, gear between two teeth.
    """
    found = _beyond_driven(judge) if is_driven else []
    if best is None:
        found.append(Finding("nothing_to_change", percent=100 * (judge.ideal_gain.value - 1), at_its_end=False))
    elif not best.is_acceptable:
        found.append(_what_would(judge, vehicle, best, exact_teeth))
    rivals = [c for choices in lists.values() if best in choices for c in choices if c.available is not False]
    if best is not None and rivals:
        found += _between(judge, best, rivals, is_driven=is_driven)
    if keep.is_fitted and keep.is_acceptable and best is not None and not best.is_fitted:
        found.append(Finding("acceptable_as_is", worst_percent=keep.worst_error_percent))
    return found


def _beyond_driven(judge: Judge) -> list[Finding]:
    """Return which speeds are judged that the drive does not reach, and how well the dial is known there."""
    driven = judge.dial.driven_mps
    beyond = judge.speeds_mps[~reached(driven, judge.speeds_mps)]
    if not len(beyond):
        return []
    values = {"speeds_mps": beyond.tolist(), "half_mps": judge.dial.half_width(beyond).tolist(), "driven_mps": driven}
    return [Finding("speeds_not_driven", **values, unit=judge.unit)]


def _between(judge: Judge, best: Choice, rivals: Sequence[Choice], *, is_driven: bool) -> list[Finding]:
    """Return what to say when another count of the same kind may be the better one."""
    if best.kind in ("pulse_scaler", "setting"):
        return []  # the next step differs by nothing that matters
    shares = dict(zip(map(id, rivals), judge.probabilities_best([c.gain for c in rivals]), strict=True))
    share = shares[id(best)]
    if judge.criterion == "never reads low":  # a margin is chosen, not the likeliest count
        likelier = next((c for c in rivals if shares[id(c)] > share), None)
        if likelier is None:
            return []
        values = {
            "better": likelier.what,
            "chosen": best.what,
            "chance": shares[id(likelier)],
            "allowed": RISK_OF_READING_LOW,
        }
        return [Finding("margin_kept", **values, chance_low=likelier.probability_reads_low)]
    if share >= _CLEAR:
        return []
    others = [c for c in rivals[:3] if c is not best and shares[id(c)] > _RIVAL]
    values = {"best": best.what, "chance": share, "rivals": [c.what for c in others], "is_driven": is_driven}
    return [Finding("not_decided", **values)]


def _what_would(judge: Judge, vehicle: Vehicle, best: Choice, exact_teeth: Interval | None) -> Finding:
    """Return why no choice is acceptable and what would be."""
    values = {"limit_percent": judge.acceptable_percent, "best": best.what, "best_percent": best.worst_error_percent}
    left = 100 * judge.unavoidable_error()
    if left > judge.acceptable_percent:
        return Finding("instrument_limits", **values, left_percent=left)
    wanted = judge.ideal_gain.value
    sure = 100 * judge.worst_error(wanted)
    if sure > judge.acceptable_percent:
        return Finding("margin_too_wide", **values, sure_percent=sure)
    has_cable = not vehicle.expects_pulses and (vehicle.has_gear_drive or not vehicle.settings)
    means = ["ratio_box" if has_cable else "pulse_scaler"]
    if vehicle.driven_gear and not vehicle.drive_gear:
        means.append("drive_gear")
    if vehicle.family is None and vehicle.driven_gear:
        means.append("gear_family")
    teeth = None if exact_teeth is None else exact_teeth.value
    return Finding("no_acceptable_choice", **values, wanted_percent=100 * (wanted - 1), teeth=teeth, means=means)
