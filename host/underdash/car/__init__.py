"""The virtual car: an electrical model that makes honest, invented data for the demo."""

from underdash.car.drive import simulate
from underdash.car.record import Crank, Deficit, Drive
from underdash.car.scenario import EVENING, Car, Phase, Scenario

__all__ = ["EVENING", "Car", "Crank", "Deficit", "Drive", "Phase", "Scenario", "simulate"]
