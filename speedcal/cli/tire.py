"""``speedcal tire``: what a tire size rolls, two sizes side by side, and which gear to order with new ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._options import Number, choice_options, emit, result_options
from speedcal.errors import SpeedcalError, VehicleError
from speedcal.units import MILE_M, DisplayUnit

if TYPE_CHECKING:
    from speedcal.interval import Interval
    from speedcal.vehicle import RolledTire, TireSize
    from speedcal.vehicle.forward import Forecast


@click.command()
@click.argument("sizes", nargs=-1, required=True, metavar="SIZE...")
@click.option("--instead-of", help="Size with which the instrument is right now; shows what SIZE does to it.")
@click.option("--tread", "tread_mm", type=Number(0, 40), help="Tread left on SIZE, in mm.")
@click.option("--new-tread", "new_tread_mm", type=Number(2, 40), help="Tread of SIZE when new, in mm.")
@click.option("--pressure", "pressure_percent", type=Number(-60, 60), default=0.0, help="Pressure, in % of usual.")
@click.option("--roll-out", "rolled_text", help="SIZE as rolled out, TURNS:DISTANCE, such as 3:8.12m or 3:319.5in.")
@click.option("--turns-per-mile", type=Number(100, 2000), help="Its maker's figure for SIZE.")
@click.option("--turns-per-km", type=Number(60, 1300), help="Its maker's figure for SIZE.")
@click.option("--drive-gear", type=click.IntRange(3, 100), help="Teeth fitted; with --instead-of.")
@click.option("--driven-gear", type=click.IntRange(3, 100), help="Teeth fitted; lists what to order with SIZE.")
@click.option("--gear-family", help="Gears that exist; the shipped families are 'indexed housing' and 'plain sleeve'.")
@click.option("--axle", help="Axle gears fitted, such as 41/11; with --planned-axle.")
@click.option("--planned-axle", help="Axle gears to be fitted together with SIZE, such as 45/11.")
@result_options
@choice_options
def command(sizes: tuple[str, ...], as_json: bool, unit: DisplayUnit | None, **options: Any) -> None:
    r"""Say what the tire SIZE measures and rolls: nominal by its sidewall, rolled by convention, as intervals.

    A roll-out (chalk mark, some turns, measured distance) or the maker's turns per mile are better than any
    convention and take its place. With --instead-of the effect on an instrument that is right now is shown, and with
    the gears given also what to order before the tires are bought.

    \b
    Examples:
      speedcal tire LT235/85R16
      speedcal tire 265/70R17 285/70R17 35x12.50R17LT --instead-of 245/70R17 --driven-gear 26
      speedcal tire 205/55R16 --tread 4
      speedcal tire 35x12.50R17LT --roll-out 3:8.12m
      speedcal tire 35x12.50R17LT --instead-of 265/70R17 --speeds 30,50,70
      speedcal tire 35x12.50R17LT --instead-of 265/70R17 --driven-gear 26 --gear-family "indexed housing"
      speedcal tire 265/70R17 --instead-of 265/70R17 --axle 41/11 --planned-axle 45/11 --driven-gear 26

    A tire must suit rim, load, speed and clearance as well; local rules on tire sizes come first.
    """
    if len(sizes) > 1:
        _emit_table(sizes, as_json, options)
        return
    (size,) = sizes
    from speedcal.text.results.tire_sizes import change_lines, size_lines
    from speedcal.vehicle import parse_tire_size, roll_by_convention
    from speedcal.vehicle.forward import ROAD_SPEEDS
    from speedcal.vehicle.tires.rolling_circumference import TireChange

    shown = unit or "mph"
    tire = parse_tire_size(size)
    rolled = _rolled(tire, options)
    result: dict[str, Any] = {**tire.to_dict(), **_nominal(tire), "rolled": rolled.to_dict()}
    lines = size_lines(tire, rolled, _nominal(tire))
    if options["instead_of"]:
        speeds = options["speeds"] or ROAD_SPEEDS[shown]
        change = TireChange(roll_by_convention(parse_tire_size(options["instead_of"])), rolled)
        result["instead_of"] = {"size": options["instead_of"], **change.to_dict(speeds, shown)}
        planned = _forecast(size, rolled, shown, options)
        if planned is None:
            lines += change_lines(options["instead_of"], change.gain.value, change.shown(speeds), shown)
        else:  # which shows the speeds with everything that is planned
            result["forecast"] = planned.to_dict()
            lines += [*change_lines(options["instead_of"], change.gain.value, (), shown), "", str(planned)]
    elif any(options[name] for name in ("drive_gear", "driven_gear", "axle", "planned_axle")):
        raise SpeedcalError("size_before_missing")
    emit(result, as_json, "\n".join(lines))


_FOR_ONE_SIZE = ("rolled_text", "turns_per_mile", "turns_per_km")


def _emit_table(sizes: tuple[str, ...], as_json: bool, options: dict[str, Any]) -> None:
    """Write several sizes side by side: what each rolls, what it does to the reading, and the exact tooth count."""
    from speedcal.text.results.tire_sizes import table_lines
    from speedcal.vehicle import parse_tire_size, roll_by_convention

    if any(options[name] for name in _FOR_ONE_SIZE):
        raise SpeedcalError("figures_of_one_size")
    instead_of = options["instead_of"]
    before = roll_by_convention(parse_tire_size(instead_of)) if instead_of else None
    rows = []
    for text in sizes:
        tire = parse_tire_size(text)
        figures = _figures(_rolled(tire, options), before, options["driven_gear"])
        told = {name: figure.to_dict(digits=3) for name, figure in figures.items()}
        rows.append({"size": str(tire), "diameter_from": tire.basis, "status": tire.status, **told})
    emit({"instead_of": instead_of, "sizes": rows}, as_json, "\n".join(table_lines(rows)))


def _figures(rolled: RolledTire, before: RolledTire | None, teeth: int | None) -> dict[str, Interval]:
    """Return what a tire rolls, and against another what it does to the reading and to the driven gear."""
    from speedcal.interval import Interval
    from speedcal.text.results.verdict import in_percent
    from speedcal.vehicle.tires.rolling_circumference import TireChange

    around = rolled.circumference_m
    figures = {"turns_per_mile": Interval(*(MILE_M / end for end in (around.value, around.high, around.low)))}
    if before is None:
        return figures
    gain = TireChange(before, rolled).gain
    figures["reads_percent"] = in_percent(gain)
    return figures | ({"exact_driven_teeth": gain.scaled(teeth)} if teeth else {})


def _rolled(tire: TireSize, options: dict[str, Any]) -> RolledTire:
    from speedcal.vehicle import roll_by_convention, roll_by_turns
    from speedcal.vehicle.data import facts
    from speedcal.vehicle.tires.rolling_circumference import parse_roll_out

    if options["rolled_text"]:
        return parse_roll_out(options["rolled_text"])
    if options["turns_per_mile"]:
        return roll_by_turns(options["turns_per_mile"] / MILE_M)
    if options["turns_per_km"]:
        return roll_by_turns(options["turns_per_km"] / 1000)
    try:
        return roll_by_convention(
            tire,
            tread_mm=options["tread_mm"],
            new_tread_mm=options["new_tread_mm"],
            pressure_percent=options["pressure_percent"],
        )
    except ValueError:
        new_mm = options["new_tread_mm"] or facts("tires")["tread"]["new_mm"]
        raise VehicleError("tread_impossible", tread_mm=options["tread_mm"], new_mm=new_mm) from None


def _nominal(tire: TireSize) -> dict[str, Any]:
    from speedcal.interval import tidy
    from speedcal.vehicle.tires.rolling_circumference import nominal_circumference_m

    around = nominal_circumference_m(tire)
    return {
        "nominal_circumference_mm": tidy(1000 * around, 2),
        "nominal_turns_per_mile": tidy(MILE_M / around, 2),
        "nominal_turns_per_km": tidy(1000 / around, 2),
    }


def _forecast(size: str, rolled: RolledTire, unit: DisplayUnit, options: dict[str, Any]) -> Forecast | None:
    from dataclasses import replace

    from speedcal.vehicle import Vehicle, Work
    from speedcal.vehicle.forward import forecast

    given = {key: options[key] for key in ("drive_gear", "driven_gear", "axle", "gear_family") if options[key]}
    if not given:
        return None
    vehicle = Vehicle.from_dict({"tire": options["instead_of"], **given}, source="options")
    planned = {"tire": size, **({"axle": options["planned_axle"]} if options["planned_axle"] else {})}
    work = replace(Work.from_dict(planned, source="options"), rolled=rolled)
    return forecast(vehicle, work, unit=unit, speeds=options["speeds"], criterion=options["criterion"])
