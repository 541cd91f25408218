"""Tables of a job file, read and checked by the statements of their keys."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from speedcal.errors import Problem, SpeedcalError, raise_problems
from speedcal.kinds import READ, RefusedError
from speedcal.statements import Key, not_a_key, stated, tables_with


class TableReader:
    """Reads a table that a person wrote by its statement, and collects what is wrong with it.

    Parameters
    ----------
    table
        Names and values as parsed; a value of None is as good as absent.
    statement
        Name of the statement, such as ``vehicle``.
    part
        Which of its parts the table is, where there are several.
    where
        What the table is called in a file; its statement's name without it, empty at the top of a file.

    Attributes
    ----------
    values
        The usable values by key; a text that is empty is left out.
    problems
        What cannot be used, in the order of the table.
    """

    def __init__(self, table: Mapping[str, Any], statement: str, *, part: str = "", where: str | None = None) -> None:
        self.table, self.where = table, statement if where is None else where
        self.keys = {key.name: key for key in stated(statement).part(part)}
        every = stated(statement).keys
        self.values: dict[str, Any] = {}
        self.problems: list[Problem] = []
        for name, value in table.items():
            if name not in self.keys:
                known = not_a_key(name, self.keys if name in every else every)
                self.problems.append(Problem("unknown_key", table=self.where, belongs=tables_with(name), **known))
            elif value is not None:  # numbers and arrays of numpy and pandas are taken as Python's own
                self._read(self.keys[name], value.tolist() if hasattr(value, "tolist") else value)
        self._check_one_of()
        for key in self.keys.values():
            if key.needed and table.get(key.name) in (None, ""):
                self.problem("key_missing", key.name)

    def _read(self, key: Key, value: Any) -> None:
        try:
            read = READ[key.kind](value, key)
        except RefusedError as refused:
            self.problem(refused.code, key.name, **{"found": value, **refused.values})
        else:
            if read != "":
                self.values[key.name] = read

    def _check_one_of(self) -> None:
        groups: dict[str, list[str]] = {}
        for name in self.values:
            if self.keys[name].one_of:
                groups.setdefault(self.keys[name].one_of, []).append(name)
        for names in groups.values():
            if len(names) > 1:
                self.problem("said_twice", names[1], keys=names)

    def problem(self, code: str, key: str, /, **values: Any) -> None:
        """Note that the value of a key cannot be used."""
        self.problems.append(Problem(code, table=self.where, key=key, **values))

    def get(self, key: str, default: Any = None) -> Any:
        """Return the usable value of a key."""
        return self.values.get(key, default)

    def one_of(self, group: str) -> tuple[str, float] | None:
        """Return the name and the value of the one key of a group that is given, or None."""
        return next(((name, value) for name, value in self.values.items() if self.keys[name].one_of == group), None)

    def take(self, key: str, read: Callable[[Any], Any]) -> Any:
        """Return the value of a key as a room reads it further, or None; what that room refuses is noted here."""
        if key not in self.values:
            return None
        try:
            return read(self.values[key])
        except SpeedcalError as error:
            for problem in error.problems or [Problem(error.code, **error.values)]:
                is_placed = "table" in problem.values  # in a table of its own within this one
                self.problems.append(
                    problem if is_placed else Problem(problem.code, table=self.where, key=key, **problem.values)
                )
            return None

    def finish(self, *, source: str, kind: type[SpeedcalError]) -> None:
        """Raise one error with every problem found; does nothing when there is none."""
        if self.problems:
            raise_problems(self.problems, source=source, kind=kind)
