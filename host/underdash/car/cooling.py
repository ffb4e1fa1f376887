"""Coolant temperature and the thermal switch of the electric fan.

One lump of heat behind a thermostat. Every constant is invented for the demo (chosen so that a
cold engine is warm after some eight minutes and a hot idle cycles the fan every few minutes).
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Cooling:
    """Parameters of the cooling circuit and its fan switch."""

    heat_j_per_k: float = 55e3
    """Heat capacity of coolant and iron [J/K]."""
    idle_w: float = 1500.0
    """Heat into the coolant of a running engine at no speed at all [W]."""
    w_per_rpm: float = 4.5
    """Further heat for each rev/min [W]."""
    still_w_per_k: float = 25.0
    """Radiator in still air [W/K]."""
    fan_w_per_k: float = 85.0
    """What the fan adds [W/K]."""
    road_w_per_k: float = 12.0
    """What each metre per second of road speed adds [W/K]."""
    block_w_per_k: float = 8.0
    """Lost past a closed thermostat [W/K]."""
    opens_c: float = 82.0
    """Thermostat begins to open [C]."""
    open_c: float = 92.0
    """Thermostat fully open [C]."""
    fan_on_c: float = 97.0
    """Fan switches on [C]."""
    fan_off_c: float = 92.0
    """Fan switches off [C]."""

    def fan(self, coolant_c: float, was_on: bool) -> bool:
        """The thermal switch with its hysteresis."""
        return coolant_c > (self.fan_off_c if was_on else self.fan_on_c)

    def step(self, coolant_c: float, rpm: float, speed_mps: float, fan: bool, ambient_c: float, dt_s: float) -> float:
        """Coolant temperature [C] after `dt_s` [s] at engine `rpm` and road speed [m/s]."""
        heat = self.idle_w + self.w_per_rpm * rpm if rpm > 0.0 else 0.0
        opening = min(max((coolant_c - self.opens_c) / (self.open_c - self.opens_c), 0.0), 1.0)
        radiator = self.still_w_per_k + self.road_w_per_k * speed_mps + (self.fan_w_per_k if fan else 0.0)
        lost = (self.block_w_per_k + opening * radiator) * (coolant_c - ambient_c)
        return coolant_c + dt_s * (heat - lost) / self.heat_j_per_k
