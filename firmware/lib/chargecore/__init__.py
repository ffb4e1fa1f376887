"""Underdash's decision engine: integers only, the same files in the car and at the desk.

Nothing here touches pins, files or clocks. Rows of volts and amps go in, verdicts come out;
`frames` packs the rows for flash. MicroPython and CPython run these very files.
"""

VERSION = "0.1.0"
