"""What is marked as fitted follows the work, for every kind of part."""

from __future__ import annotations

from typing import Any

import pytest
from support.calibrations import make_calibration

from speedcal.vehicle import Vehicle, Work, correct
from speedcal.vehicle.corrections import Corrections

FACTS = {
    "driven_gear": 20,
    "drive_gear": 8,
    "gear_family": {
        "name": "shelf",
        "driven": {"teeth": "17-25", "source": "counted", "status": "measured"},
        "drive": {"teeth": "6-10", "source": "counted", "status": "measured"},
    },
    "ratio_box_teeth": "17-24",
    "settings": {"turns_per_mile": {"now": 700, "step": 1}},
}


def fitted(found: Corrections) -> dict[str, list[Any]]:
    """Return what is marked as fitted, by kind of part."""
    return {
        kind: [choice.to_dict() for choice in choices if choice.is_fitted]
        for kind, choices in {**found.lists(), "keep": (found.keep,)}.items()
    }


@pytest.fixture(scope="module")
def found() -> Corrections:
    """Return what a dial 5 % high asks for."""
    return correct(make_calibration(factor=1.05, u_factor=0.002, u_offset=0.1), Vehicle.from_dict(FACTS))


def test_before_the_work_the_vehicle_is_what_is_fitted(found: Corrections) -> None:
    """Also after work that changes nothing."""
    for state in (found, found.after(Work.from_dict({"note": "cleaned"}), is_driven=False)):
        told = fitted(state)
        assert [choice["teeth"] for choice in told["driven_gear"] + told["drive_gear"]] == [20, 8]
        assert len(told["keep"]) == 1


@pytest.mark.parametrize(
    ("work", "driven", "drive"),
    [
        ({"driven_gear": 21}, [21], [8]),
        ({"drive_gear": 7}, [20], [7]),
        ({"driven_gear": 21, "drive_gear": 7}, [21], [7]),
    ],
)
def test_after_the_work_the_new_part_is_fitted(
    found: Corrections, work: dict[str, int], driven: list[int], drive: list[int]
) -> None:
    """And the old one is not; what was left alone stays. Leaving everything alone is no longer what is fitted."""
    told = fitted(found.after(Work.from_dict(work), is_driven=False))
    assert [choice["teeth"] for choice in told["driven_gear"]] == driven
    assert [choice["teeth"] for choice in told["drive_gear"]] == drive
    assert told["keep"] == []


def test_a_pair_a_box_and_a_number_are_marked_too(found: Corrections) -> None:
    """Each by what it is made of."""
    pair, box, number = (found.lists()[kind][0].to_dict() for kind in ("pairs", "ratio_box", "settings"))
    work = {
        "drive_gear": pair["drive_gear"],
        "driven_gear": pair["driven_gear"],
        "ratio_box": box["ratio"],
        "settings": {number["setting"]: number["value"]},
    }
    told = fitted(found.after(Work.from_dict(work), is_driven=False))
    assert [(p["drive_gear"], p["driven_gear"]) for p in told["pairs"]] == [(pair["drive_gear"], pair["driven_gear"])]
    assert [b["ratio"] for b in told["ratio_box"]] == [box["ratio"]]
    assert [n["value"] for n in told["settings"]] == [number["value"]]
