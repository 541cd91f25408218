"""Many vehicles: their drives measured on this machine or on a cluster, and one list of those that are wrong.

The room is called as its function: ``speedcal.fleet("drives")`` is :func:`speedcal.fleet.fleet.fleet`.
"""

from __future__ import annotations

import sys
from types import ModuleType

from speedcal.fleet.fleet import fleet
from speedcal.fleet.result import FleetResult
from speedcal.fleet.rows import FleetRow

__all__ = ["FleetResult", "FleetRow", "fleet"]


class _Room(ModuleType):
    """A room that can be called, since Python puts it under the name of its function once it is imported."""

    __call__ = staticmethod(fleet)


sys.modules[__name__].__doc__ = fleet.__doc__
sys.modules[__name__].__class__ = _Room
