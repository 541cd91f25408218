"""Jobs of the same drive: what a process has calibrated once it does not calibrate again."""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy
from dataclasses import replace
from typing import Any
from unittest import mock

from speedcal import calibration
from speedcal.calibration.result import Calibration
from speedcal.errors import AlignmentError
from speedcal.jobs import measured_drive, pipeline
from speedcal.jobs.contents import Drive
from speedcal.logs import Readings, Track

_KEPT = 60


@contextmanager
def calibrated_once() -> Iterator[None]:
    """Give jobs the calibration they had of the same track and readings, told the same, by the same function.

    Half of what tests of whole jobs take is calibrating the drives of the demo. Readings that were refused as of
    another drive are refused again. What calibrates by itself is not touched.
    """
    kept: OrderedDict[tuple[Any, bytes], Calibration | AlignmentError] = OrderedDict()

    def calibrated(track: Track, readings: Readings, drive: Drive, **more: Any) -> Calibration:
        told = replace(drive, track=None, readings=None)  # where the files lie
        key = calibration.calibrate, pickle.dumps((track, readings, told, more))
        if key not in kept:
            try:
                kept[key] = measured_drive.calibrated(track, readings, drive, **more)
            except AlignmentError as refusal:
                kept[key] = refusal
            if len(kept) > _KEPT:
                kept.popitem(last=False)
        kept.move_to_end(key)
        found = kept[key]
        if isinstance(found, AlignmentError):
            raise copy(found)  # who passes it on adds what it was about
        return found

    with mock.patch.object(pipeline, "calibrated", calibrated):
        yield
