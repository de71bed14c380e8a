"""Changes to a design that may help it: each gives a new design, to be tried like any other.

Nothing here says whether a change helps; that is computed by whoever tries it. Every function returns None
where the change cannot be made on this design.
"""

from analyzer.changes.order import outline_next
from analyzer.changes.pull import widened
from analyzer.changes.refill import refilled, split_up, underlaid, without

__all__ = ["outline_next", "refilled", "split_up", "underlaid", "widened", "without"]
