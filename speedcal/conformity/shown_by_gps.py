"""Logs that may be of GPS speed: a pass on such a log would be one of the receiver, and not of the dial."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.calibration.judged.noticed import READS_AS_GPS, is_of_log
from speedcal.calibration.tuning.general import AS_GPS_WITHIN

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.finding import Finding


def as_gps(after: Calibration, before: Calibration | None) -> tuple[Finding, ...]:
    """Return that the log shows what GPS shows, unless the log before answers it: that one showed the dial's error."""
    if before is not None and _is_of_the_dial(before):
        return ()
    return tuple(found for found in after.findings if found.code == READS_AS_GPS)[:1]


def open_findings(drive: Calibration, before: Calibration | None) -> tuple[Finding, ...]:
    """Return what was found in a drive without what the drive before answers."""
    still = as_gps(drive, before)
    return tuple(found for found in drive.findings if found.code != READS_AS_GPS or still)


def _is_of_the_dial(drive: Calibration) -> bool:
    """Tell whether this is a log that GPS cannot have written: it shows more, or less, than was driven."""
    factor = drive.error_factor
    is_off = factor.low > 1 + AS_GPS_WITHIN or factor.high < 1 - AS_GPS_WITHIN
    return is_off and is_of_log(drive)
