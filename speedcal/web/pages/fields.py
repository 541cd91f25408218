"""The form of a job: which fields it has, how a text becomes a value of the job file, and back."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from speedcal.errors import Problem
from speedcal.statements import Key, Kind, OneOf, Table, stated
from speedcal.text.pages.page_labels import CHOICES
from speedcal.web.figures import AmbiguousError, Decimal, decimal_mark, number_in
from speedcal.web.typed import listed


@dataclass(frozen=True, slots=True)
class Field:
    """One field: a key of a table of the job file, or of several that exclude each other."""

    table: str
    key: str
    label: str
    kind: Kind
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    keys: tuple[tuple[str, str], ...] = ()
    """Keys of which one carries the value, with the unit of each; ``key`` is then a name for the form only."""
    long: bool = False
    in_unit_of_dial: str = ""
    """``speed`` or ``distance`` where the number is in the unit of the dial."""

    @property
    def id(self) -> str:
        """Name of the field in the form."""
        return f"{self.table}.{self.key}"

    @property
    def names(self) -> tuple[str, ...]:
        """The keys of the table that the field fills."""
        return tuple(key for key, _ in self.keys) or (self.key,)


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under one heading; ``more`` groups are folded away until somebody needs them."""

    title: str
    fields: tuple[Field, ...]
    more: bool = False
    hint: str = ""


TABLES = ("job", "vehicle", "work", "tolerance")
"""Tables of a job file that the form fills; ``before`` and ``after`` are the drives."""
OWN_RULE = "own"
"""What stands in the field of the rule for a rule of your own."""


@cache
def groups() -> tuple[Group, ...]:
    """Return the form, in the order it is filled in."""
    return tuple(group for name in TABLES for group in _groups_of(stated(name)) if group.fields)


def fields() -> Iterator[Field]:
    """Yield every field of the form."""
    return (f for group in groups() for f in group.fields)


def field_of(table: str, key: str) -> str:
    """Return the id of the field that fills a key; a table in a table belongs to the field of the whole."""
    outer, _, inner = table.partition(".")
    key = inner.partition(".")[0] or key
    return next((f.id for f in fields() if f.table == outer and key in f.names), f"{table}.{key}")


def _groups_of(table: Table) -> tuple[Group, Group]:
    plain, more = (tuple(_fields_of(table, more=folded)) for folded in (False, True))
    return Group(table.title, plain, hint=table.hint), Group(table.more_title, more, True, table.more_hint)


def _fields_of(table: Table, *, more: bool) -> Iterator[Field]:
    seen = set()
    for key in table.keys.values():
        stated_by: Key | OneOf = table.one_of.get(key.one_of, key)
        if not stated_by.label or stated_by.more != more or (key.one_of and key.one_of in seen):
            continue
        if key.one_of:
            seen.add(key.one_of)
            keys = tuple((k.name, k.unit) for k in table.keys.values() if k.one_of == key.one_of)
            yield Field(table.name, key.one_of, stated_by.label, key.kind, stated_by.hint, keys=keys)
        else:
            yield Field(table.name, key.name, key.label, key.kind, key.hint, _choices(key), (), key.long, _of_dial(key))


def _of_dial(key: Key) -> str:
    if key.kind == "speeds" or key.unit == "dial":
        return "speed"
    return "distance" if key.unit == "odometer" else ""


def _choices(key: Key) -> tuple[tuple[str, str], ...]:
    if (key.table, key.name) == ("tolerance", "rule"):
        return (("", CHOICES["no_rule"]), *_rules(), (OWN_RULE, CHOICES["own_rule"]))
    if key.kind == "family":
        return (("", CHOICES["no_family"]), *_families())
    if key.kind == "dial unit":
        return (("mph", "mph"), ("km/h", "km/h"))
    if key.kind == "word":
        return (("", key.empty), *((word, word) for word in key.words if word != key.empty))
    return ()


def _families() -> Iterator[tuple[str, str]]:
    from speedcal.vehicle.data import shipped_families

    return ((name, str(table.get("title", name))) for name, table in shipped_families().items())


def _rules() -> Iterator[tuple[str, str]]:
    from speedcal.vehicle.data import facts

    for name, table in facts("tolerances").items():
        if "quantity" in table:  # beside the classes of speeds
            unsure = f" ({CHOICES['not_verified']})" if table["status"] == "from memory" else ""
            yield name, f"{table['title']}{unsure}"


def read_form(
    values: Mapping[str, str], kept: Mapping[str, Any]
) -> tuple[dict[str, dict[str, Any]], dict[str, Problem]]:
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
    document = {name: dict(table) for name, table in kept.items()}
    problems: dict[str, Problem] = {}
    decimal = decimal_mark(values.get(f.id, "") for f in fields() if f.kind in ("number", "whole", "ratio"))
    for f in fields():
        table = document.setdefault(f.table, {})
        before = [table.pop(name, None) for name in (f.key, *f.names)]
        nested = _nested(f, before[0])
        text = values.get(f.id, "").strip()
        key = values.get(f"{f.id}.key", "")
        key = key if key in f.names else f.names[0]
        try:
            if text or nested:
                table[key] = _value(f, text, decimal) if text else nested
        except _NotReadError as error:
            problems[f.id] = error.problem
    rule = document["tolerance"]
    if rule.get("rule") == OWN_RULE and not set(rule) & _keys_of_part(OWN_RULE):
        problems["tolerance.rule"] = Problem("own_rule_without_figures")
    of_others = _settle_rule(rule)
    if any(value != kept.get("tolerance", {}).get(key) for key, value in of_others.items()):  # not left from before
        problems["tolerance.rule"] = Problem("figures_of_another_rule")
    return {name: table for name, table in document.items() if table}, problems


class _NotReadError(Exception):
    def __init__(self, code: str, **values: Any) -> None:
        self.problem = Problem(code, **values)
        super().__init__(code)


def _nested(f: Field, before: Any) -> dict[str, Any]:
    """Return the part of a table that has no place in the form and stays as it came with an import."""
    return dict(before) if f.kind == "family" and isinstance(before, Mapping) else {}


def _keys_of_part(part: str) -> set[str]:
    return {key.name for key in stated("tolerance").keys.values() if key.part == part}


def _settle_rule(table: dict[str, Any]) -> dict[str, Any]:
    """Keep the keys that belong together: those of a named rule, or those of your own; return the figures taken out."""
    own, named = _keys_of_part(OWN_RULE), _keys_of_part("named")
    rule = table.get("rule")
    others = named if rule == OWN_RULE else own if rule else set(stated("tolerance").keys)
    taken = {key: table.pop(key) for key in others & set(table)}
    taken.pop("rule", None)
    return taken


def show_form(document: Mapping[str, Any]) -> dict[str, str]:
    """Return the texts that fill the form for a job."""
    texts: dict[str, str] = {}
    for f in fields():
        table = document.get(f.table, {})
        key = next((k for k, _ in f.keys if k in table), f.key)
        if key in table and (f.kind == "table" or not isinstance(table[key], Mapping)):
            texts[f.id] = _text(table[key])
            texts[f"{f.id}.key"] = key
    if document.get("tolerance") and "rule" not in document["tolerance"]:
        texts["tolerance.rule"] = OWN_RULE
    return texts


def _value(f: Field, text: str, decimal: Decimal | None) -> Any:
    if f.kind in ("number", "whole"):
        return _number(text, decimal)
    if f.kind == "ratio":
        return _number(text, decimal) if re.fullmatch(r"[\d.,]+", text) else text
    if f.kind == "speeds":
        return [_number(word) for word in listed(text)]
    if f.kind == "table":
        return dict(_setting(line, decimal) for line in text.splitlines() if line.strip())
    if f.choices and text not in [value for value, _ in f.choices]:
        raise _NotReadError("choose_one_of_the_list")
    return True if f.kind == "flag" else text


def _number(text: str, decimal: Decimal | None = None) -> float | int:
    try:
        number = number_in(text, decimal)
    except AmbiguousError:
        raise _NotReadError("comma_unclear", found=text) from None
    except ValueError:
        raise _NotReadError("not_a_number", found=text) from None
    if not abs(number) < 1e9:
        raise _NotReadError("number_out_of_reach", found=text)
    return number


def _setting(line: str, decimal: Decimal | None) -> tuple[str, Any]:
    """Return a setting by name: its number, or a table where the line says too what the module takes."""
    name, found, figures = line.partition("=")
    if not found:
        raise _NotReadError("setting_not_read", found=line.strip())
    keys = stated("setting").keys
    now, *takes = re.split(rf"[\s,;]*\b({'|'.join(keys)})\b", figures)
    told = {"now": now} if now.strip() or not takes else {}
    told |= dict(zip(takes[::2], takes[1::2], strict=True))
    read = {
        key: [_number(word) for word in listed(text)] if keys[key].kind == "numbers" else _number(text.strip(), decimal)
        for key, text in told.items()
    }
    return name.strip(), read["now"] if set(read) == {"now"} else read


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, list):
        return " ".join(_text(v) for v in value)
    if isinstance(value, Mapping):
        return "\n".join(f"{key} = {_setting_text(v)}" for key, v in value.items())
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _setting_text(value: Any) -> str:
    if not isinstance(value, Mapping):
        return _text(value)
    first = sorted(value.items(), key=lambda part: part[0] != "now")
    return ", ".join(_text(v) if key == "now" else f"{key} {_text(v)}" for key, v in first)
