"""The unmodified firmware on an RP2040 in software, under a MicroPython image of the user's (docs/emulate.md)."""
