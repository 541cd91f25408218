"""A shop that does what it is told: drives, follows the advice on a vehicle with one fault, and drives again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

import numpy as np
from benchmark.outside.clock import ClockStyle, draw_clock
from benchmark.outside.drive import Kind, Notes, OutsideDrive, Truth, generator, make_drive
from benchmark.outside.driver import HOLDING, STEP_S, drive_road
from benchmark.outside.faults import FAULTS, Rig, bench_set, faulty_rig, kind_of_drive
from benchmark.outside.receiver import ReceiverStyle, receive
from benchmark.outside.road import RoadStyle, draw_road
from benchmark.outside.wander import MPH
from benchmark.outside_score import in_memory

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.conformity import RoadTestPlan, Verification, pool
from speedcal.conformity.rules import load_tolerance
from speedcal.errors import AlignmentError, PlanError, SpeedcalError
from speedcal.vehicle import Vehicle, Work, correct
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.forward import with_needle_set
from speedcal.vehicle.train.parts import SETTING_POWER

RULE = "un_r39_type"
SPEED_LIMIT_MPH = 75.0
"""120 km/h, the highest test speed of the rule, may be driven."""
_FASTEST_MPS = 1.1 * SPEED_LIMIT_MPH * MPH
"""The driver keeps to the limit by the GPS, whatever the dial says."""
_MOST_ROUNDS, _MOST_STEPS = 4, 2
_ALTERNATIVE = "instead_of_the_first"


@dataclass(frozen=True)
class JobMark:
    """How one job went."""

    fault: str
    logged: bool
    seed: tuple[int, ...]
    kit: str
    truth: str
    """Class of the fault."""
    ranking: tuple[str, ...]
    """Classes as the diagnosis ranks them, ``healthy`` among them; a refusal for the readings' sake names these."""
    cause: str = ""
    refusal: str = ""
    steps: tuple[str, ...] = ()
    """What was done, in order."""
    missing_parts: tuple[str, ...] = ()
    """What was offered and is not in the vehicle."""
    verdict: str = ""
    final: str = ""
    """Verdict after the next step was followed, twice at the most."""
    notes: tuple[str, ...] = field(default=())

    @property
    def on_top(self) -> bool:
        """Whether the true class is on top."""
        return self.ranking[:1] == (self.truth,)

    @property
    def among_two(self) -> bool:
        """Whether it is among the first two classes."""
        return self.truth in [group for group in self.ranking if group != "healthy"][:2]


@dataclass
class _Shop:
    """One job while it is worked on."""

    rng: np.random.Generator
    rig: Rig
    vehicle: Vehicle
    kind: Kind
    steps: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    gain: float | None = 1.0
    """Change of the drive that was planned; None when the instrument was repaired."""
    kept: bool = False
    """Nothing was touched: the drive that was made is its road test."""
    needle_mph: float = 0.0
    """How far the needle was set over."""

    def drive(self) -> Calibration:
        drive = make_drive(self.kind, self.rng, self.rig.dial())
        return speedcal.calibrate(*in_memory(drive))


def mark_job(fault: str, seed: Sequence[int], *, logged: bool) -> JobMark:
    """Make one job, have it diagnosed, do what is recommended, and road-test it."""
    rng = generator(f"fault {fault} {logged}", tuple(seed))
    rig = faulty_rig(rng, fault)
    shop = _Shop(rng, rig, Vehicle.from_dict(rig.stated), kind_of_drive(rng, rig, logged=logged))
    base = JobMark(fault, logged, tuple(seed), rig.kit, FAULTS[fault][0], ())
    try:
        before = shop.drive()
    except SpeedcalError as error:
        loose = error.code == "loose_readings"  # it names the files, and then what turns the needle
        follow = loose or isinstance(error, AlignmentError) or error.code == "readings_do_not_follow"
        named = (("readings", "drivetrain") if loose else ("readings",)) if follow else ()
        base = replace(base, ranking=named, refusal=error.code)
        if not named or not (shop.rig.second or (loose and shop.rig.skips)):
            return base
        shop.steps.append("refused")
        shop.rig = shop.rig if shop.rig.second else replace(shop.rig, skips=0.0)
        before = _again(shop)
    else:
        found = correct(before, shop.vehicle, limits=load_tolerance(RULE, unit=before.unit).allowed).diagnosis
        assert found is not None
        groups = found.groups() | {"healthy": found.healthy}
        cause = found.top.code if found.top else "healthy"
        base = replace(base, ranking=tuple(sorted(groups, key=lambda g: -groups[g])), cause=cause)
    try:
        before = _follow(shop, before)
        verdict, final, notes = _road_test(shop, before)
    except SpeedcalError as error:
        verdict, final, notes = "refused", "refused", (error.code,)
    return replace(
        base, steps=tuple(shop.steps), missing_parts=tuple(shop.missing), verdict=verdict, final=final, notes=notes
    )


def _again(shop: _Shop, asked: Advice | None = None) -> Calibration:
    """Drive once more with the right files of the right instrument, by a log where a better drive is asked for."""
    if asked is not None and "too_uncertain" in asked.codes:
        shop.kind = kind_of_drive(shop.rng, shop.rig, logged=True)
    shop.rig = replace(shop.rig, second="")
    shop.kind = replace(shop.kind, second="")
    return shop.drive()


def _follow(shop: _Shop, before: Calibration) -> Calibration:
    """Do what is recommended, asking anew after every look at the vehicle; return the drive it rests on."""
    limits = load_tolerance(RULE, unit=before.unit).allowed
    for _ in range(_MOST_ROUNDS):
        advice = correct(before, shop.vehicle, limits=limits).advice
        shop.missing += [text for entry in advice if (text := _not_there(entry, shop.vehicle))]
        looks = [entry for entry in advice if entry.action == "check_count"]
        skipped = shop.rig.skips
        if any([_look(shop, entry) for entry in looks]):  # every look, then anew with what was found
            before = shop.drive() if skipped and not shop.rig.skips else before
            continue
        advice = [entry for entry in advice if entry not in looks]
        if not advice:
            return before
        first = advice[0]
        shop.steps.append(f"{first.action} {first.part or ''} {'' if first.value is None else first.value}".strip())
        match first.action:
            case "check_files" | "drive_again":
                before = _again(shop, first)
            case "set_unit":
                _change(shop, 1 / shop.rig.parts.get("unit", 1.0))
                for entry in _together(advice[1:]):
                    _do(shop, entry)
                return before
            case "repair_instrument" | "use_correction_card":
                shop.rig = replace(shop.rig, pointer=bench_set(shop.rng))
                shop.gain = None
                return before
            case "measure_fact" | "keep_as_is":
                shop.kept = first.action == "keep_as_is"
                return before
            case _:
                for entry in _together(advice):
                    _do(shop, entry)
                return before
    return before


def _together(advice: Sequence[Advice]) -> list[Advice]:
    """Return the first entry and what is to be done together with it."""
    found = list(advice[:1])
    for entry in advice[1:]:
        if "together_with" in entry.codes and _ALTERNATIVE not in entry.codes:
            found.append(entry)
    return found


def _look(shop: _Shop, entry: Advice) -> bool:
    """Look at what the advice asks about, and tell whether it is other than stated; that goes into the job."""
    part = entry.part or ""
    shop.steps.append(f"look at {part}")
    if part == "pulses":
        _change(shop, 1 / shop.rig.parts.get("pulses", 1.0))
        return False
    at_gear = part == "needle_drive" or (part == "driven_gear" and "housing_at_the_count" in entry.codes)
    if at_gear and shop.rig.skips:
        shop.rig = replace(shop.rig, skips=0.0)
        return True
    if part not in shop.rig.parts:
        return False
    shop.vehicle = replace(shop.vehicle, **{part: shop.rig.parts[part]})
    shop.rig = replace(shop.rig, parts={name: value for name, value in shop.rig.parts.items() if name != part})
    return True


def _do(shop: _Shop, entry: Advice) -> None:
    """Do one thing; a part replaces what is really there, whatever was thought to be there."""
    vehicle, really = shop.vehicle, shop.rig.parts
    value: Any = entry.value
    match entry.action:
        case "keep_as_is" | "turn_housing":
            return
        case "reseat_needle":
            pointer = shop.rig.pointer
            moved = value * (1.0 if entry.unit == "mph" else 1 / 1.609344)
            slip = 0.4 * shop.rng.standard_normal()  # nobody sets a needle exactly
            shop.rig = replace(shop.rig, pointer=replace(pointer, offset_mph=pointer.offset_mph + moved + slip))
            shop.needle_mph += moved
        case "fit_driven_gear":
            shop.rig = replace(shop.rig, parts={k: v for k, v in really.items() if k != "driven_gear"})
            _change(shop, really.get("driven_gear", vehicle.driven_gear) / value, planned=vehicle.driven_gear / value)
            shop.vehicle = replace(vehicle, driven_gear=value)
        case "fit_drive_gear":
            _change(shop, value / vehicle.drive_gear)
            shop.vehicle = replace(vehicle, drive_gear=value)
        case "fit_gear_pair":
            drive, driven = map(int, str(value).split("/"))
            ratio = drive / vehicle.drive_gear
            there = really.get("driven_gear", vehicle.driven_gear)
            _change(shop, ratio * there / driven, planned=ratio * vehicle.driven_gear / driven)
            shop.vehicle = replace(vehicle, drive_gear=drive, driven_gear=driven)
        case "fit_ratio_box":
            new, stated = Fraction(str(value)), vehicle.ratio_box or 1
            _change(shop, float(new / really.get("ratio_box", stated)), planned=float(new / stated))
            shop.vehicle = replace(vehicle, ratio_box=new)
        case "set_pulse_scaler":
            _change(shop, float(Fraction(str(value)) / (vehicle.pulse_scaler or 1)))
            shop.vehicle = replace(vehicle, pulse_scaler=Fraction(str(value)))
        case "set_module":
            (setting,) = [item for item in vehicle.settings if item.kind == entry.part]
            _change(shop, (value / setting.now) ** SETTING_POWER[setting.kind])
            shop.vehicle = replace(vehicle, settings=(replace(setting, now=value),))


def _change(shop: _Shop, gain: float, *, planned: float | None = -1.0) -> None:
    shop.rig = shop.rig.geared(gain)
    if shop.gain is not None:
        shop.gain = None if planned is None else shop.gain * (gain if planned < 0 else planned)


def _not_there(entry: Advice, vehicle: Vehicle) -> str:
    """Return what is wrong with a part that is offered; empty where the vehicle has it."""
    value: Any = entry.value
    there = {
        "fit_driven_gear": vehicle.driven_gear is not None,
        "fit_drive_gear": vehicle.drive_gear is not None,
        "fit_gear_pair": vehicle.drive_gear is not None and vehicle.driven_gear is not None,
        "fit_ratio_box": bool(vehicle.ratio_box_teeth),
        "set_pulse_scaler": vehicle.scaler_limits is not None,
        "set_module": any(item.kind == entry.part for item in vehicle.settings),
        "turn_housing": vehicle.family is not None and bool(vehicle.family.orientations),
    }.get(entry.action, True)
    if not there:
        return f"{entry.action} {value}"
    family = vehicle.family
    wrong = {
        "fit_driven_gear": lambda: family and family.has("driven_gear", value) is False,
        "fit_drive_gear": lambda: family and family.has("drive_gear", value) is False,
        "fit_ratio_box": lambda: not set(map(int, str(value).split("/"))) <= set(vehicle.ratio_box_teeth),
        "set_pulse_scaler": lambda: not _settable(str(value), vehicle),
        "set_module": lambda: not any(s.kind == entry.part and s.low <= value <= s.high for s in vehicle.settings),
    }.get(entry.action)
    return f"{entry.action} {value}" if wrong and wrong() else ""


def _settable(value: str, vehicle: Vehicle) -> bool:
    limits = vehicle.scaler_limits
    assert limits is not None
    if "/" not in value:
        return limits.decimals is not None
    top, _, bottom = value.partition("/")
    return int(top) <= limits.numerator_max and int(bottom) <= limits.denominator_max


def _road_test(shop: _Shop, before: Calibration) -> tuple[str, str, tuple[str, ...]]:
    """Drive what the plan asks for and judge it; follow the next step, twice at the most, while it is no pass."""
    if shop.kept and (verdict := speedcal.verify(None, before, RULE).verdict) == "pass":
        return verdict, verdict, ()
    result, after, known = _tested(shop, before)
    first, drives = result.verdict, [after]
    notes = tuple(f"{advice.action} {advice.part or ''}".strip() for advice in result.advice[:2])
    for _ in range(_MOST_STEPS):
        if result.verdict == "pass":
            break
        todo = [entry for entry in result.advice if entry.action != "check_count"]
        if todo and todo[0].action not in ("drive_again", "check_files", "measure_fact", "use_correction_card"):
            shop.gain, shop.needle_mph, before = 1.0, 0.0, drives[-1]
            for entry in _together(todo):
                _do(shop, entry)
            result, after, known = _tested(shop, before)
            drives = [after]
        else:
            drives.append(_tested(shop, before)[1])
            result = speedcal.verify(known, pool(drives), RULE, vehicle=shop.vehicle, work=shop.gain)
    return first, result.verdict, notes


def _tested(shop: _Shop, before: Calibration) -> tuple[Verification, Calibration, Calibration | None]:
    """Return verdict and calibration of one road test, and what was known before it."""
    known = None
    if shop.gain is not None:
        dial = with_needle_set(before.dial, Work(needle=shop.needle_mph or None), "mph")
        known = replace(before, dial=dial, unit="mph")
    try:
        asked = _sheet(shop, known)
    except PlanError:  # on a limit, as far as the drive before tells: the usual sheet, driven for what it shows
        asked = _sheet(shop, None)
    after = speedcal.calibrate(*in_memory(held_drive(shop.rng, shop.rig, asked)))
    return speedcal.verify(known, after, RULE, vehicle=shop.vehicle, work=shop.gain), after, known


def _sheet(shop: _Shop, known: Calibration | None) -> RoadTestPlan:
    return speedcal.plan(
        shop.vehicle,
        speed_limit=SPEED_LIMIT_MPH,
        unit="mph",
        tolerance=RULE,
        calibration=known,
        work=shop.gain if known is not None else None,
    )


def held_drive(rng: np.random.Generator, rig: Rig, asked: RoadTestPlan) -> OutsideDrive:
    """Return a road test: the needle held on each mark in turn, read as often as the plan asks."""
    dial, start = rig.dial(), 1.9e9 + float(rng.integers(0, 10_000_000))
    marks = np.array([hold.mark_mps for hold in asked.plateaus])
    speeds = dial.inverse(marks + 0.3 * MPH * rng.standard_normal(len(marks)))
    speeds = np.minimum(speeds, _FASTEST_MPS)
    legs = [(float(v), hold.hold_s + 25.0) for v, hold in zip(speeds, asked.plateaus, strict=True)]
    road = draw_road(rng, RoadStyle(radius_m=(900.0, 2500.0), stop_share=0.0), legs)
    motion = drive_road(rng, road, HOLDING, start)
    needle = dial.course(motion)
    looked: list[float] = []
    ends = np.concatenate(([0.0], road.leg_m))
    for begin, end, speed, hold in zip(ends[:-1], ends[1:], speeds, asked.plateaus, strict=True):
        here = (motion.place_m >= begin) & (motion.place_m <= end) & (np.abs(motion.speed_mps - speed) < 0.8)
        first = float(motion.time_s[here][0]) if here.any() else float(motion.time_s[motion.place_m >= begin][0])
        looked += [first + 10.0 + 10.0 * k for k in range(hold.readings)]
    when = np.clip(np.array(looked), motion.time_s[0], motion.time_s[-1] - STEP_S)
    seen = np.interp(when, motion.time_s, needle) + 0.5 * MPH * rng.standard_normal(len(when))
    clock = draw_clock(rng, ClockStyle("utc"), float(when[0]), float(when[-1]))
    stamps = np.round(clock.stamps(when + rng.uniform(0, 1.5) + rng.standard_normal(len(when))), 3)
    nothing = np.full(len(when), np.nan)
    value = np.round(np.maximum(seen, 0) / MPH)
    notes = Notes("utc", 1.0, stamps, value, "mph", nothing)
    truth = Truth(dial, clock.offset_s, when, motion.speed_at(when), np.zeros(len(when), bool), motion)
    return OutsideDrive(Kind("road test"), receive(rng, motion, road, ReceiverStyle()), notes, truth)
