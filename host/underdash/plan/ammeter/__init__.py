"""The dash ammeter's share: why it reads next to nothing, and what becomes of its old loop."""

from underdash.plan.ammeter.split import share

__all__ = ["share"]
