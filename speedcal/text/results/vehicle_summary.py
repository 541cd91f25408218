"""What the command prints of a vehicle, its work, its tires, its axle and its gear train."""

from __future__ import annotations

from speedcal.interval import tidy
from speedcal.text.messages import label
from speedcal.text.words.numbers import likely, rolled
from speedcal.text.words.parts import part_name, part_value, setting_name
from speedcal.text.words.sources import status_in_short
from speedcal.units import INCH_M, MILE_M
from speedcal.vehicle.data import facts
from speedcal.vehicle.drivetrain import Determination, EffectiveTire, Link
from speedcal.vehicle.tires.rolling_circumference import RolledTire
from speedcal.vehicle.train.axle_ratio import AxleEstimate, PairChance
from speedcal.vehicle.vehicle import Vehicle, Work

COUNTING_CAUTIONS = (
    "Wheels off the ground: only on rated stands on level, firm ground, never on a jack alone.",
    "Chock the wheels that stay down, take the key out, put the gearbox in neutral and release the parking brake "
    "only when the vehicle stands safely.",
    "Turn the wheels by hand; never run the engine or stand near a driveline that another person could start.",
    "With a locked or limited-slip differential turn both wheels together; holding one wheel gives a wrong count.",
    "Local rules and licensed practice come first.",
)
"""What to say before anybody counts turns."""

_PARTS = ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "tire", "axle")


def summary(result: object) -> str:
    """Return the few lines of a result of this room."""
    writer = _WRITERS[type(result).__name__]
    return writer(result)  # type: ignore[no-any-return, operator]


def _vehicle(vehicle: Vehicle) -> str:
    known = [vehicle.label or "vehicle"]
    names = ("tire", "axle", "drive_gear", "driven_gear")
    known += [f"{part_name(name)} {value}" for name in names if (value := getattr(vehicle, name))]
    return ", ".join(known)


def work_words(work: Work, unit: str | None = None) -> str:
    """Say what was changed; a needle in the unit of the dial where that is known."""
    values = ((name, getattr(work, name)) for name in _PARTS)
    done = [f"{part_name(name)} {part_value(value)}" for name, value in values if value is not None]
    done += [setting_name(item.kind, item.now) for item in work.settings if item.now is not None]
    if work.needle is not None:
        far = f"{abs(round(work.needle, 1)):g} {unit or ''}".strip()
        done.append(f"needle set {far} {'lower' if work.needle < 0 else 'higher'}")
    done += [f"sensor of {work.pulses_per_turn:g} pulses per turn"] if work.pulses_per_turn is not None else []
    done += ["ratio box turned the right way around"] if work.ratio_box_turned else []
    done += ["instrument repaired"] if work.instrument_repaired else []
    return ", ".join(done) or "nothing changed"


def _rolled(rolled: RolledTire) -> str:
    c = rolled.circumference_m
    return (
        f"rolls {1000 * c.value:.0f} mm per turn ({1000 * c.low:.0f} to {1000 * c.high:.0f}), "
        f"{MILE_M / c.value:.0f} turns per mile"
    )


def link_text(link: Link, unit: str | None = None) -> str:
    """Return what is known of a link of the chain, in the unit of the reader, or in both where it is not known."""
    if link.name == "instrument":
        what = "pulses" if link.counts_pulses else "turns"
        lengths = [(MILE_M, "mile")] if unit == "mph" else [(1000, "km")] if unit else [(MILE_M, "mile"), (1000, "km")]
        if link.value is None:
            return f"? {what}/{lengths[0][1]}"
        return ", ".join(f"{tidy(link.value * length, 1):g} {what}/{name}" for length, name in lengths)
    if link.name == "tire" and link.value is not None:
        return rolled(link.value, unit)
    shown = "?" if link.value is None else link.printed or f"{link.value:g}"
    return shown + {"sensor": " pulses/turn", "driven_gear": " teeth", "drive_gear": " teeth"}.get(link.name, "")


def _determination(told: Determination) -> str:
    chain = " - ".join(f"{part_name(link.name)} {link_text(link)}" for link in told.links)
    if told.value is not None and told.determined is not None:
        return f"{chain}\nthe drive determines the {part_name(told.determined)}: {told.value}"
    if not told.unknown:
        return f"{chain}\nevery link is known; the drive checks the whole chain"
    return f"{chain}\ndriving alone cannot tell these apart: {', '.join(part_name(name) for name in told.unknown)}"


def effective_text(tire: EffectiveTire, unit: str | None) -> str:
    """Return the effective tire in the words of the reader's trade."""
    c = tire.circumference_m
    if unit == "mph":
        turns = f"{MILE_M / c.value:.1f} turns per mile ({MILE_M / c.high:.1f} to {MILE_M / c.low:.1f})"
        return f"effective tire: rolls {c.value / INCH_M:.2f} inches per turn, {turns}, {tire.basis.text}"
    return (
        f"effective tire: rolls {1000 * c.value:.0f} mm per turn ({1000 * c.low:.0f} to {1000 * c.high:.0f}), "
        f"{tire.basis.text}"
    )


def pair_text(pair: PairChance) -> str:
    """Return a ring-and-pinion pair with its chance."""
    return f"{float(pair.ratio):.3f} ({pair.ring}/{pair.pinion}), {likely(pair.probability)}"


def _axle(estimate: AxleEstimate) -> str:
    lines = [f"axle ratio {estimate.ratio}, by {label(estimate.method)}"]
    lines += [f"  {pair_text(pair)}" for pair in estimate.pairs] or [
        "  no ring-and-pinion pair that we know lies in this range"
    ]
    table = facts("axle_gears")
    lines.append(f"pairs looked through: {table['source']} ({status_in_short(table['status'])})")
    if estimate.turns_to_separate is not None:
        lines.append(
            f"to tell the first two apart: {estimate.turns_to_separate} turns of both wheels together, "
            f"or {2 * estimate.turns_to_separate} of one wheel with the other held"
        )
    return "\n".join([*lines, *(f"note: {finding.text}" for finding in estimate.findings)])


_WRITERS = {
    "Vehicle": _vehicle,
    "Work": work_words,
    "RolledTire": _rolled,
    "Determination": _determination,
    "EffectiveTire": lambda tire: effective_text(tire, None),
    "AxleEstimate": _axle,
}
