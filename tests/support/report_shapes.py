"""Every shape a report can have: full, missing parts, long names, foreign scripts, many readings, several drives."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any
from unittest import mock

from support.report_cases import make_calibration, make_facts

from speedcal.calibration.result import Calibration
from speedcal.conformity import history, load_tolerance, verify
from speedcal.finding import Finding, Trust
from speedcal.report import DriveFacts, Pictures, ReportFacts, ReportModel, build_model, charts, draw_pictures
from speedcal.vehicle import Vehicle, Work, correct
from speedcal.vehicle.diagnosed.explanations import explain

LONG = "Extraordinarily-Long-Workshop-Name without Mercy & Sons, Speedometers, Tachographs and Taximeters (invented) "
HEBREW = "מוסך הצפון (מומצא) 42"
ARABIC = "ورشة الشمال للعدادات 42"
CHINESE = "虚构速度表维修车间 第四十二号"
HOSTILE = '<script>alert(1)</script> $\\frac{1}{2}$ & "quotes" {{ 7*7 }} \u202egnp.exe'


def full() -> ReportFacts:
    """Return a job that has every part."""
    vehicle = Vehicle.from_dict(
        {
            "label": "Brindlewood half-ton pickup (invented)",
            "tire": "P225/70R16",
            "axle": "41/11",
            "driven_gear": 20,
            "drive_gear": 8,
            "turns_per_mile": 1000,
            "gear_family": "indexed housing",
        }
    )
    tolerance = load_tolerance("un_r39_type", unit="mph")
    facts = make_facts(vehicle=vehicle, tolerance=tolerance, note="returned with a new cable (invented)")
    assert facts.before is not None
    assert facts.after is not None
    return replace(
        facts,
        corrections=correct(facts.before, vehicle),
        explanations=explain(facts.before, vehicle),
        verification=verify(facts.before, facts.after, tolerance, vehicle=vehicle, work=facts.work),
    )


@lru_cache(maxsize=1)
def shapes() -> dict[str, ReportFacts]:
    """Return the shapes by name."""
    everything = full()
    before, after = everything.drives
    crowd = make_calibration(1.096, count=200, wrong=40)
    pages_of_findings = tuple(Finding("clock_local", zone_s=3600 * (i % 12), slow_s=i + 1) for i in range(30))
    wordy = replace(
        crowd,
        findings=pages_of_findings,
        trust=Trust(
            "WEAK",
            (
                Finding("many_wrong", wrong=40, total=200),
                *(Finding("wide_interval", at_mps=float(v), half_width_mps=1.0, unit="mph") for v in range(12, 30, 3)),
            ),
        ),
        odometer_factor=None,
    )
    changed = Work(driven_gear=24)
    tolerance = everything.tolerance
    assert tolerance is not None
    assert everything.before is not None
    assert everything.after is not None
    disagreeing = verify(everything.before, everything.after, tolerance, vehicle=everything.vehicle, work=changed)
    names = {
        "long": LONG * 3,
        "unbroken": "W" * 300,
        "hebrew": HEBREW,
        "arabic": ARABIC,
        "chinese": CHINESE * 4,
        "hostile": HOSTILE,
        "devanagari": "काल्पनिक कार्यशाला",
    }
    return {
        "full": everything,
        "before only": replace(everything, after=None, drives=(before,), verification=None, work=None),
        "after only": replace(everything, before=None, drives=(after,), corrections=None, work=None),
        "bare": make_facts(shop="", number="", customer="", work=None, files=(), vehicle=None),
        "kilometres": make_facts(unit="km/h"),
        "held": make_facts(
            before=make_calibration(held=True), drives=(DriveFacts("before", make_calibration(held=True)), after)
        ),
        "no date": replace(everything, drives=(replace(before, has_date=False), replace(after, has_date=False))),
        "200 readings": replace(everything, before=wordy, drives=(DriveFacts("before", wordy), after)),
        "disagreeing": replace(everything, verification=disagreeing, work=changed),
        "several drives": replace(
            everything,
            drives=tuple(replace(d, name=f"{d.name} {i}") for d in everything.drives for i in (1, 2)),
            histories=tuple((d.name, history([d.calibration] * 2)) for d in everything.drives),
        ),
        "many files": replace(everything, files=tuple((f"{LONG}{i}.gpx", "ab" * 32) for i in range(12))),
        "note": replace(everything, note=LONG * 6, work=Work(driven_gear=22, note=LONG * 6)),
        **{
            name: replace(everything, shop=text, number=text, customer=text, note=text, files=((text, "ab" * 32),))
            for name, text in names.items()
        },
        "long vehicle": replace(
            everything, vehicle=Vehicle.from_dict({"label": LONG * 2, "driven_gear": 20}), number="J" * 80
        ),
    }


_DRAWN: dict[tuple[int, ...], Pictures] = {}
_MATCHES: dict[tuple[object, ...], bytes] = {}
_draw_match = charts.clock_match_svg


def _match_once(calibration: Calibration, **look: Any) -> bytes:
    """Return the clock match of a drive, which most shapes share with others; :func:`shapes` keeps every drive."""
    key = (id(calibration), *look.values())
    if key not in _MATCHES:
        _MATCHES[key] = _draw_match(calibration, **look)
    return _MATCHES[key]


@lru_cache(maxsize=32)
def drawn(name: str) -> tuple[ReportModel, Pictures]:
    """Return the model of a shape and its pictures; shapes of the same drives share them, drawing takes longest."""
    facts = shapes()[name]
    model = build_model(facts)
    key = (id(facts.tolerance), *(id(drive.calibration) for drive in facts.drives))
    if key not in _DRAWN:
        with mock.patch.object(charts, "clock_match_svg", _match_once):
            _DRAWN[key] = draw_pictures(model)
    return model, _DRAWN[key]
