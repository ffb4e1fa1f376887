"""The monitor: what runs in the car. MicroPython only; the decisions are chargecore's."""
