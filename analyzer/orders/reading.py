"""Reading an order file, TOML, or its items from CSV: strictly, every mistake with file and line.

An item that cannot be understood is left out and said to be missing; what is wrong with the order as a whole
is an error, since nothing could be trusted then.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from analyzer.errors import BadJob, BadOrder
from analyzer.goods.own_files import TomlFile, read_toml
from analyzer.orders.items import ITEM_KEYS, item_of
from analyzer.orders.types import Item, Order, Prices, Roll, Shop
from analyzer.orders.values import Given, money, number, text, whole

_TABLES = ("order", "item", "shop", "prices", "roll")
_ORDER_KEYS = ("number", "customer", "due", "date", "currency", "notes", "items", "spares")
_SHOP_KEYS = (
    "heads", "hooping_minutes", "trimming_minutes", "breaks_per_10000", "minutes_per_break", "cone_m",
    "bobbin_m",
)  # fmt: skip
_ROLL_KEYS = ("kind", "width_mm", "length_m")
_PRICE_KEYS = ("thread_per_m", "bobbin_per_m", "backing_per_m2", "topping_per_m2", "minute", "setup")
_BYTES = 16_000_000  #: of a CSV of items


def read_order(path: Path) -> Order:
    """Return the order that a TOML file describes, or a CSV file of items alone.

    Raises:
        BadOrder: the file cannot be opened or read, holds no item, or a key or value of the order is wrong.

    """
    if path.suffix.lower() == ".csv":
        rows, missing = _csv_items(path, first=1, spares="0")
        return _complete(Order(source=path, items=rows, missing=missing))
    try:
        return _toml_order(read_toml(path))
    except BadJob as error:
        raise BadOrder(str(error)) from None


def _toml_order(file: TomlFile) -> Order:
    path = file.path
    file.only(_TABLES)
    head = _table(file, "order")
    file.only(_ORDER_KEYS, "order", table=head)
    given = Given(head, lambda message, key: _wrong(file, message, "order", key))
    spares = str(head.get("spares", "0"))
    items, missing = _toml_items(file, spares)
    if "items" in head:
        rows, more = _csv_items(
            path.parent / text(given, "items", "items.csv"), len(items) + len(missing) + 1, spares
        )
        items, missing = items + rows, missing + more
    notes = head.get("notes", [])
    return _complete(
        Order(
            source=path,
            items=items,
            number=_said(head.get("number")),
            customer=_said(head.get("customer")),
            due=_said(head.get("due")),
            date=_said(head.get("date")),
            currency=_said(head.get("currency")),
            notes=tuple(str(one) for one in (notes if isinstance(notes, list) else [notes])),
            shop=_shop(file),
            prices=_prices(file),
            missing=missing,
        )
    )


def _complete(order: Order) -> Order:
    if not order.items and not order.missing:
        raise BadOrder(f"{order.source}: there is no [[item]] in it")
    return order


def _wrong(file: TomlFile, message: str, *keys: str | int) -> BadOrder:
    return BadOrder(str(file.wrong(message, *keys)))


def _table(file: TomlFile, name: str) -> Mapping[str, Any]:
    table = file.table.get(name, {})
    if not isinstance(table, Mapping):
        raise _wrong(file, f"write it as [{name}] with NAME = VALUE", name)
    return table


def _said(value: Any) -> str | None:
    """Return a text of the order; TOML knows dates, and numbers may be written bare."""
    if value is None:
        return None
    return value.isoformat() if isinstance(value, date | datetime) else str(value)


def _toml_items(file: TomlFile, spares: str) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    tables = file.table.get("item", [])
    if not isinstance(tables, list) or not all(isinstance(one, Mapping) for one in tables):
        raise _wrong(file, "write each item as [[item]] with NAME = VALUE", "item")
    items, missing = [], []
    for position, table in enumerate(tables, 1):

        def wrong(message: str, key: str, position: int = position) -> BadOrder:
            return _wrong(file, message, "item", position, key)

        try:
            file.only(ITEM_KEYS, "item", position, table=table)
            items.append(item_of(position, Given(table, wrong), str(file.path), file.path.parent, spares))
        except ValueError as error:
            missing.append(f"item {position}: {error}")
    return tuple(items), tuple(missing)


def _csv_items(path: Path, first: int, spares: str) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Return the items of a CSV file: a header of item keys, comma or semicolon, lists parted by a bar."""
    header, rows = _csv_rows(path)
    for key in header:
        if key not in ITEM_KEYS:
            nearest = difflib.get_close_matches(key, ITEM_KEYS, n=1, cutoff=0.5)
            advice = f"did you mean {nearest[0]}?" if nearest else f"known: {', '.join(ITEM_KEYS)}"
            raise BadOrder(f"{path}, row 1: unknown column '{key}': {advice}")
    items, missing = [], []
    for position, (row, cells) in enumerate(rows, first):
        where = f"{path}, row {row}"

        def wrong(message: str, key: str, where: str = where) -> BadOrder:
            return BadOrder(f"{where}, column {key}: {message}")

        if len(cells) > len(header):
            missing.append(f"item {position}: {where}: more cells than columns")
            continue
        table = {key: cell.strip() for key, cell in zip(header, cells, strict=False) if cell.strip()}
        try:
            items.append(item_of(position, Given(table, wrong, from_text=True), where, path.parent, spares))
        except ValueError as error:
            missing.append(f"item {position}: {error}")
    return tuple(items), tuple(missing)


def _csv_rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    try:
        if path.stat().st_size > _BYTES:
            raise BadOrder(f"{path}: larger than any list of items")
        content = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise BadOrder(f"{path}: {(error.strerror or str(error)).lower()}") from None
    except UnicodeDecodeError:
        raise BadOrder(f"{path}: this is no UTF-8 text") from None
    first = content.split("\n", 1)[0]
    mark = ";" if first.count(";") > first.count(",") else ","
    try:
        table = [
            (number, row)
            for number, row in enumerate(
                csv.reader(io.StringIO(content, newline=""), delimiter=mark, strict=True), 1
            )
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        raise BadOrder(f"{path}: this is no CSV: {error}") from None
    if not table:
        raise BadOrder(f"{path}: it is empty; its first row names the columns")
    header = [cell.strip().lower() for cell in table[0][1]]
    return header, table[1:]


def _shop(file: TomlFile) -> Shop:
    table = _table(file, "shop")
    file.only(_SHOP_KEYS, "shop", table=table)
    given = Given(table, lambda message, key: _wrong(file, message, "shop", key))
    minutes = {key: number(given, key, zero=True) for key in _SHOP_KEYS[1:5]}
    if (minutes["breaks_per_10000"] is None) != (minutes["minutes_per_break"] is None):
        raise _wrong(file, "breaks_per_10000 and minutes_per_break belong together", "shop")
    return Shop(
        heads=whole(given, "heads", least=1),
        cone_m=number(given, "cone_m"),
        bobbin_m=number(given, "bobbin_m"),
        rolls=_rolls(file),
        **minutes,
    )


def _rolls(file: TomlFile) -> tuple[tuple[str, Roll], ...]:
    tables = file.table.get("roll", [])
    if not isinstance(tables, list) or not all(isinstance(one, Mapping) for one in tables):
        raise _wrong(file, "write each roll as [[roll]] with kind and width_mm", "roll")
    rolls = []
    for position, table in enumerate(tables, 1):
        file.only(_ROLL_KEYS, "roll", position, table=table)

        def wrong(message: str, key: str, position: int = position) -> BadOrder:
            return _wrong(file, message, "roll", position, key)

        given = Given(table, wrong)
        width = number(given, "width_mm")
        if width is None:
            raise wrong("a roll needs width_mm", "kind")
        rolls.append((str(table.get("kind", "any")), Roll(width, number(given, "length_m"))))
    return tuple(rolls)


def _prices(file: TomlFile) -> Prices:
    table = _table(file, "prices")
    file.only(_PRICE_KEYS, "prices", table=table)
    given = Given(table, lambda message, key: _wrong(file, message, "prices", key))
    found: dict[str, Decimal | None] = {key: money(given, key) for key in _PRICE_KEYS}
    return Prices(**found)
