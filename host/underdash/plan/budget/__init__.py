"""Output against demand: who is short, for how long the battery makes up for it, and what would close it."""

from underdash.plan.budget.whole import budget

__all__ = ["budget"]
