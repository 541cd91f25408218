"""What a machine may lack: a visible skip on a laptop, a failure where everything has to be there."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def missing(what: str) -> NoReturn:
    """Skip the test, or fail it where ``SPEEDCAL_CI=1`` wants every test to run."""
    if os.environ.get("SPEEDCAL_CI") == "1":
        pytest.fail(f"{what} is missing, and SPEEDCAL_CI=1 wants every test to run")
    pytest.skip(f"{what} is not installed")
