"""The kinds of drive that are judged, as a table."""

from __future__ import annotations

from dataclasses import replace

from speedcal.simulate.model import DriveKind

_LOGGED = DriveKind(
    about="whole km/h logged at 1 Hz, clock within 45 s",
    readings="logged",
    unit="km/h",
    clock_range_s=45.0,
    sd_mps=0.0,
    time_sd_s=0.0,
    time_resolution_s=0.001,
)
_NOTED = DriveKind(about="about 22 whole mph noted by a passenger, clock within 25 s")

KINDS: dict[str, DriveKind] = {
    "logged": _LOGGED,
    "positions only": replace(_LOGGED, about="logged, the track without recorded speed", recorded_speed=False),
    "noted": _NOTED,
    "wrong readings": replace(_NOTED, about="noted, 12 % wrong: digits swapped or ten off", wrong_share=0.12),
    "zone unknown": replace(
        _NOTED, about="noted by a wall clock of any zone, no date", clock="time of day", past_midnight=0.3
    ),
    "needle offset": replace(_NOTED, about="noted, the needle 1 to 2.5 mph off", offset_mph=(1.0, 2.5)),
    "held speeds": replace(
        _NOTED, about="speeds held one after the other, no times", readings="held", clock="none", time_sd_s=0.0
    ),
    "odometer": replace(_NOTED, about="noted, with the odometer in tenths of a mile here and there", odometer=True),
    "gaps": replace(_LOGGED, about="logged, two to four tunnels", gaps=4),
    "whole minutes": replace(_NOTED, about="noted with the minute only", time_resolution_s=60.0),
    "elapsed": replace(_NOTED, about="noted by a stopwatch started at an unknown time", clock="elapsed"),
    "5-second sampling": replace(
        _LOGGED, about="one fix and one reading every 5 s", fix_interval_s=5.0, interval_s=5.0
    ),
    "5 Hz": replace(_LOGGED, about="fixes and readings at 5 Hz", fix_interval_s=0.2, interval_s=0.2),
    "mountain road": replace(
        _LOGGED, about="logged at 1500 m, grades up to 6 %, heights in the track", height_m=1500.0, hills_m=30.0
    ),
    "cruise control": replace(
        _LOGGED, about="logged, plateaus held to 0.05 m/s, so that a whole plateau rounds alike", wander_mps=0.05
    ),
}
"""The kinds of drive that the benchmark judges, by name."""
