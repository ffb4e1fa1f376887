"""What a board can be told: the catalogue, settings files, and sending them."""
