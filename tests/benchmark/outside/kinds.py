"""The kinds of drive, as a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from benchmark.outside.clock import ClockStyle
from benchmark.outside.dial import DialStyle
from benchmark.outside.drive import HeldStyle, Kind
from benchmark.outside.driver import CRUISE, HOLDING
from benchmark.outside.passenger import LoggerStyle, PassengerStyle
from benchmark.outside.receiver import ReceiverStyle
from benchmark.outside.road import RoadStyle
from benchmark.outside.wander import KMH, KNOT, MPH

_LOG = Kind("whole km/h logged at 1 Hz", reader=LoggerStyle(), clock=ClockStyle(off_s=40.0, step_s=0.001))
_NOTED = Kind("whole mph noted by a passenger")
_RIGHT = DialStyle(factor=(0.985, 1.015), offset_mph=(-0.4, 0.4))
_HIGH = DialStyle(factor=(1.02, 1.04), offset_mph=(0.0, 1.0), odometer=(0.998, 1.002))
_BENT = DialStyle(bend_mph=(1.5, 1.5))
_STEEP = RoadStyle(grade=0.12, hill_m=350.0)
_WINDING = RoadStyle(straight_m=150.0, radius_m=(50.0, 250.0))
_PHONE = ReceiverStyle(interval_s=(1.0, 3.0), jitter_s=0.25, stamp_step_s=1.0, position_m=4.0, static_hold=True)
_MPH_LOG = LoggerStyle(unit="mph")
_HELD = Kind("marks held one after the other, listed without times", reader=HeldStyle(), driver=HOLDING)


def _noted(about: str, **changes: object) -> Kind:
    return replace(_NOTED, about=about, **changes)  # type: ignore[arg-type]


def _logged(about: str, **changes: object) -> Kind:
    return replace(_LOG, about=about, **changes)  # type: ignore[arg-type]


_LOGS = {
    "log": _LOG,
    "log, both km/h": _logged(
        "track and log in whole km/h, dial nearly right", dial=_RIGHT, receiver=ReceiverStyle(speed_step_mps=KMH)
    ),
    "log, both mph": _logged(
        "track and log in whole mph, dial nearly right",
        dial=_RIGHT,
        receiver=ReceiverStyle(speed_step_mps=MPH),
        reader=_MPH_LOG,
    ),
    "log, track cut": _logged("recorded speed cut to whole km/h", receiver=ReceiverStyle(speed_step_mps=KMH, cut=True)),
    "log, track m/s": _logged("recorded speed in whole m/s", receiver=ReceiverStyle(speed_step_mps=1.0)),
    "log, track knots": _logged("recorded speed in whole knots", receiver=ReceiverStyle(speed_step_mps=KNOT)),
    "log, cut": _logged(
        "a log that cuts to whole mph", reader=LoggerStyle(unit="mph", down=True), told={"rounding": "down"}
    ),
    "log, spikes": _logged("one row in a hundred is 0 or 255", reader=LoggerStyle(spikes=0.01)),
    "log, part": _logged("a log of half of the drive", reader=LoggerStyle(part=0.5)),
    "cruise": _logged("cruise control, whole km/h", driver=CRUISE),
    "cruise, mph": _logged("cruise control, whole mph on a road with few speeds", driver=CRUISE, reader=_MPH_LOG),
    "receiver smooths": _logged("recorded speed smoothed by 2 s", receiver=ReceiverStyle(smoothing_s=2.0)),
    "phone smooths": _logged(
        "recorded speed smoothed by 4 s and held at rest, whole km/h",
        receiver=ReceiverStyle(smoothing_s=4.0, static_hold=True, speed_step_mps=KMH),
    ),
    "needle damped": _logged("needle damped by 1.5 s", dial=DialStyle(damping_s=(1.5, 1.5))),
    "drift": _logged("clock drifts 1 s in 10 min", clock=ClockStyle(off_s=40.0, drift=1 / 600, step_s=0.001)),
    "log, phone": _logged("phone fixes every 1 to 3 s, whole-second stamps", receiver=_PHONE),
    "log, bent": _logged("dial bent by 1.5 mph in the middle", dial=_BENT),
    "log, ends": _logged("a scale from 20 to 50 mph, pinned beyond", dial=DialStyle(ends_mph=(20.0, 50.0))),
    "log, 10 Hz": _logged("logged at 10 Hz", reader=LoggerStyle(hertz=(10.0, 10.0))),
    "positions": _logged("positions only, every second", receiver=ReceiverStyle(recorded=False)),
    "sparse": _logged(
        "positions only, every 2 to 10 s, on a winding road",
        receiver=ReceiverStyle(recorded=False, interval_s=(2.0, 10.0)),
        road=_WINDING,
    ),
    "late stamps": _logged(
        "positions only, every 1 to 3 s, stamped in whole seconds", receiver=replace(_PHONE, recorded=False)
    ),
    "track thinned": _logged(
        "positions only, fixes within 5 m of the line left out", receiver=ReceiverStyle(recorded=False, thinned_m=5.0)
    ),
    "steep": _logged("grades up to 12 %, no heights", road=_STEEP, told={"terrain": "mountainous"}),
    "steep, heights": _logged("the same with heights", road=_STEEP, receiver=ReceiverStyle(heights="good")),
    "steep, bad heights": _logged("the same with poor heights", road=_STEEP, receiver=ReceiverStyle(heights="poor")),
    "log, canyons": _logged("a quarter of the way between high walls", receiver=ReceiverStyle(canyon_share=0.25)),
    "log, tunnels": _logged("tunnels, positions held at rest", receiver=ReceiverStyle(tunnels=4, static_hold=True)),
}
_NOTES = {
    "notes": _NOTED,
    "notes, km/h": _noted("whole km/h", reader=PassengerStyle(unit="km/h", eye_mph=0.6)),
    "notes, 12 % wrong": _noted("12 % wrong", reader=PassengerStyle(wrong_share=0.12)),
    "notes, 30 % wrong": _noted("30 % wrong", reader=PassengerStyle(wrong_share=0.3)),
    "whole minutes": _noted("the minute only", clock=ClockStyle(step_s=60.0)),
    "zone unknown": _noted("a wall clock of any zone, no date", clock=ClockStyle("time of day")),
    "stopwatch": _noted("elapsed times from an unknown start", clock=ClockStyle("elapsed")),
    "few notes": _noted(
        "eight to ten notes, any zone", reader=PassengerStyle(count=(8, 10)), clock=ClockStyle("time of day")
    ),
    "fives down": _noted(
        "multiples of 5 downwards", reader=PassengerStyle(step=5.0, down=True), told={"rounding": "down"}
    ),
    "fives by GPS": _noted(
        "multiples of 5 at fives held by GPS", reader=PassengerStyle(step=5.0, steady_share=1.0), driver=HOLDING
    ),
    "from the side": _noted(
        "seen from the side, 1 to 2 mph off", reader=PassengerStyle(side_mph=(1.0, 2.0)), told={"read_from": "side"}
    ),
    "clusters": _noted("three to five notes at one go", reader=PassengerStyle(count=(20, 32), cluster=(3, 5))),
    "notes, bent": _noted("dial bent by 1.5 mph in the middle", dial=_BENT),
    "notes, high": _noted("dial 2 to 4 % high by design, odometer right", dial=_HIGH, odometer_notes=True),
    "notes, offset": _noted("needle 1 to 2.5 mph off", dial=DialStyle(offset_mph=(1.0, 2.5))),
    "notes, needle wrong": _noted("needle 3 to 8 mph off", dial=DialStyle(offset_mph=(3.0, 8.0))),
    "notes, play": _noted("play of 0.8 mph either way", dial=DialStyle(play_mph=0.8)),
    "notes, sticking": _noted("a needle that sticks", dial=DialStyle(sticking_mph=1.2)),
    "notes, digital": _noted(
        "digital display that cuts",
        reader=PassengerStyle(eye_mph=0.0, down=True),
        told={"rounding": "down", "read_from": "logged"},
    ),
    "two passengers": _noted("two people, two watches, one of them from the side", second="two passengers"),
    "notes, phone": _noted("phone fixes every 1 to 3 s", receiver=_PHONE),
    "notes, late stamps": _noted(
        "positions only, every 1 to 3 s, stamped in whole seconds", receiver=replace(_PHONE, recorded=False)
    ),
    "notes, canyons": _noted("a third of the way between high walls", receiver=ReceiverStyle(canyon_share=0.33)),
    "notes, track thinned": _noted(
        "positions only, fixes within 5 m of the line left out", receiver=ReceiverStyle(recorded=False, thinned_m=5.0)
    ),
    "notes, steep": _noted("grades up to 12 %, no heights", road=_STEEP, told={"terrain": "mountainous"}),
}
_LISTS = {
    "held": _HELD,
    "held, gaps and extras": replace(
        _HELD, about="holds that are not listed, marks that were not held", reader=HeldStyle(missed=2, extra=1)
    ),
    "held, repeats": replace(_HELD, about="most holds listed more than once", reader=HeldStyle(repeats=(1, 3))),
}
_FOREIGN = {
    "two dials": _noted("readings of two dials in one file", answer=False, weak=True, second="two dials"),
    "convoy": _noted("readings from the car behind, right only for its own dial", weak=True, second="convoy"),
    "convoy, log": _logged("the log of the car behind, right only for its own dial", weak=True, second="convoy"),
    "log of two dials": _logged(
        "a part reads 2.5 to 6 % otherwise: slip, another tire", answer=False, weak=True, second="another part"
    ),
    "same road": _noted("notes of the same road on another day", answer=False, second="same road"),
    "other drive": _noted("notes of another drive", answer=False, second="other drive"),
    "other drive, minutes": _noted(
        "notes of another drive, the minute only", answer=False, second="other drive", clock=ClockStyle(step_s=60.0)
    ),
    "other drive, stopwatch": _noted(
        "notes of another drive, elapsed times", answer=False, second="other drive", clock=ClockStyle("elapsed")
    ),
    "other log": _logged("the log of another drive", answer=False, second="other drive"),
    "shuffled": _noted("its own notes in another order", answer=False, second="shuffled"),
    "walk": _noted("the track of a walk", answer=False, second="other drive", track="walk"),
    "parked": _noted("the track of a parked truck", answer=False, second="other drive", track="parked"),
}


def _everyday_dial(rng: np.random.Generator) -> DialStyle:
    return DialStyle(
        factor=(0.93, 1.1),
        offset_mph=(-0.8, 1.2),
        bend_mph=(0.0, 0.7),
        damping_s=(0.2, 0.8),
        play_mph=rng.uniform(0, 0.3),
    )


def _everyday_receiver(rng: np.random.Generator) -> ReceiverStyle:
    step = rng.choice((0.01, 0.01, 0.1, KMH))
    return ReceiverStyle(
        interval_s=(1.0, rng.choice((1.0, 1.0, 2.0))),
        jitter_s=rng.uniform(0.01, 0.15),
        stamp_step_s=rng.choice((0.001, 1.0)),
        smoothing_s=rng.uniform(0, 0.8),
        speed_step_mps=step,
        canyon_share=rng.choice((0.0, 0.05)),
        static_hold=bool(rng.integers(2)),
        tunnels=int(rng.integers(3)),
        heights=rng.choice(("none", "good", "poor")),
        recorded=bool(rng.random() < 0.85),
    )


def _everyday_notes(rng: np.random.Generator) -> Kind:
    return Kind(
        "a bit of everything, noted",
        road=RoadStyle(grade=rng.uniform(0.005, 0.03), straight_m=rng.uniform(250, 900)),
        receiver=_everyday_receiver(rng),
        dial=_everyday_dial(rng),
        reader=PassengerStyle(
            count=(12, 26),
            eye_mph=rng.uniform(0.3, 0.8),
            hand_s=rng.uniform(0.5, 1.5),
            wrong_share=rng.choice((0.0, 0.05, 0.1)),
            side_mph=(0.0, 0.3),
            cluster=(1, int(rng.integers(1, 4))),
        ),
        clock=ClockStyle(rng.choice(("utc", "local", "time of day")), drift=rng.uniform(0, 2e-4)),
    )


def _everyday_log(rng: np.random.Generator) -> Kind:
    return Kind(
        "a bit of everything, logged",
        road=RoadStyle(grade=rng.uniform(0.005, 0.03), straight_m=rng.uniform(250, 900)),
        driver=CRUISE if rng.random() < 0.25 else Kind("").driver,
        receiver=_everyday_receiver(rng),
        dial=_everyday_dial(rng),
        reader=LoggerStyle(
            hertz=(1.0, rng.choice((1.0, 2.0, 5.0))), unit=rng.choice(("km/h", "mph")), lost_rows=rng.uniform(0, 0.02)
        ),
        clock=ClockStyle(rng.choice(("utc", "elapsed")), drift=rng.uniform(0, 5e-4), step_s=rng.choice((0.001, 0.1))),
    )


def _everyday_held(rng: np.random.Generator) -> Kind:
    return replace(
        _HELD,
        about="a bit of everything, held",
        receiver=_everyday_receiver(rng),
        dial=_everyday_dial(rng),
        reader=HeldStyle(missed=1, held_mph=rng.uniform(0.2, 0.6)),
    )


_MIXED: dict[str, Callable[[np.random.Generator], Kind]] = {
    "everyday notes": _everyday_notes,
    "everyday log": _everyday_log,
    "everyday held": _everyday_held,
}

KINDS: dict[str, Kind | Callable[[np.random.Generator], Kind]] = {**_LOGS, **_NOTES, **_LISTS, **_MIXED, **_FOREIGN}
"""The kinds by name; a mixed kind draws its parts anew for every drive."""
GROUPS = {"logs": tuple(_LOGS), "notes": tuple(_NOTES), "held": tuple(_LISTS), "everyday": tuple(_MIXED)}
"""Kinds with an answer, of one sort each."""
