"""Orders: several designs on several goods, so many of each, and the paper that goes with them.

An order file is read (:mod:`reading`), every item looked over (:mod:`looking`), what it uses up worked out
(:mod:`materials`, :mod:`nesting`, :mod:`money`), and everything written (:mod:`writing`).
"""

from __future__ import annotations

from analyzer.orders.reading import read_order
from analyzer.orders.types import Item, Order, Prices, Roll, Shop
from analyzer.orders.writing import Finished, paperwork

__all__ = ["Finished", "Item", "Order", "Prices", "Roll", "Shop", "paperwork", "read_order"]
