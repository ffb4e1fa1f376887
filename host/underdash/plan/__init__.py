"""The plan of a conversion: what the car file means for alternator, cables, grounds and ammeter."""
