"""Regular expressions that are compiled late do what compiled ones do."""

from __future__ import annotations

import re

import pytest

from speedcal.logs.writing.patterns import late_pattern

pytestmark = pytest.mark.quick

_TEXT = "at 45 MPH, then 50 mph"


def test_it_does_what_a_compiled_one_does() -> None:
    now, late = re.compile(r"(\d+) mph", re.IGNORECASE), late_pattern(r"(\d+) mph", re.IGNORECASE)
    for _ in range(2):  # at its first use, and after it
        assert late.findall(_TEXT) == now.findall(_TEXT) == ["45", "50"]
        assert [found.span() for found in late.finditer(_TEXT)] == [found.span() for found in now.finditer(_TEXT)]
        assert late.split(_TEXT) == now.split(_TEXT)
        assert late.sub(r"\1 km/h", _TEXT, count=1) == now.sub(r"\1 km/h", _TEXT, count=1)
        for found in (late.match(_TEXT, 3), late.search(_TEXT)):
            assert found
            assert found.span() == (3, 9)
        assert late.match(_TEXT) is late.fullmatch(_TEXT) is None
        assert late.pattern == now.pattern
        assert late.groups == now.groups


def test_nothing_is_compiled_before_it_is_used() -> None:
    broken = late_pattern("(")
    with pytest.raises(re.error):
        broken.search(_TEXT)
