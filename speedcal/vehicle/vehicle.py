"""A vehicle as far as its speedometer is concerned, and the work done on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, get_args

from speedcal.errors import VehicleError
from speedcal.tables import TableReader
from speedcal.units import INCH_M, MILE_M
from speedcal.vehicle.gears import GearFamily, load_family, parse_teeth
from speedcal.vehicle.parts import AxleRatio, ScalerLimits, Setting, parse_settings, setting_name
from speedcal.vehicle.rolling_circumference import RolledTire, roll_by_convention, roll_by_turns, roll_out
from speedcal.vehicle.tires import TireSize, parse_tire_size

Criterion = Literal["smallest worst error", "never reads low", "odometer first"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
Sensor = Literal["driven gear", "output shaft", "driveshaft", "wheel"]
SENSORS: tuple[Sensor, ...] = get_args(Sensor)

ACCEPTABLE_PERCENT = 2.5
"""Worst error that counts as put right when the job names no other; our own choice, the size of the odometer limit
of SAE J2976 (+-2.5 %, read in a secondary text). Set ``acceptable_percent`` to change it."""

VEHICLE_KEYS = (
    "label",
    "tire",
    "tire_before",
    "tire_other_side",
    "second_tire",
    "tire_turns_per_mile",
    "tire_turns_per_km",
    "rolled_turns",
    "rolled_distance_m",
    "rolled_distance_in",
    "tread_mm",
    "axle",
    "second_axle",
    "transfer_ratio",
    "second_transfer_ratio",
    "drive_gear",
    "driven_gear",
    "ratio_box",
    "ratio_box_teeth",
    "turns_per_mile",
    "turns_per_km",
    "pulses_per_mile",
    "pulses_per_km",
    "pulses_per_turn",
    "sensor",
    "pulse_scaler",
    "scaler_numerator_max",
    "scaler_denominator_max",
    "scaler_decimals",
    "settings",
    "tachograph",
    "gear_family",
    "criterion",
    "acceptable_percent",
)
"""Names that may stand in the [vehicle] table of a job file."""


@dataclass(frozen=True, slots=True)
class Vehicle:
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
    second_axle: AxleRatio | None = None
    """Ratio in the other range of a two-speed axle."""
    transfer_ratio: Fraction = Fraction(1)
    """Turns of the shaft that carries the drive gear for one turn of the driveshaft."""
    second_transfer_ratio: Fraction | None = None
    """The same in the other range of a transfer case or auxiliary gearbox."""
    drive_gear: int | None = None
    driven_gear: int | None = None
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
            As parsed; see :data:`VEHICLE_KEYS`.
        source
            Name of the file or form, for messages.
        folder
            Where a gear family file may lie; None takes the folder of ``source`` when that is a path of a file.

        Raises
        ------
        VehicleError
            A name is unknown (the nearest valid one is named) or a value cannot be used; every problem is listed.
        """
        reader = TableReader(table, VEHICLE_KEYS, where="[vehicle]")
        tire, tire_before, other_side, second_tire = (
            _tire(reader, key) for key in ("tire", "tire_before", "tire_other_side", "second_tire")
        )
        rolled = _rolled(reader, tire)
        expected_per_m, expects_pulses = _expected(reader)
        axle, second_axle = _axle(reader, "axle"), _axle(reader, "second_axle")
        drive_gear, driven_gear = (reader.whole(key, low=3, high=100) for key in ("drive_gear", "driven_gear"))
        pulses_per_turn = reader.number("pulses_per_turn", low=1e-3, high=1e5)
        sensor = reader.word("sensor", SENSORS, _usual_sensor(table))
        vehicle_parts: dict[str, Any] = {
            "label": reader.text("label"),
            "transfer_ratio": reader.ratio("transfer_ratio") or Fraction(1),
            "second_transfer_ratio": reader.ratio("second_transfer_ratio"),
            "tachograph": reader.flag("tachograph"),
            "ratio_box": reader.ratio("ratio_box"),
            "ratio_box_teeth": _teeth(reader, "ratio_box_teeth"),
            "pulse_scaler": reader.ratio("pulse_scaler"),
            "scaler_limits": _scaler_limits(reader),
            "criterion": reader.word("criterion", CRITERIA, "smallest worst error"),
            "acceptable_percent": reader.number("acceptable_percent", high=50) or ACCEPTABLE_PERCENT,
        }
        reader.finish(source=source, kind=VehicleError)
        given_folder = folder if folder is not None else (Path(source).parent if source.endswith(".toml") else None)
        family = table.get("gear_family")
        return cls(
            tire=tire,
            tire_before=tire_before,
            tire_other_side=other_side,
            second_tire=second_tire,
            rolled=rolled,
            axle=axle,
            second_axle=second_axle,
            drive_gear=drive_gear,
            driven_gear=driven_gear,
            expected_per_m=expected_per_m,
            expects_pulses=expects_pulses,
            pulses_per_turn=pulses_per_turn,
            sensor=sensor,  # type: ignore[arg-type]
            settings=parse_settings(table.get("settings", {}), source=source),
            family=None if family is None else load_family(family, source=source, folder=given_folder),
            **vehicle_parts,
        )

    def __str__(self) -> str:
        known = [self.label or "vehicle"]
        known += [f"tire {self.tire}"] if self.tire else []
        known += [f"axle {self.axle}"] if self.axle else []
        known += [f"drive gear {self.drive_gear}"] if self.drive_gear else []
        known += [f"driven gear {self.driven_gear}"] if self.driven_gear else []
        return ", ".join(known)


_PARTS = ("driven_gear", "drive_gear", "ratio_box", "pulse_scaler", "tire", "axle")
WORK_KEYS = (*_PARTS, "settings", "note", "date", "odometer", "odometer_now")
"""Names that may stand in the [work] table of a job file."""


@dataclass(frozen=True, slots=True)
class Work:
    """What was changed between two drives; None means left alone."""

    driven_gear: int | None = None
    drive_gear: int | None = None
    ratio_box: Fraction | None = None
    pulse_scaler: Fraction | None = None
    tire: TireSize | None = None
    axle: AxleRatio | None = None
    settings: tuple[Setting, ...] = ()
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
        """Read the [work] table of a job file; see :data:`WORK_KEYS`.

        Raises
        ------
        VehicleError
            A name is unknown (the nearest valid one is named) or a value cannot be used; every problem is listed.
        """
        reader = TableReader(table, WORK_KEYS, where="[work]")
        work = cls(
            driven_gear=reader.whole("driven_gear", low=3, high=100),
            drive_gear=reader.whole("drive_gear", low=3, high=100),
            ratio_box=reader.ratio("ratio_box"),
            pulse_scaler=reader.ratio("pulse_scaler"),
            tire=_tire(reader, "tire"),
            axle=_axle(reader, "axle"),
            note=reader.text("note"),
            date=_date(reader, table),
            odometer=reader.number("odometer", low=-1e-9, high=1e7),
            odometer_now=reader.number("odometer_now", low=-1e-9, high=1e7),
        )
        reader.finish(source=source, kind=VehicleError)
        settings = parse_settings(table.get("settings", {}), source=source)
        return cls(**{**{name: getattr(work, name) for name in WORK_KEYS}, "settings": settings})

    def __str__(self) -> str:
        done = [f"{name.replace('_', ' ')} {value}" for name in _PARTS if (value := getattr(self, name)) is not None]
        done += [setting_name(item.kind, item.now) for item in self.settings if item.now is not None]
        return ", ".join(done) or "nothing changed"


def _tire(reader: TableReader, key: str) -> TireSize | None:
    text = reader.text(key)
    if not text:
        return None
    try:
        return parse_tire_size(text)
    except VehicleError as error:
        reader.problem(key, f"{error.problem}. {error.remedy}")
        return None


def _axle(reader: TableReader, key: str) -> AxleRatio | None:
    value = reader.table.get(key)
    if value is None:
        return None
    try:
        return AxleRatio.parse(value)
    except ValueError as error:
        reader.problem(key, str(error))
        return None


def _date(reader: TableReader, table: Mapping[str, Any]) -> str:
    """Return a date as ISO text; TOML has dates of its own."""
    value = table.get("date")
    return value.isoformat() if isinstance(value, date) else reader.text("date")


def _teeth(reader: TableReader, key: str) -> tuple[int, ...]:
    if reader.table.get(key) is None:
        return ()
    try:
        return parse_teeth(reader.table[key])
    except ValueError as error:
        reader.problem(key, str(error))
        return ()


def _only_one(reader: TableReader, names: tuple[str, ...]) -> dict[str, float]:
    given = {name: value for name in names if (value := reader.number(name, low=1e-3, high=1e7)) is not None}
    if len(given) > 1:
        reader.problem(" and ".join(given), "say the same thing twice; keep one of them")
    return given


def _expected(reader: TableReader) -> tuple[float | None, bool]:
    given = _only_one(reader, ("turns_per_mile", "turns_per_km", "pulses_per_mile", "pulses_per_km"))
    for name, value in given.items():
        return value / (MILE_M if name.endswith("mile") else 1000), name.startswith("pulses")
    return None, "pulses_per_turn" in reader.table or "pulse_scaler" in reader.table


def _usual_sensor(table: Mapping[str, Any]) -> Sensor:
    has_gears = "drive_gear" in table or "driven_gear" in table
    has_pulses = any(name in table for name in ("pulses_per_turn", "pulses_per_mile", "pulses_per_km"))
    return "output shaft" if has_pulses and not has_gears else "driven gear"


def _rolled(reader: TableReader, tire: TireSize | None) -> RolledTire | None:
    turns = reader.number("rolled_turns")
    distance = _only_one(reader, ("rolled_distance_m", "rolled_distance_in"))
    figure = _only_one(reader, ("tire_turns_per_mile", "tire_turns_per_km"))
    tread_mm = reader.number("tread_mm", high=30)
    key = "rolled_turns"
    try:
        if turns is not None and distance:
            return roll_out(distance.get("rolled_distance_m", distance.get("rolled_distance_in", 0.0) * INCH_M), turns)
        if turns is not None or distance:
            raise ValueError("a roll-out needs both the turns and the distance")
        for key, value in figure.items():
            return roll_by_turns(value / (MILE_M if key.endswith("mile") else 1000))
        key = "tread_mm"
        return None if tire is None else roll_by_convention(tire, tread_mm=tread_mm)
    except ValueError as error:
        reader.problem(key, str(error))
        return None


def _scaler_limits(reader: TableReader) -> ScalerLimits | None:
    numerator = reader.whole("scaler_numerator_max", high=99999)
    denominator = reader.whole("scaler_denominator_max", high=99999)
    decimals = reader.whole("scaler_decimals", low=0, high=6)
    usual = ScalerLimits()
    if numerator is None and denominator is None and decimals is None:
        electric = ("pulse_scaler", "pulses_per_turn", "pulses_per_mile", "pulses_per_km")
        return usual if any(name in reader.table for name in electric) else None
    return ScalerLimits(
        numerator or usual.numerator_max,
        denominator or usual.denominator_max,
        usual.decimals if decimals is None else decimals,
    )
