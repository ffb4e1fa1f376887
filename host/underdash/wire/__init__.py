"""Copper, gauges, insulation: what a cable is, before anything flows in it."""
