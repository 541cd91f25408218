"""Every public name says what it is, in which units, what it raises, and shows itself at work."""

from __future__ import annotations

import dataclasses
import doctest
import inspect
import re

import pytest
from support.documents import ROOT

import speedcal

FUNCTIONS = [name for name in speedcal.__all__ if inspect.isfunction(getattr(speedcal, name))]


@pytest.mark.parametrize("name", speedcal.__all__)
def test_the_example_of_a_public_name_runs(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a copy of the project, since the examples use its demo."""
    monkeypatch.chdir(ROOT)
    thing = getattr(speedcal, name)
    text = inspect.getdoc(thing)
    assert text is not None
    example = doctest.DocTestParser().get_doctest(text, {}, name, None, None)
    assert example.examples, "no example"
    told: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    runner.run(example, out=told.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(told)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_names_its_parameters_its_errors_and_its_result(name: str) -> None:
    """Each parameter and each error stands in the text; the result is typed."""
    function = getattr(speedcal, name)
    text = inspect.getdoc(function) or ""
    parameters = text.partition("Parameters\n----------")[2].partition("\nRaises\n")[0]
    for parameter in inspect.signature(function).parameters:
        assert re.search(rf"(^|, ){parameter}(,|$)", parameters, re.MULTILINE), parameter
    assert re.search(r"Raises\n------\n\w+Error", text)
    assert "return" in function.__annotations__


@pytest.mark.parametrize("name", ["Track", "Readings", "Calibration", "Tolerance"])
def test_fields_that_are_numbers_carry_their_unit(name: str) -> None:
    """By the ending of their name; what is a share, a count or a factor is described."""
    fields = dataclasses.fields(getattr(speedcal, name))
    units = ("_s", "_deg", "_m", "_mps", "factor", "segment", "line", "covariance", "steady_runs", "confidence")
    numbers = ("float", "FloatArray", "IntArray", "Interval", "Interval | None", "tuple[float, ...]")
    plain = [field.name for field in fields if field.type in numbers]
    assert plain
    assert not [field for field in plain if not field.endswith(units)]


@pytest.mark.parametrize("name", ["calibrate", "verify"])
def test_what_rests_on_a_publication_names_it(name: str) -> None:
    """The method and the decision rule are not ours."""
    assert "References\n----------\n.. [1]" in (inspect.getdoc(getattr(speedcal, name)) or "")
