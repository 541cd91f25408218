"""The form of a job: which fields it has, how a text becomes a value of the job file, and back."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

Kind = Literal["text", "number", "whole", "ratio", "speeds", "settings", "choice", "flag", "long"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field: a key of a table of the job file, or of several that exclude each other."""

    table: str
    key: str
    label: str
    kind: Kind = "text"
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    keys: tuple[tuple[str, str], ...] = ()
    """Keys of which one carries the value, with the word for each; ``key`` is then a name for the form only."""

    @property
    def id(self) -> str:
        """Name of the field in the form."""
        return f"{self.table}.{self.key}"


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under one heading; ``more`` groups are folded away until somebody needs them."""

    title: str
    fields: tuple[Field, ...]
    more: bool = False
    hint: str = ""


_EXPECTED = (
    ("turns_per_mile", "turns per mile"),
    ("turns_per_km", "turns per km"),
    ("pulses_per_mile", "pulses per mile"),
    ("pulses_per_km", "pulses per km"),
)
_SENSORS = (("", "as usual"), *((word, word) for word in ("driven gear", "output shaft", "driveshaft", "wheel")))
_CRITERIA = (("", "smallest worst error"), ("never reads low", "never reads low"), ("odometer first", "odometer first"))


def _families() -> tuple[tuple[str, str], ...]:
    names = sorted(f.name for f in resources.files("speedcal").joinpath("data/gear_families").iterdir())
    found = []
    for name in (name for name in names if name.endswith(".toml")):
        table = tomllib.loads(resources.files("speedcal").joinpath(f"data/gear_families/{name}").read_text("utf-8"))
        found.append((str(table["name"]), str(table.get("title", table["name"]))))
    return (("", "any number of teeth"), *found)


def _rules() -> tuple[tuple[str, str], ...]:
    data = tomllib.loads(resources.files("speedcal").joinpath("data/tolerances.toml").read_text("utf-8"))
    rules = [
        (n, str(t["title"]), str(t["status"])) for n, t in data.items() if "title" in t and t["quantity"] == "speed"
    ]
    named = [(name, f"{title}{' (from memory)' if status == 'from memory' else ''}") for name, title, status in rules]
    return (("", "no tolerance yet"), *named, ("own", "a rule of our own, below"))


@lru_cache(maxsize=1)
def groups() -> tuple[Group, ...]:
    """Return the form, in the order it is filled in."""
    expects_hint = "With a cable often 1000 turns per mile"
    speeds_hint = "In the unit of the dial, such as 30 50 70; empty takes those of the rule"
    gears_hint = "As counted on the gear; leave empty what you do not know"
    return (
        Group(
            "The job",
            (
                Field("job", "number", "Job number"),
                Field("job", "customer", "Customer"),
                Field("job", "shop", "Shop, as it stands on the report"),
                Field("job", "unit", "Unit of the dial", "choice", choices=(("mph", "mph"), ("km/h", "km/h"))),
                Field("job", "note", "Note", "long"),
            ),
        ),
        Group(
            "The vehicle during the drive before",
            (
                Field("vehicle", "label", "Vehicle", hint="What you call it; it stands on the report"),
                Field("vehicle", "tire", "Tire fitted now", hint="As on the sidewall, such as 265/70R17"),
                Field("vehicle", "tire_before", "Tire it was built with"),
                Field("vehicle", "axle", "Axle ratio", "ratio", hint="Teeth such as 41/11 say more than 3.73"),
                Field("vehicle", "drive_gear", "Drive gear, teeth", "whole", hint=gears_hint),
                Field("vehicle", "driven_gear", "Driven gear, teeth", "whole"),
                Field(
                    "vehicle", "expects", "The instrument expects", "number", expects_hint, keys=_EXPECTED
                ),
                Field("vehicle", "gear_family", "Gears to choose from", "choice", choices=_families()),
            ),
        ),
        Group("More about the vehicle", _more_fields(), more=True, hint="Only what applies; the job works without."),
        Group(
            "What was done",
            (
                Field("work", "driven_gear", "New driven gear, teeth", "whole"),
                Field("work", "drive_gear", "New drive gear, teeth", "whole"),
                Field("work", "pulse_scaler", "Pulse scaler set to", "ratio"),
                Field("work", "ratio_box", "Ratio box fitted", "ratio"),
                Field("work", "tire", "New tire"),
                Field("work", "axle", "New axle ratio", "ratio"),
                Field("work", "settings", "Module settings", "settings", "One a line, such as circumference_mm = 2450"),
                Field("work", "note", "What was done, in words", "long"),
                Field("work", "date", "Date of the work", hint="Such as 2026-05-04"),
                Field("work", "odometer", "Odometer at the work", "number"),
                Field("work", "odometer_now", "Odometer now", "number"),
            ),
            hint="The drive after is held against what this should have changed.",
        ),
        Group(
            "The tolerance",
            (
                Field("tolerance", "rule", "Rule", "choice", choices=_rules()),
                Field("tolerance", "speeds", "Speeds that matter", "speeds", speeds_hint),
            ),
        ),
        Group("A rule of our own, and figures some rules need", _rule_fields(), more=True),
    )  # fmt: skip


def _more_fields() -> tuple[Field, ...]:
    turns = (("tire_turns_per_mile", "turns per mile"), ("tire_turns_per_km", "turns per km"))
    distance = (("rolled_distance_m", "m"), ("rolled_distance_in", "in"))
    return (
        Field("vehicle", "tire_turns", "Tire maker's figure", "number", keys=turns),
        Field(
            "vehicle", "rolled_turns", "Roll-out: turns of the wheel", "number", "Chalk mark to chalk mark, tire loaded"
        ),
        Field("vehicle", "rolled_distance", "Roll-out: distance", "number", keys=distance),
        Field("vehicle", "tread_mm", "Tread depth, mm", "number"),
        Field("vehicle", "tire_other_side", "Tire on the other side, where it differs"),
        Field("vehicle", "second_tire", "Second set of tires, where one is driven too"),
        Field("vehicle", "second_axle", "Axle ratio in the other range", "ratio", "Two-speed axles"),
        Field("vehicle", "transfer_ratio", "Transfer ratio before the drive gear", "ratio"),
        Field("vehicle", "second_transfer_ratio", "Transfer ratio in the other range", "ratio"),
        Field("vehicle", "tachograph", "A tachograph or sealed limiter hangs on the drive", "flag"),
        Field("vehicle", "ratio_box", "Ratio box fitted, turns out per turn in", "ratio"),
        Field("vehicle", "ratio_box_teeth", "Teeth a ratio box can have", "text", "Such as 16-24"),
        Field("vehicle", "pulses_per_turn", "Pulses of the sensor per turn", "number"),
        Field("vehicle", "sensor", "The sensor sits on", "choice", choices=_SENSORS),
        Field("vehicle", "pulse_scaler", "Pulse scaler fitted, out per in", "ratio"),
        Field("vehicle", "scaler_numerator_max", "Scaler: largest numerator", "whole"),
        Field("vehicle", "scaler_denominator_max", "Scaler: largest denominator", "whole"),
        Field("vehicle", "scaler_decimals", "Scaler: decimals", "whole"),
        Field("vehicle", "settings", "Module settings now", "settings", "One a line, such as circumference_mm = 2400"),
        Field("vehicle", "criterion", "Choose by", "choice", choices=_CRITERIA),
        Field("vehicle", "acceptable_percent", "Worst error that counts as right, %", "number"),
    )


def _rule_fields() -> tuple[Field, ...]:
    return (
        Field("tolerance", "high_percent", "May read high by, %", "number"),
        Field("tolerance", "high_absolute", "and by, in the unit of the dial", "number"),
        Field("tolerance", "low_percent", "May read low by, %", "number"),
        Field("tolerance", "low_absolute", "and by, in the unit of the dial", "number", "Percent and amount are added"),
        Field("tolerance", "never_low", "Must never read low", "flag"),
        Field("tolerance", "max_speed", "Design maximum speed of the vehicle", "number"),
        Field("tolerance", "full_scale", "Top of the dial", "number"),
    )


def in_words_of_the_form(text: str) -> str:
    """Return a sentence of the analysis with the keys of the job file replaced by the labels of the form."""
    labels = {f.key: f.label for group in groups() for f in group.fields if "_" in f.key}
    return re.sub(
        r"[a-z]+(?:_[a-z]+)+", lambda found: f"“{labels[found[0]]}”" if found[0] in labels else found[0], text
    )


_RULE_ONLY = ("rule", "max_speed", "full_scale")
_OWN_ONLY = ("high_percent", "high_absolute", "low_percent", "low_absolute", "never_low")


def read_form(values: Mapping[str, str], kept: Mapping[str, Any]) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """Turn the fields of the form into the tables of a job file.

    Parameters
    ----------
    values
        What was typed, by field id; for a field with several keys ``<id>.key`` names the one that is meant.
    kept
        The job as it was: what the form has no field for stays.

    Returns
    -------
    tuple
        The tables, and what is wrong by field id.
    """
    fields = [f for group in groups() for f in group.fields]
    document = {name: dict(table) for name, table in kept.items()}
    problems: dict[str, str] = {}
    for f in fields:
        table = document.setdefault(f.table, {})
        names = (f.key, *(key for key, _ in f.keys))
        before = [table.pop(name, None) for name in names]
        nested = {k: v for k, v in before[0].items() if _is_nested(f, v)} if isinstance(before[0], Mapping) else {}
        text = values.get(f.id, "").strip()
        key = values.get(f"{f.id}.key", "")
        key = key if key in names[1:] else names[1] if f.keys else f.key
        try:
            if text and nested:
                table[key] = {**nested, **_value(f, text)}
            elif text or nested:
                table[key] = nested or _value(f, text)
        except ValueError as error:
            problems[f.id] = str(error)
    if document["tolerance"].get("rule") == "own" and not set(document["tolerance"]) & set(_OWN_ONLY):
        problems["tolerance.rule"] = "a rule of our own needs at least one figure further down"
    _settle_rule(document["tolerance"])
    return {name: table for name, table in document.items() if table}, problems


def _is_nested(f: Field, value: Any) -> bool:
    """Tell whether a part of a table has no place in the form and stays as it came with an import."""
    return f.kind != "settings" or isinstance(value, Mapping)


def _settle_rule(table: dict[str, Any]) -> None:
    """Keep the keys that belong together: those of a named rule, or those of a rule of one's own."""
    rule = table.get("rule")
    if rule == "own":
        drop: tuple[str, ...] = _RULE_ONLY
    elif rule:
        drop = _OWN_ONLY
    else:
        drop = (*_RULE_ONLY, *_OWN_ONLY, "speeds")
    for key in drop:
        table.pop(key, None)


def show_form(document: Mapping[str, Any]) -> dict[str, str]:
    """Return the texts that fill the form for a job."""
    texts: dict[str, str] = {}
    for f in (f for group in groups() for f in group.fields):
        table = document.get(f.table, {})
        key = next((k for k, _ in f.keys if k in table), f.key)
        if key in table and (f.kind == "settings" or not isinstance(table[key], Mapping)):
            texts[f.id] = _text(table[key])
            texts[f"{f.id}.key"] = key
    if document.get("tolerance") and "rule" not in document["tolerance"]:
        texts["tolerance.rule"] = "own"
    return texts


def _value(f: Field, text: str) -> Any:
    if f.kind in ("number", "whole"):
        return _number(text, whole=f.kind == "whole")
    if f.kind == "ratio":
        return _number(text) if re.fullmatch(r"\d+([.,]\d+)?", text) else text
    if f.kind == "speeds":
        return [_number(word) for word in re.split(r"[\s;]+|,\s+", text) if word]
    if f.kind == "settings":
        return dict(_setting(line) for line in text.splitlines() if line.strip())
    if f.kind == "choice" and text not in [value for value, _ in f.choices]:
        raise ValueError("choose one of the list")
    return True if f.kind == "flag" else text


def _number(text: str, *, whole: bool = False) -> float | int:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not a number") from None
    if not abs(number) < 1e9:
        raise ValueError(f"{text[:40]!r} is out of reach")
    if number == int(number):
        return int(number)
    if whole:
        raise ValueError(f"{text[:40]!r} is not a whole number")
    return number


def _setting(line: str) -> tuple[str, float | int]:
    name, found, value = line.partition("=")
    if not found:
        raise ValueError(f"{line.strip()[:40]!r} should be written as name = number")
    return name.strip(), _number(value.strip())


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, list):
        return " ".join(_text(v) for v in value)
    if isinstance(value, Mapping):
        return "\n".join(f"{key} = {_text(v)}" for key, v in value.items() if not isinstance(v, Mapping))
    return f"{value:.12g}" if isinstance(value, float) else str(value)
