"""What the command prints of a calibration, and its uncertainty budget as a table."""

from __future__ import annotations

from speedcal.calibration.result import ANOTHER_DAY, Calibration
from speedcal.interval import COVERAGE_FACTOR, Interval
from speedcal.text.messages import label
from speedcal.text.words.numbers import counted, zone_and_rest
from speedcal.units import SPEED_UNIT_MPS


def clock_shift(shift_s: Interval) -> str:
    """Say a clock offset as people do: hours and minutes of the zone, and seconds."""
    zone, rest_s = zone_and_rest(shift_s.value)
    away_s = rest_s - shift_s.value
    rest = Interval(rest_s, shift_s.low + away_s, shift_s.high + away_s)
    return f"{zone}{rest.to_decimals(1)} s"


def summary(calibration: Calibration) -> str:
    """Return the answer in a few lines: trust, factor, offset, and what the dial shows at round speeds."""
    unit, factor = calibration.unit, SPEED_UNIT_MPS[calibration.unit]
    used, total = calibration.counts()
    offset = calibration.offset_mps.scaled(1 / factor).to_decimals(1)
    lines = [
        f"{calibration.trust}",
        f"error factor  {calibration.error_factor.to_decimals(3)}",
        f"needle offset {offset} {unit}",
        f"checks        {used} of {total} used"
        if calibration.speed_source == "checks"
        else f"readings      {used} of {total} used, in {counted(calibration.steady_runs, 'steady run')}",
    ]
    if calibration.clock_offset_s:
        lines.append(f"clock offset  {clock_shift(calibration.clock_offset_s)} (reading clock + this = GPS clock)")
    if calibration.odometer_factor:
        lines.append(f"odometer      {calibration.odometer_factor.to_decimals(3)}")
    lines += [
        f"at a true {row['ground']:g} {unit} it shows {row['indicated']:.1f} "
        f"({row['ground'] + row['low']:.1f} to {row['ground'] + row['high']:.1f})"
        for row in calibration.error_table()
    ]
    lines += [f"also: {reason.text}" for reason in calibration.trust.reasons[1:]]
    return "\n".join([*lines, *(f"note: {finding.text}" for finding in calibration.findings)])


def budget_text(calibration: Calibration) -> str:
    """Return the uncertainty budget as a table for people, at the reference speed."""
    unit, factor = calibration.unit, SPEED_UNIT_MPS[calibration.unit]
    at = calibration.reference_speed_mps
    u = float(calibration.u_indicated(at)) / factor
    rows = [f"uncertainty at a true {at / factor:.0f} {unit}, standard (k = 1)"]
    for line in calibration.budget:
        share = (
            "a usual size, not verified; not in the range of this drive"
            if line.component == ANOTHER_DAY
            else f"{100 * line.share:3.0f} %"
        )
        size = f"{line.u_indicated_mps / factor:7.3f} {unit}"
        rows.append(f"  {label(line.component):<28} type {line.evaluation}  {size}  {share}")
    k = COVERAGE_FACTOR
    return "\n".join([*rows, f"  combined {u:.3f} {unit}, expanded {k * u:.3f} {unit} (k = {k:.2f}, 95 %)"])
