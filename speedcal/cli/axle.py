"""``speedcal axle``: the axle ratio from counted turns, from engine speed, or from a drive with engine speed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._options import FILE, Number, emit, result_options, say
from speedcal.cli._waiting import waiting
from speedcal.errors import SpeedcalError, VehicleError
from speedcal.text.codes.command_messages import working_on

if TYPE_CHECKING:
    from speedcal.vehicle import RolledTire
    from speedcal.vehicle.train.axle_ratio import AxleEstimate, TurnCount


@click.command()
@click.argument("counts", nargs=-1)
@click.option("--one-wheel", is_flag=True, help="One wheel was turned and the other held; the shaft turns half as far.")
@click.option(
    "--mark-error",
    type=Number(0, 1, min_open=True),
    help="How well a mark is read, in turns, standard.  [default: 0.02 wheel, 0.03 shaft, not verified]",
)
@click.option("--rpm", type=Number(0, 20000, min_open=True), help="Engine speed at --speed.")
@click.option(
    "--rpm-error",
    type=Number(0, 2000, min_open=True),
    help="How well --rpm is read, standard.  [default: 25, not verified]",
)
@click.option("--speed", type=Number(0, 400, min_open=True), help="True road speed at --rpm, by GPS.")
@click.option("--gear", help="Ratio of the gear engaged, such as 1 or 0.73.")
@click.option("--tire", help="Tire size fitted, or a roll-out such as 3:8.12m.")
@click.option("--track", type=FILE, help="Recorded drive, with --log.")
@click.option("--log", type=FILE, help="Table with times and engine speed, with --track.")
@click.option("--column", help="Header of the engine speed in --log, when it is not plain.")
@click.option("--session", help="Which vehicle or session, where a file holds several.")
@result_options
def command(counts: tuple[str, ...], as_json: bool, unit: str | None, **options: Any) -> None:
    r"""Find the axle ratio.

    \b
    BEFORE COUNTING TURNS
      Wheels off the ground only on rated stands, never on a jack alone.
      Firm, level ground; chock the wheels that stay down; key out, in neutral.
      Turn the wheels by hand; never run the engine.
      Limited-slip or locked differential: turn both wheels together.
      Local rules and licensed practice come first.

    COUNTS are wheel turns and shaft turns, WHEEL:SHAFT, as often as you counted. Both wheels turned together give the
    ratio at once; with one wheel held (--one-wheel) the shaft turns half as far. Write turns as 37.25, "37 1/4"
    or "just short of 4".

    Or give engine speed and true road speed in a known gear, or a drive with logged engine speed in a known gear. While
    driving, a passenger reads and writes; keep to the limit.

    \b
    Examples:
      speedcal axle "1:just short of 4"
      speedcal axle 10:37.25 10:37.3
      speedcal axle --one-wheel 20:37.25
      speedcal axle --rpm 2500 --speed 60 --gear 1 --tire 35x12.50R17LT
      speedcal axle --track drive.gpx --log log.csv --column "Engine RPM" --gear 0.73 --tire 265/70R17
    """
    from speedcal.text.codes.command_messages import DRIVING_CAUTION
    from speedcal.text.results.vehicle_summary import COUNTING_CAUTIONS
    from speedcal.vehicle.train.axle_ratio import axle_from_counts

    if counts:
        say([f"caution: {text}" for text in COUNTING_CAUTIONS])
        estimate = axle_from_counts([_count(text, options["one_wheel"], options["mark_error"]) for text in counts])
        cautions = list(COUNTING_CAUTIONS)
    else:
        estimate = _from_engine(unit, options)
        cautions = [DRIVING_CAUTION]
        say([f"caution: {text}" for text in cautions])
    emit({"cautions": cautions, **estimate.to_dict()}, as_json, str(estimate))


def _count(text: str, one_wheel: bool, mark_error: float | None) -> TurnCount:
    from speedcal.vehicle.train.axle_ratio import U_SHAFT_TURNS, U_WHEEL_TURNS, TurnCount, parse_turns

    wheel, colon, shaft = text.partition(":")
    if not colon:
        raise VehicleError("count_unreadable", given=text)
    wheel_turns, _ = parse_turns(wheel)
    shaft_turns, u_shaft_turns = parse_turns(shaft, u_mark_turns=mark_error or U_SHAFT_TURNS)
    other_turns = 0.0 if one_wheel else wheel_turns
    return TurnCount(wheel_turns, other_turns, shaft_turns, u_shaft_turns, mark_error or U_WHEEL_TURNS)


def _from_engine(unit: str | None, options: dict[str, Any]) -> AxleEstimate:
    from speedcal.kinds import parse_ratio
    from speedcal.units import KMH_MPS, MPH_MPS
    from speedcal.vehicle.train.axle_ratio import axle_from_engine_speed

    by_drive = options["track"] is not None or options["log"] is not None
    needed = ("track", "log", "gear", "tire") if by_drive else ("rpm", "speed", "gear", "tire")
    missing = [f"--{name}" for name in needed if options[name] is None]
    if missing:
        raise SpeedcalError("counts_missing", options=missing)
    try:
        gear_ratio = float(parse_ratio(options["gear"]))
    except ValueError:
        raise VehicleError("gear_ratio_unreadable", given=options["gear"]) from None
    rolled = _rolled(options["tire"])
    if not by_drive:
        speed_mps = options["speed"] * (KMH_MPS if unit == "km/h" else MPH_MPS)
        return axle_from_engine_speed(options["rpm"], speed_mps, gear_ratio, rolled, u_rpm=options["rpm_error"])
    from speedcal.logs import read_track
    from speedcal.vehicle.train.engine_speed import axle_from_drive, read_engine_speed

    track, log, session = options["track"], options["log"], options["session"]
    with waiting(working_on("reading", track.name)):
        engine = read_engine_speed(log, column=options["column"], session=session)
        return axle_from_drive(
            read_track(track, unit=unit, session=session), engine, gear_ratio=gear_ratio, rolled=rolled
        )


def _rolled(text: str) -> RolledTire:
    from speedcal.vehicle import parse_tire_size, roll_by_convention
    from speedcal.vehicle.tires.rolling_circumference import parse_roll_out

    return parse_roll_out(text) if ":" in text else roll_by_convention(parse_tire_size(text))
