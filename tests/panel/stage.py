"""Runs on MicroPython: the real face before fake pins and a fake bus, following a script.

`stage.py SCRIPT`: a JSON file with "options", "thresholds" and "steps". A step sets what it names
("view", "button", "dim", "lost", "asleep", "second"), then ticks "ticks" times by "dt_ms".
Printed, one a line: `bus HEX` for each transfer, `tick LAMP BUZZER AWAKE` after each tick.
"""

import binascii
import json
import sys

from chargecore.options import Options
from chargecore.thresholds import Thresholds
from monitor.face import Face
from monitor.view import View


class Pin:
    def __init__(self, level):
        self.level = level

    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level


class Bus:
    lost = False

    def writeto(self, address, data):
        if Bus.lost or address != 0x3C:
            raise OSError(5)
        print("bus", binascii.hexlify(data).decode())
        return len(data)


def make_bus():
    print("looked")
    return Bus()


def put(target, values):
    for name, value in values.items():
        if isinstance(value, dict):
            put(getattr(target, name), value)
        else:
            getattr(target, name)  # a name that is not there must not pass
            setattr(target, name, value)


def main(script):
    view, options, limits = View(), Options(), Thresholds()
    put(options, script.get("options", {}))
    put(limits, script.get("thresholds", {}))
    button, lamp, buzzer, dim = Pin(1), Pin(0), Pin(0), Pin(0)
    missing = script.get("missing", [])
    pins = [None if name in missing else pin
            for name, pin in (("button", button), ("lamp", lamp), ("buzzer", buzzer), ("dim", dim))]  # fmt: skip
    Bus.lost = script.get("lost", False)
    face = Face(view, limits, options, make_bus, *pins)
    for step in script["steps"]:
        put(view, step.get("view", {}))
        button.level = step.get("button", button.level)
        dim.level = step.get("dim", dim.level)
        Bus.lost = step.get("lost", Bus.lost)
        if "asleep" in step:
            face.asleep(step["asleep"])
        for bus_mv in step.get("seconds", []):
            face.second(bus_mv)
        for _ in range(step.get("ticks", 0)):
            face.tick(step.get("dt_ms", 100))
            print("tick", lamp.level, buzzer.level, int(face.awake_wanted), face.page)
        if step.get("close"):
            face.close()
            print("tick", lamp.level, buzzer.level, int(face.awake_wanted), face.page)


with open(sys.argv[1]) as file:
    main(json.load(file))
