"""Jobs of the same drive: what a process has calibrated once it does not calibrate again."""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from unittest import mock

from speedcal import calibration
from speedcal.calibration.result import Calibration
from speedcal.jobs import measured_drive, pipeline
from speedcal.jobs.contents import Drive
from speedcal.logs import Readings, Track

_KEPT = 60


@contextmanager
def calibrated_once() -> Iterator[None]:
    """Give jobs the calibration they had of the same track and readings, told the same, by the same function.

    Half of what tests of whole jobs take is calibrating the drives of the demo. What calibrates by itself is not
    touched.
    """
    kept: OrderedDict[tuple[Any, bytes], Calibration] = OrderedDict()

    def calibrated(track: Track, readings: Readings, drive: Drive, **more: Any) -> Calibration:
        told = replace(drive, track=None, readings=None)  # where the files lie
        key = calibration.calibrate, pickle.dumps((track, readings, told, more))
        if key not in kept:
            kept[key] = measured_drive.calibrated(track, readings, drive, **more)
            if len(kept) > _KEPT:
                kept.popitem(last=False)
        kept.move_to_end(key)
        return kept[key]

    with mock.patch.object(pipeline, "calibrated", calibrated):
        yield
