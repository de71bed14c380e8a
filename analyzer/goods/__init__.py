"""Goods and everything put with them: materials tables, the stack, and the draws of what is uncertain.

Names go in (``cloth("jersey")``, ``parse_backing("cutaway:85x2")``, ``hoop("130x180")``), a :class:`Setup`
and a :class:`Stack` come out. Every value has a range, how well it is known, and a source.
"""

from analyzer.goods.constants import constants
from analyzer.goods.draws import PARAMETERS, correlated, draw, values
from analyzer.goods.listing import TABLES, records, rows
from analyzer.goods.own import OWN_TABLES, tables_of
from analyzer.goods.parse import format_backing, hoop, parse_backing
from analyzer.goods.setup import Setup, resolve
from analyzer.goods.stack import build_stack, worst_known
from analyzer.goods.stiffness import membrane, turn
from analyzer.goods.tables import (
    Tables,
    backing,
    backings,
    cloth,
    cloths,
    hoops,
    needle,
    needles,
    standard,
    thread,
    threads,
    topping,
    toppings,
)
from analyzer.goods.types import (
    Backing,
    BackingChoice,
    Cloth,
    Draws,
    Hoop,
    Known,
    Layer,
    Needle,
    Stack,
    StackChoice,
    ThreadType,
    Topping,
    Value,
)

__all__ = [
    "OWN_TABLES",
    "PARAMETERS",
    "TABLES",
    "Backing",
    "BackingChoice",
    "Cloth",
    "Draws",
    "Hoop",
    "Known",
    "Layer",
    "Needle",
    "Setup",
    "Stack",
    "StackChoice",
    "Tables",
    "ThreadType",
    "Topping",
    "Value",
    "backing",
    "backings",
    "build_stack",
    "cloth",
    "cloths",
    "constants",
    "correlated",
    "draw",
    "format_backing",
    "hoop",
    "hoops",
    "membrane",
    "needle",
    "needles",
    "parse_backing",
    "records",
    "resolve",
    "rows",
    "standard",
    "tables_of",
    "thread",
    "threads",
    "topping",
    "toppings",
    "turn",
    "values",
    "worst_known",
]
