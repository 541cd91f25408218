"""From a calibration and what is known of the vehicle to parts, settings and explanations."""

from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.corrections import Corrections, correct
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis, diagnose
from speedcal.vehicle.drivetrain import Determination, EffectiveTire, effective_tire, solve_train
from speedcal.vehicle.forward import GainChange, Prediction, gain_change, predict_after, says_what_changes
from speedcal.vehicle.tires.rolling_circumference import RolledTire, roll_by_convention, roll_by_turns, roll_out
from speedcal.vehicle.tires.tire_size import TireSize, parse_tire_size
from speedcal.vehicle.train.gears import GearFamily, load_family
from speedcal.vehicle.train.parts import AxleRatio
from speedcal.vehicle.vehicle import CRITERIA, Criterion, Vehicle, Work

__all__ = [
    "CRITERIA",
    "Advice",
    "AxleRatio",
    "Choice",
    "Corrections",
    "Criterion",
    "Determination",
    "Diagnosis",
    "EffectiveTire",
    "GainChange",
    "GearFamily",
    "Prediction",
    "RolledTire",
    "TireSize",
    "Vehicle",
    "Work",
    "correct",
    "diagnose",
    "effective_tire",
    "gain_change",
    "load_family",
    "parse_tire_size",
    "predict_after",
    "roll_by_convention",
    "roll_by_turns",
    "roll_out",
    "says_what_changes",
    "solve_train",
]
