"""The car file: one description of a car for the plan, the virtual car and the review."""

from underdash.carfile.model import CarFile

__all__ = ["CarFile"]
