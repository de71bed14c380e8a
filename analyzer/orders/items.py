"""One item of an order from its table of values."""

from __future__ import annotations

import math
import re
from pathlib import Path

from analyzer.errors import BadOrder
from analyzer.orders.types import Item
from analyzer.orders.values import Given, counts, maybe_text, money, number, text, texts, whole

ITEM_KEYS = (
    "design", "goods", "quantity", "title", "care", "back", "holding", "hoop", "thread", "needle", "speed",
    "tolerance", "colour", "backing", "topping", "applique", "placement", "colours", "sizes", "spares",
    "names", "names_file", "price",
)  # fmt: skip
_SHARE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*")


def item_of(position: int, given: Given, where: str, folder: Path, spares: str) -> Item:
    """Return one item.

    Args:
        position: its number in the order, from 1.
        given: its values.
        where: where it stands, for messages.
        folder: that paths in it are relative to.
        spares: what the order says of spares, for items that say nothing.

    Raises:
        BadOrder: a value is missing or cannot be.

    """
    names = _names(given, folder)
    sizes = counts(given, "sizes")
    quantity = _quantity(given, sizes, names)
    backing = texts(given, "backing")
    return Item(
        position=position,
        where=where,
        design=folder / text(given, "design", "crest.dst"),
        goods=text(given, "goods", "jersey"),
        quantity=quantity,
        title=maybe_text(given, "title"),
        care=maybe_text(given, "care"),
        back=maybe_text(given, "back"),
        holding=maybe_text(given, "holding"),
        hoop=maybe_text(given, "hoop"),
        thread=maybe_text(given, "thread"),
        needle=maybe_text(given, "needle"),
        speed_spm=number(given, "speed"),
        tolerance_mm=number(given, "tolerance"),
        colour=maybe_text(given, "colour"),
        backing=backing or None,
        topping=maybe_text(given, "topping"),
        applique=maybe_text(given, "applique"),
        placement=maybe_text(given, "placement"),
        colours=texts(given, "colours"),
        sizes=sizes,
        spares=_spares(given, quantity, spares),
        names=names,
        price=money(given, "price"),
    )


def _quantity(given: Given, sizes: tuple[tuple[str, int], ...], names: tuple[str, ...]) -> int:
    """Return how many pieces: as said, or as the sizes or the names come to; they must agree."""
    said = whole(given, "quantity", least=1)
    by_size = sum(count for _, count in sizes)
    for count, what in ((by_size, "sizes"), (len(names), "names")):
        if count and said is not None and count != said:
            raise given.wrong(f"quantity is {said}, but the {what} come to {count}", "quantity")
    if by_size and names and by_size != len(names):
        raise given.wrong(f"the sizes come to {by_size}, the names to {len(names)}", "names")
    quantity = said or by_size or len(names)
    if not quantity:
        raise given.wrong("quantity is missing; write for example quantity = 12", "quantity")
    return quantity


def _spares(given: Given, quantity: int, of_order: str) -> int:
    """Return how many spares: a count, or a share such as 5 %, rounded up."""
    said = str(given.table.get("spares", of_order))
    share = _SHARE.fullmatch(said)
    if share:
        return math.ceil(quantity * float(share[1]) / 100.0 - 1e-9)
    try:
        count = int(said)
    except ValueError:
        count = -1
    if count < 0:
        raise given.wrong(f'spares must be a count such as 2 or a share such as "5%", not {said!r}', "spares")
    return count


def _names(given: Given, folder: Path) -> tuple[str, ...]:
    """Return the names to be sewn: a list, or one a line in a file."""
    if "names" in given and "names_file" in given:
        raise given.wrong("give names or names_file, not both", "names_file")
    if "names_file" not in given:
        return texts(given, "names")
    path = folder / text(given, "names_file", "names.txt")
    try:
        lines = path.read_bytes().decode("utf-8-sig").splitlines()
    except OSError as error:
        raise BadOrder(f"{path}: {(error.strerror or str(error)).lower()}") from None
    except UnicodeDecodeError:
        raise BadOrder(f"{path}: this is no UTF-8 text") from None
    return tuple(line.strip() for line in lines if line.strip())
