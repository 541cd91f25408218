"""Which choice to take, and what to say when none will do."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.finding import Finding
from speedcal.interval import Interval
from speedcal.vehicle.ranking import RISK_OF_READING_LOW, Choice, Judge
from speedcal.vehicle.vehicle import Vehicle

_NOT_WORTH_MORE_WORK = 0.005
"""Relative error that does not justify a kind of change with more work when none is acceptable anyway."""
_CLEAR = 0.8
"""Chance of being the best from which a tooth count is called decided."""


def best_of(judge: Judge, keep: Choice, lists: Sequence[Sequence[Choice]]) -> Choice | None:
    """Return the choice to take.

    Parameters
    ----------
    judge
        Holds the criterion.
    keep
        Leaving everything as it is.
    lists
        Choices of one kind each, best first, the kind with the least work first.

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
    least = min(judge.loss(choice.gain)[0] for choice in (keep, *tops))
    return next(choice for choice in (keep, *tops) if judge.loss(choice.gain)[0] <= least + _NOT_WORTH_MORE_WORK)


def findings_for(
    judge: Judge,
    vehicle: Vehicle,
    *,
    keep: Choice,
    best: Choice | None,
    rivals: Sequence[Choice],
    exact_teeth: Interval | None,
) -> list[Finding]:
    """Return what a person must know before ordering: nothing acceptable, not decided yet, gear between two teeth."""
    found = []
    if best is None:
        found.append(
            Finding(
                "nothing_to_change",
                "The job names neither teeth, a scaler nor a module setting, so no part can be chosen. "
                f"The speed signal must be multiplied by {judge.ideal_gain()}.",
            )
        )
    elif not best.is_acceptable:
        found.append(Finding("no_acceptable_choice", _what_would(judge, vehicle, best, exact_teeth)))
    judged_by_size = judge.criterion != "never reads low"  # there a margin is chosen, not the likeliest count
    if judged_by_size and best is not None and best.probability_best is not None and best.probability_best < _CLEAR:
        names = [c.name for c in rivals[:3] if c.name != best.name and (c.probability_best or 0) > 0.05]
        rival = f" against {' or '.join(names)}" if names else ""
        settle = (
            "more readings at steady speeds would decide it (`speedcal plan`)"
            if judge.calibration.steady_runs
            else "a drive with the new parts would decide it"
        )
        chance = f"{100 * best.probability_best:.0f} %"
        found.append(Finding("not_decided", f"{best.name} is the best with a chance of {chance}{rival}; {settle}."))
    elif not judged_by_size and best is not None and (likelier := _likelier(best, rivals)):
        better, low = (100 * (chance or 0) for chance in (likelier.probability_best, likelier.probability_reads_low))
        text = (
            f"{likelier.name} would be the better one with {better:.0f} %, but it reads low with {low:.0f} %, more "
            f"than the {100 * RISK_OF_READING_LOW:g} % that this criterion allows; therefore {best.name}."
        )
        found.append(Finding("margin_kept", text))
    if keep.is_acceptable and best is not None and not best.is_fitted:
        found.append(
            Finding(
                "acceptable_as_is", f"As it is the worst error is {keep.worst_error_percent:.1f} %, already acceptable."
            )
        )
    return found


def _likelier(best: Choice, rivals: Sequence[Choice]) -> Choice | None:
    """Return the choice that is likelier the best one, were the truth known, but is not taken for its risk."""
    least = best.probability_best or 0.0
    return next((c for c in rivals if c.available is not False and (c.probability_best or 0) > least), None)


def _what_would(judge: Judge, vehicle: Vehicle, best: Choice, exact_teeth: Interval | None) -> str:
    limit = f"{judge.acceptable_percent:g} %"
    with_best = f"the best is {best.name} with {best.worst_error_percent:.1f} %"
    start = f"No choice keeps the worst error within {limit}; {with_best}. "
    left = 100 * judge.offset_error()
    if left > judge.acceptable_percent:
        return (
            start + f"The needle offset alone leaves {left:.1f} % and no gear can cancel it: "
            "the instrument itself must be set right, or the speeds that matter be chosen higher."
        )
    sure = 100 * judge.worst_error(judge.ideal_gain().value)
    if sure > judge.acceptable_percent:
        return (
            start + f"To be sure that it never reads low after this drive, {sure:.1f} % must be added somewhere; "
            "more readings would narrow that (`speedcal plan`)."
        )
    wish = f"a gain of {judge.ideal_gain().value:.4f}"
    if exact_teeth is not None:
        wish += f" (a driven gear of {exact_teeth.value:.1f} teeth)"
    means = (
        ["a pulse scaler"]
        if vehicle.expects_pulses
        else ["a ratio box in the cable (name its teeth as ratio_box_teeth)"]
    )
    if vehicle.driven_gear and not vehicle.drive_gear:
        means.append("another drive gear (count the fitted one: drive_gear)")
    if vehicle.family is None and vehicle.driven_gear:
        means.append("a gear family that allows pairs (gear_family)")
    return f"{start}What would do: {wish}, by {' or '.join(means)}."
