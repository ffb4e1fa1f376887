"""From the alternator to the battery and back: drops on both sides, and what the battery sees."""

from underdash.plan.charge_path.drops import charge_path

__all__ = ["charge_path"]
