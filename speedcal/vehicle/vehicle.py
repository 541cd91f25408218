"""A vehicle as far as its speedometer is concerned, and the work done on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, get_args

from speedcal.errors import VehicleError
from speedcal.schema import TableReader
from speedcal.units import INCH_M, MILE_M
from speedcal.vehicle.tires.rolling_circumference import RolledTire, roll_by_convention, roll_by_turns, roll_out
from speedcal.vehicle.tires.tire_size import TireSize, parse_tire_size
from speedcal.vehicle.train.gears import GearFamily, load_family
from speedcal.vehicle.train.parts import AxleRatio, ScalerLimits, Setting, parse_settings
from speedcal.wording import Spoken

Criterion = Literal["smallest worst error", "never reads low", "odometer first"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
Sensor = Literal["driven gear", "output shaft", "driveshaft", "wheel"]

ACCEPTABLE_PERCENT = 2.5
"""Worst error that counts as put right when the job names no other; our own choice, the size of the odometer limit
of SAE J2976 (+-2.5 %, read in a secondary text). Set ``acceptable_percent`` to change it."""

_TIRES = ("tire", "tire_before", "tire_other_side", "second_tire")
_AS_STATED = (
    "label",
    "drive_gear",
    "driven_gear",
    "gears_counted",
    "transfer_ratio",
    "second_transfer_ratio",
    "tachograph",
    "ratio_box",
    "ratio_box_teeth",
    "pulses_per_turn",
    "pulse_scaler",
    "criterion",
    "acceptable_percent",
)
"""Keys whose value is taken as it is read."""


@dataclass(frozen=True, slots=True)
class Vehicle(Spoken):
    """What is known of the chain from the road to the instrument; None means unknown.

    Examples
    --------
    >>> import speedcal
    >>> car = speedcal.Vehicle.from_dict({"tire": "P225/70R16", "axle": "41/11", "driven_gear": 19})
    >>> str(car.axle.ratio), car.driven_gear
    ('41/11', 19)
    """

    label: str = ""
    tire: TireSize | None = None
    """Size fitted during the drive."""
    tire_before: TireSize | None = None
    """Size with which the instrument was right, usually the one the vehicle was built with."""
    tire_other_side: TireSize | None = None
    """Size on the other side of the driven axle where it differs: a spare, or a mixed pair."""
    second_tire: TireSize | None = None
    """Size of a second set that is driven too, such as winter tires; one gear has to serve both."""
    rolled: RolledTire | None = None
    """What the fitted tire rolls: rolled out, else the maker's figure, else by convention from the size."""
    axle: AxleRatio | None = None
    """Ratio in the range that was driven."""
    axle_before: AxleRatio | None = None
    """Ratio with which the instrument was right, where other axle gears were fitted since."""
    second_axle: AxleRatio | None = None
    """Ratio in the other range of a two-speed axle."""
    transfer_ratio: Fraction = Fraction(1)
    """Turns of the shaft that carries the drive gear for one turn of the driveshaft."""
    second_transfer_ratio: Fraction | None = None
    """The same in the other range of a transfer case or auxiliary gearbox."""
    drive_gear: int | None = None
    driven_gear: int | None = None
    gears_counted: bool = False
    """Whether the teeth were counted on the gears themselves."""
    ratio_box: Fraction | None = None
    """Turns out for one turn in of a box fitted in the cable; None when there is none."""
    ratio_box_teeth: tuple[int, ...] = ()
    """Gears that a ratio box can be built with; empty when none is considered."""
    expected_per_m: float | None = None
    """Turns (or pulses) that the instrument takes as one metre. [1/m]"""
    expects_pulses: bool = False
    pulses_per_turn: float | None = None
    """Pulses of the sensor for one turn of what it sits on."""
    sensor: Sensor = "driven gear"
    """Where the turns are taken from."""
    pulse_scaler: Fraction | None = None
    """Pulses out for one pulse in of a scaler that is fitted; None when there is none."""
    scaler_limits: ScalerLimits | None = None
    """What the scaler can be set to; None when no scaler is considered."""
    settings: tuple[Setting, ...] = ()
    tachograph: bool = False
    """A tachograph or a sealed limiter hangs on the same drive: only an approved workshop may touch it."""
    family: GearFamily | None = None
    criterion: Criterion = "smallest worst error"
    acceptable_percent: float = ACCEPTABLE_PERCENT

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], *, source: str = "", folder: Path | None = None) -> Vehicle:
        """Read the [vehicle] table of a job file.

        Parameters
        ----------
        table
            As parsed; ``data/keys/vehicle.toml`` states its keys.
        source
            Name of the file or form, for messages.
        folder
            Where a gear family file may lie; None takes the folder of ``source`` when that is a path of a file.

        Raises
        ------
        VehicleError
            A name is unknown (the nearest valid one is named) or a value cannot be used; every problem is listed.
        """
        reader = TableReader(table, "vehicle")
        tires = {key: reader.take(key, parse_tire_size) for key in _TIRES}
        given_folder = folder if folder is not None else (Path(source).parent if source.endswith(".toml") else None)
        rolled = _rolled(reader, tires["tire"])
        expected = reader.one_of("expects")
        family = reader.take("gear_family", lambda name: load_family(name, folder=given_folder))
        settings = reader.take("settings", lambda given: parse_settings(given, table="vehicle.settings"))
        reader.finish(source=source, kind=VehicleError)
        return cls(
            **tires,
            **{key: reader.values[key] for key in _AS_STATED if key in reader.values},
            axle=_axle(reader, "axle"),
            axle_before=_axle(reader, "axle_before"),
            second_axle=_axle(reader, "second_axle"),
            rolled=rolled,
            expected_per_m=_per_m(*expected) if expected else None,
            expects_pulses=_expects_pulses(reader, settings or ()),
            sensor=reader.get("sensor", _usual_sensor(table)),
            scaler_limits=_scaler_limits(reader),
            settings=settings or (),
            family=family,
        )

    @property
    def counts_per_m(self) -> float | None:
        """Turns or pulses that are shown as one metre: as the instrument is made, or as its module is set. [1/m]."""
        if self.expected_per_m is not None:
            return self.expected_per_m
        return next((s.pulses_per_m for s in self.settings if s.pulses_per_m is not None), None)

    @property
    def has_gear_drive(self) -> bool:
        """True where a drive gear and a driven gear stand between shaft or wheel and instrument."""
        has_gears = self.drive_gear is not None or self.driven_gear is not None
        return self.sensor == "driven gear" or (self.sensor == "wheel" and has_gears)


@dataclass(frozen=True, slots=True)
class Work(Spoken):
    """What was changed between two drives; None means left alone."""

    driven_gear: int | None = None
    drive_gear: int | None = None
    ratio_box: Fraction | None = None
    ratio_box_turned: bool = False
    """Whether the box that is fitted had been the wrong way round, and was turned."""
    pulse_scaler: Fraction | None = None
    pulses_per_turn: float | None = None
    """Of a new sensor."""
    tire: TireSize | None = None
    axle: AxleRatio | None = None
    settings: tuple[Setting, ...] = ()
    needle: float | None = None
    """How far the needle was set up (+) or down (-), in mph or km/h as the dial is marked."""
    gears_counted: bool = False
    """Whether the teeth of the new gears were counted."""
    instrument_repaired: bool = False
    """Whether the instrument was repaired or replaced: the drive before tells nothing of it any more."""
    note: str = ""
    date: str = ""
    odometer: float | None = None
    """What the odometer showed when the work was done, in miles or km as the dial is marked."""
    odometer_now: float | None = None
    """What it shows now, in the same unit."""
    rolled: RolledTire | None = None
    """What the new tire rolls, where that was measured or stated; None takes the convention for its size."""

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], *, source: str = "") -> Work:
        """Read the [work] table of a job file; ``data/keys/work.toml`` states its keys.

        Raises
        ------
        VehicleError
            A name is unknown (the nearest valid one is named) or a value cannot be used; every problem is listed.
        """
        reader = TableReader(table, "work")
        tire = reader.take("tire", parse_tire_size)
        settings = reader.take("settings", lambda given: parse_settings(given, table="work.settings"))
        reader.finish(source=source, kind=VehicleError)
        further = {"tire": tire, "settings": settings or (), "axle": _axle(reader, "axle")}
        return cls(**{**reader.values, **further})

    @property
    def changes(self) -> dict[str, Any]:
        """What is fitted or set now, by the key of the job file; a module's number as ``settings.`` and its kind."""
        names = ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "pulses_per_turn", "tire", "axle")
        parts = {name: getattr(self, name) for name in names} | {f"settings.{s.kind}": s.now for s in self.settings}
        return {name: value for name, value in parts.items() if value is not None}

    @property
    def is_nothing(self) -> bool:
        """Whether nothing was fitted or set, though a note may stand there."""
        done = self.changes or self.ratio_box_turned or self.instrument_repaired
        return not done and self.needle is None


def _axle(reader: TableReader, key: str) -> AxleRatio | None:
    """Return an axle ratio, which knows how it was written: teeth are exact, decimals are not."""
    return AxleRatio.parse(reader.table[key]) if key in reader.values else None


def _per_m(name: str, value: float) -> float:
    return value / (MILE_M if name.endswith("mile") else 1000)


def _expects_pulses(reader: TableReader, settings: tuple[Setting, ...]) -> bool:
    expected = reader.one_of("expects")
    if expected:
        return expected[0].startswith("pulses")
    counted = {"pulses_per_turn", "pulse_scaler"} & set(reader.table)
    set_to = {"pulses_per_mile", "pulses_per_km"} & {setting.kind for setting in settings}
    return bool(counted or set_to)


def _usual_sensor(table: Mapping[str, Any]) -> Sensor:
    has_gears = "drive_gear" in table or "driven_gear" in table
    has_pulses = any(name in table for name in ("pulses_per_turn", "pulses_per_mile", "pulses_per_km"))
    return "output shaft" if (has_pulses or "settings" in table) and not has_gears else "driven gear"


def _rolled(reader: TableReader, tire: TireSize | None) -> RolledTire | None:
    turns, distance, figure = reader.get("rolled_turns"), reader.one_of("rolled_distance"), reader.one_of("tire_turns")
    key = "rolled_turns"
    try:
        if turns is not None and distance:
            return roll_out(distance[1] * (INCH_M if distance[0].endswith("_in") else 1.0), turns)
        if turns is not None or distance:
            reader.problem("roll_out_incomplete", key if turns is not None else "rolled_distance_m")
            return None
        if figure:
            key = figure[0]
            return roll_by_turns(_per_m(*figure))
        key = "tread_mm"
        return None if tire is None else roll_by_convention(tire, tread_mm=reader.get("tread_mm"))
    except ValueError as error:
        reader.problem("impossible_tire", key, reason=str(error))
        return None


def _scaler_limits(reader: TableReader) -> ScalerLimits | None:
    numerator, denominator = reader.get("scaler_numerator_max"), reader.get("scaler_denominator_max")
    decimals = reader.get("scaler_decimals")
    usual = ScalerLimits()
    if numerator is None and denominator is None and decimals is None:
        if "/" not in str(reader.table.get("pulse_scaler", "")):  # no switches that anybody told of
            usual = ScalerLimits(0, 0, usual.decimals)
        electric = ("pulse_scaler", "pulses_per_turn", "pulses_per_mile", "pulses_per_km")
        has_scaler = "pulse_scaler" in reader.table or "settings" not in reader.table  # a module is set itself
        return usual if has_scaler and any(name in reader.table for name in electric) else None
    fractions = numerator is not None or denominator is not None
    return ScalerLimits(
        (numerator or usual.numerator_max) if fractions else 0,
        (denominator or usual.denominator_max) if fractions else 0,
        decimals,
    )
