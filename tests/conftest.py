"""What holds for all tests."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave long statistical runs out unless a marker expression asks for them."""
    if config.getoption("-m"):
        return
    long = [item for item in items if item.get_closest_marker("benchmark")]
    if long:
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
