"""A table of checks with its columns told apart, and the choice between what a column may mean."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from speedcal.errors import Problem, raise_problems
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray
from speedcal.logs import limits
from speedcal.logs.checks.columns import Column, Part
from speedcal.logs.drive.readings_built import at_line
from speedcal.logs.source import Source
from speedcal.logs.tables.handwriting import with_dittos
from speedcal.logs.tables.tabular import Table, uses_decimal_comma
from speedcal.logs.writing.numbers import Numbers, parse_numbers
from speedcal.units import SpeedUnit

PLAUSIBLE = (0.7, 1.4)
"""What a dial may show of the true speed where a unit has to be guessed; between miles and kilometres lie 1.61."""
_T = TypeVar("_T")


@dataclass(eq=False)
class CheckSheet:
    """A table of checks while it is read."""

    source: Source
    table: Table
    columns: list[Column]
    problems: list[Problem] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    _read: dict[int, Numbers] = field(default_factory=dict)

    @property
    def line(self) -> IntArray:
        """Line of the file each row stands in."""
        return np.asarray(self.table.line, np.int64)

    @property
    def nothing(self) -> FloatArray:
        """A column without values."""
        return np.full(len(self.table.rows), np.nan)

    def only(self, part: Part) -> Column | None:
        """Return the column of a part, None without one; several are refused."""
        found = [column for column in self.columns if column.part == part]
        if len(found) > 1:
            names = [column.name for column in found]
            self.source.fail("several_check_columns", line=self.table.header_line, what=part, columns=names)
        return found[0] if found else None

    def cells(self, column: Column) -> list[str]:
        """Return the cells of a column; a ditto mark repeats the cell above."""
        return with_dittos(self.table.column(column.index))

    def numbers(self, column: Column, *, grouped: bool = False) -> Numbers:
        """Return the numbers of a column; cells that are none become problems."""
        if column.index not in self._read:
            found = parse_numbers(self.cells(column), decimal_comma=uses_decimal_comma(self.table), grouped=grouped)
            self.problems += [at_line(problem, self.table.line[i]) for i, problem in found.problems]
            self._read[column.index] = found
        return self._read[column.index]

    def one_unit(self, column: Column, known: Callable[[str], object], stated: object = None) -> str | None:
        """Return the unit that stands behind the numbers of a column, None without one.

        Parameters
        ----------
        known
            What a word means, None where it is no unit of the quantity.
        stated
            The unit where header or user tell it, so that few cells need to.

        Raises
        ------
        ReadingsFormatError
            There are several, it is no unit of the quantity, or it stands behind few of them.
        """
        numbers = self.numbers(column)
        if len({known(word) for word in numbers.units}) > 1:
            self.source.fail("several_units", line=self.table.header_line, units=list(numbers.units))
        if numbers.units and known(numbers.units[0]) is None:
            self.source.fail("unknown_check_unit", line=self.table.header_line, found=numbers.units[0])
        if numbers.late is not None and not stated:
            line, unit = self.table.line[numbers.late], numbers.units[0]
            self.source.fail("column_without_unit", line=line, column=column.name, proposed=None, named=unit)
        return numbers.units[0] if numbers.units else None

    def refuse_impossible(self, speed_mps: FloatArray, unit: SpeedUnit) -> None:
        """Take the rows whose speed, shown or true, is none of a road vehicle under way."""
        for i in np.flatnonzero((speed_mps <= 0) | (speed_mps > limits.FASTEST_MPS)):
            speed = float(speed_mps[i])
            self.problems.append(Problem("impossible_speed", line=int(self.line[i]), speed_mps=speed, unit=unit))

    def refuse_problems(self) -> None:
        """Raise the error of every bad line, if there is one."""
        if self.problems:
            problems = sorted(self.problems, key=lambda item: item.line or 0)
            raise_problems(problems, source=self.source.name, kind=self.source.error)

    def settle(
        self, column: Column, meant: Sequence[tuple[str, FloatArray, _T]], shown: FloatArray, told: _T | None = None
    ) -> _T:
        """Return what a column means: the only way, the only one by which the dial would be plausible, or as told.

        Parameters
        ----------
        meant
            Name of each way, what is true by it, and what to return for it.
        shown
            What the instrument showed, in the unit of the truth.
        told
            What words say that may be of another column.

        Raises
        ------
        ReadingsFormatError
            Two ways are plausible, or none is, and nothing was told.
        """
        if len(meant) == 1:
            return meant[0][2]
        ratios = [_ratio(shown, true) for _, true, _ in meant]
        fits = [i for i, ratio in enumerate(ratios) if PLAUSIBLE[0] <= ratio <= PLAUSIBLE[1]]
        names = [name for name, _, _ in meant]
        if len(fits) != 1:
            if told is not None:
                return told
            self.refuse_problems()
            code = "check_unit_open" if fits else "check_implausible"
            self.source.fail(
                code,
                line=self.table.header_line,
                column=column.name,
                choices=[names[i] for i in fits] or names,
                ratios=[ratios[i] for i in fits] or ratios,
            )
        self.findings.append(Finding("check_unit_taken", column=column.name, taken=names[fits[0]]))
        return meant[fits[0]][2]


def _ratio(shown: FloatArray, true: FloatArray) -> float:
    known = np.isfinite(shown) & np.isfinite(true) & (true > 0)
    return float(np.median(shown[known] / true[known])) if known.any() else 0.0
