"""The virtual car: an electrical model that makes honest, invented data for the demo."""

from underdash.car.drive import simulate
from underdash.car.from_file import Car, build
from underdash.car.record import Crank, Deficit, Drive
from underdash.car.scenario import EVENING, Phase, Scenario, evening

__all__ = ["EVENING", "Car", "Crank", "Deficit", "Drive", "Phase", "Scenario", "build", "evening", "simulate"]
