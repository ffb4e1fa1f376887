"""The front end: what stands between a car's wires and the board's pins, its values and their proof."""
