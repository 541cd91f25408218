"""Changes of the drive worth thinking of: each with its chances, its work and what it leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from speedcal.vehicle.advised.needle import is_mostly_needle, needle_is_off, shifts_of
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.choices.undoing import StateBefore
from speedcal.vehicle.judged.judge import SURE_ENOUGH, Judge

_WORK = {
    "keep": 0,
    "setting": 1,
    "settings": 1,
    "pulse_scaler": 1,
    "driven_gear": 2,
    "ratio_box": 3,
    "needle": 4,
    "drive_gear": 6,
    "pair": 7,
}
"""How much work each kind of change is, in order only: a number typed in, a gear on the cable's end, a box in the
cable, the instrument opened, the transmission opened. Common practice, no source."""
_ROAD_TEST_WORK = 2
"""A road test among those: what is done from outside is tried before a transmission is opened where its chance
outweighs the work. Our own judgment."""
_OPENED = ("drive_gear", "pair")
"""Kinds of change for which the transmission is opened."""
LISTED = {"setting": "settings", "pair": "pairs"}
"""Kind of choice to its list, where the two are called otherwise."""
SAME_CHANCE = 0.04
"""Chances of passing that differ by less are alike; then the lesser work decides."""
LIKELY = 0.5
"""More likely than not."""
_WORTH_A_STEP = 0.01
"""Chance of passing that each step of work must bring beside."""
MAY_PASS = 0.1
"""Chances from this to one half are alike too: nobody opens a transmission on a hope."""
WORTH_WORK_PERCENT = 4.0
"""An error that is smaller by so much is worth the work, where a rule would let the larger one pass too."""
WORTH_A_STEP_PERCENT = 1.0
"""And each step of work must bring so much of it: nobody opens a transmission for 4 %. Our own judgment."""
_DRIVE_PERCENT = 6.0
"""An error of the reading that weighs as much as one more road test. Our own judgment: an owner drives ten minutes more
once, and reads the dial for years. Doubled, a gear that leaves 8 % is fitted in place of one that leaves 2 % and surely
keeps the rule, but is proven by one sheet in a fifth of all cases only."""


def _work(choice: Choice) -> int:
    """Return how much work a choice is; undoing is that of each part."""
    if choice.kind == "undo":
        return sum(_WORK.get(name.partition(".")[0], 0) for name, _ in choice.parts)
    return _WORK[choice.kind]


@dataclass(frozen=True, slots=True)
class Plan:
    """One change of the drive, the needle set over, or both."""

    choice: Choice
    shift_mps: float
    probability: float
    """Chance of passing the rule."""
    proven: float
    """Chance that a road test will show it."""
    worst_percent: float
    passes: bool
    hides_needle_percent: float = 0.0
    """How far off the drive would be by a gear that makes up for a needle that sits wrong; zero where none does. [%]"""

    @property
    def is_untouched(self) -> bool:
        """Whether nothing is done."""
        return self.choice.kind == "keep" and not self.shift_mps

    @property
    def cost_percent(self) -> float:
        """What it leaves, and what it takes to prove it. [%]."""
        return self.worst_percent + _DRIVE_PERCENT * (1 - min(self.proven, SURE_ENOUGH))

    @property
    def work(self) -> int:
        """How much work it is, in order only."""
        return _work(self.choice) + (_WORK["needle"] if self.shift_mps else 0)

    @property
    def chances(self) -> tuple[int, ...]:
        """Both chances less the price of the work, in steps that matter, the likelier first.

        What no road test of one sheet is likely to prove may still pass: then that chance alone decides.
        """
        return self._step(self.proven) if self.proven >= LIKELY else 0, self._step(self.probability)

    def _step(self, chance: float) -> int:
        if chance < LIKELY:
            return -int(chance >= MAY_PASS)
        return -max(round((min(chance, SURE_ENOUGH) - _WORTH_A_STEP * self.work) / SAME_CHANCE), 2)


def plans_of(
    judge: Judge,
    keep: Choice,
    lists: Mapping[str, Sequence[Choice]],
    *,
    may_keep: bool,
    before: StateBefore | None = None,
) -> list[Plan]:
    """Return every change worth thinking of, the best first: one of each kind, alone and with the needle set over.

    Parameters
    ----------
    keep
        Leaving everything as it is.
    lists
        The choices by kind.
    may_keep
        False where a road test has told that it cannot stay as it is.
    before
        What undoing the latest work leads back to.

    Returns
    -------
    list of Plan
        Empty where nothing is named that could be changed and the instrument is not right either.
    """
    undoing = _undoing(judge, before) if before is not None else []
    if undoing and before is not None:  # of which a drive of its own tells
        lists = {kind: [c for c in choices if not before.is_reached_by(c)] for kind, choices in lists.items()}
    candidates = [keep] if keep.is_fitted else []
    by_slope = list(candidates)  # with the needle set over, the slope is what a gear has to put right
    for choices in lists.values():
        real = [c for c in choices if c.can_be_fitted]
        if real:
            candidates.append(_likeliest(judge, real))
            by_slope.append(min(real, key=lambda c: abs(c.gain * judge.dial.line.error_factor - 1)))
    plans = [_plan(judge, choice) for choice in candidates if may_keep or choice.kind != "keep"]
    has_parts = any(plan.choice.kind != "keep" for plan in plans)
    if needle_is_off(judge) and (has_parts or is_mostly_needle(judge)):
        plans += _set_over(judge, by_slope)
    plans = [plan for plan in plans if not any(_spares_needle(other, plan) for other in plans)] + undoing
    if not has_parts and not any(plan.passes for plan in plans):
        return []
    plans = [plan for plan in plans if not _makes_worse(judge, keep, plan)]
    return _in_order([_nearer_to_true(judge, lists, plan) for plan in plans]) if plans else []


def _spares_needle(plan: Plan, other: Plan) -> bool:
    """Tell whether a plan is another without the needle, surely passes, and leaves no more than opening it is worth."""
    if plan.choice is not other.choice or plan.shift_mps or not other.shift_mps or plan.is_untouched:
        return False
    worth = WORTH_A_STEP_PERCENT * _WORK["needle"]
    return plan.probability >= SURE_ENOUGH and plan.worst_percent < other.worst_percent + worth


def _makes_worse(judge: Judge, keep: Choice, plan: Plan) -> bool:
    """Tell whether a plan likely fails, and by more than what is fitted does."""
    if plan.choice.kind in ("keep", "undo") or plan.probability >= LIKELY or not keep.is_fitted:
        return False
    return judge.expected_excess(plan.choice.gain, plan.shift_mps) >= judge.expected_excess(keep.gain)


def _undoing(judge: Judge, before: StateBefore) -> list[Plan]:
    """Return undoing the latest work where that likely passes by the drive before it, else with the needle set over."""
    choice = before.choice
    hides = _hides_needle(before.judge, 1.0, slope_now=judge.odometer.value)
    plans = [replace(_plan(before.judge, choice), hides_needle_percent=hides)]
    plans += _with_needle(before.judge, choice) if needle_is_off(before.judge) else []
    return [plan for plan in plans if plan.passes and plan.probability > LIKELY][:1]


def _in_order(plans: Sequence[Plan]) -> list[Plan]:
    """Return the plans by their chances; of those alike the lesser work, unless it leaves far more of the error.

    A gear that only hides a needle comes behind whatever does without and passes as likely; and what would pass with
    less work, but reads far off, behind what surely passes and leaves far less. No transmission is opened for what is
    done from outside as well.
    """
    sound = max((p.probability for p in plans if not p.hides_needle_percent and not p.is_untouched), default=0.0)
    likeliest = min(plan.chances for plan in plans)
    least = min(plan.worst_percent for plan in plans if plan.chances == likeliest)

    def rank(plan: Plan) -> tuple[object, ...]:
        hides = bool(plan.hides_needle_percent) and sound > min(plan.probability, SURE_ENOUGH) - SAME_CHANCE
        return hides, plan.chances, plan.worst_percent > least + WORTH_WORK_PERCENT, plan.work, plan.worst_percent

    ordered = sorted(plans, key=rank)
    worth = [plan for plan in ordered if _is_worth(plan, ordered[0]) and not rank(plan)[0]]
    ordered.sort(key=lambda plan: plan not in worth)
    best = ordered[0]
    if best.choice.kind in _OPENED:
        lesser = [plan for plan in ordered if _does_with_less(plan, best) and not rank(plan)[0]]
        lesser.sort(key=lambda plan: plan.choice.kind in _OPENED)
        ordered.sort(key=lambda plan: plan not in lesser[:1])
    return ordered


def _does_with_less(plan: Plan, best: Plan) -> bool:
    """Tell whether a plan is less work and passes well enough, or is no smaller a hope; a road test more is less work.

    From outside it may leave a little more than what a transmission is opened for.
    """
    if plan.work >= best.work or plan.is_untouched:
        return False
    if best.probability < LIKELY:
        return plan.probability >= best.probability
    saved = (plan.work + _ROAD_TEST_WORK) / (best.work + _ROAD_TEST_WORK)
    enough = min(best.probability - SAME_CHANCE, max(saved, LIKELY))
    more = 0.0 if plan.choice.kind in _OPENED else WORTH_WORK_PERCENT
    return plan.probability >= enough and plan.worst_percent <= best.worst_percent + more


def _is_worth(plan: Plan, least: Plan) -> bool:
    """Tell whether more work that surely passes too leaves so much less that it is done although less would do."""
    worth = max(WORTH_WORK_PERCENT, WORTH_A_STEP_PERCENT * (plan.work - least.work))
    return plan.probability >= SURE_ENOUGH and plan.cost_percent + worth < least.worst_percent


def _likeliest(judge: Judge, choices: Sequence[Choice]) -> Choice:
    """Return the choice that a road test will likeliest show to keep the rule; of those alike the smallest error."""
    most = max(choice.probability_passes for choice in choices)
    worth = [choice for choice in choices if choice.probability_passes > most - 0.5]
    proven = {id(c): min(judge.probability_proven(c.gain), SURE_ENOUGH) for c in worth}
    return min(worth, key=lambda c: (-round(proven[id(c)], 2), -round(c.probability_passes, 2), judge.loss(c.gain)))


def _nearer_to_true(judge: Judge, lists: Mapping[str, Sequence[Choice]], plan: Plan) -> Plan:
    """Return the plan with the gear of its kind that leaves least, among those that pass nearly surely or as likely.

    A gear far from the limits of a rule is proven by a short road test; what it leaves stays for good.
    """
    kind = plan.choice.kind
    if judge.limits is None or plan.shift_mps or kind in ("keep", "undo"):
        return plan
    least = min(SURE_ENOUGH, plan.probability - SAME_CHANCE)
    alike = [
        _plan(judge, choice)
        for choice in lists[LISTED.get(kind, kind)]
        if choice.can_be_fitted and choice.probability_passes >= least
    ]
    return min([plan, *alike], key=lambda p: p.cost_percent)


def _plan(judge: Judge, choice: Choice, shift_mps: float = 0.0) -> Plan:
    within = judge.probability_within(choice.gain, shift_mps)
    untouched = choice.kind == "keep" and not shift_mps  # the drive that was made is its road test
    return Plan(
        choice,
        shift_mps,
        within,
        within if untouched else judge.probability_proven(choice.gain, shift_mps),
        100 * judge.worst_error(choice.gain, shift_mps),
        judge.expected_within(choice.gain, shift_mps),
        0.0 if shift_mps or choice.kind == "keep" else _hides_needle(judge, choice.gain),
    )


def _hides_needle(judge: Judge, gain: float, *, slope_now: float | None = None) -> float:
    """Return how far off the drive would be that a gear sets against a needle which sits wrong; zero where it is not.

    The slope of the dial is that of the drive: a gear that makes it worse puts the odometer wrong, and errs at other
    speeds. [%]
    """
    slope = judge.odometer.value
    then, now = 100 * (gain * slope - 1), 100 * ((slope_now or slope) - 1)
    return then if needle_is_off(judge) and abs(then) > max(abs(now), judge.acceptable_percent) else 0.0


def _set_over(judge: Judge, choices: Sequence[Choice]) -> list[Plan]:
    """Return the choices with the needle set over; a gear beside it only where that leaves so much less.

    Where the needle alone is expected to pass, more of a margin to a limit is no reason to change the drive.
    """
    plans = [plan for choice in choices for plan in _with_needle(judge, choice)]
    alone = next((plan for plan in plans if plan.choice.kind == "keep" and plan.passes), None)
    if alone is None:
        return plans
    return [
        plan
        for plan in plans
        if plan is alone or plan.worst_percent + WORTH_A_STEP_PERCENT * (plan.work - alone.work) < alone.worst_percent
    ]


def _with_needle(judge: Judge, choice: Choice) -> list[Plan]:
    """Return the choice together with the needle set over, as far as is best for it."""
    shifts = shifts_of(judge)
    if not len(shifts):
        return []
    return [_plan(judge, choice, judge.best_shift(choice.gain, shifts))]
