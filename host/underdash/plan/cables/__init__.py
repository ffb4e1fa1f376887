"""Every cable sized: what flows in it, what it may carry, what it loses, and the fuse that protects it."""

from underdash.plan.cables.sizing import size

__all__ = ["size"]
