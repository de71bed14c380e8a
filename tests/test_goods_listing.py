"""The tables as lists."""

import json

import pytest

from analyzer import goods
from analyzer.errors import UnknownName
from analyzer.goods import TABLES, records, rows

LOADERS = {"goods": goods.cloths, **{name: getattr(goods, name) for name in TABLES if name != "goods"}}


@pytest.mark.parametrize("table", TABLES)
def test_every_item_has_a_row_with_its_mark_and_source(table: str) -> None:
    headers, body = rows(table)
    assert headers[-2:] == ("known", "source")
    assert len(body) == len(LOADERS[table]())
    for row, name in zip(body, LOADERS[table](), strict=True):
        assert len(row) == len(headers)
        assert row[0] == name
        assert row[-2] in ("measured", "related", "guess")
        assert all(isinstance(cell, str) and cell for cell in row)


@pytest.mark.parametrize("table", TABLES)
def test_records_survive_json_and_hold_every_quantity(table: str) -> None:
    found = json.loads(json.dumps(records(table), allow_nan=False))
    assert [item.get("name", item.get("kind")) for item in found] == list(LOADERS[table]())
    quantities = [value for item in found for value in item.values() if isinstance(value, dict)]
    assert all(set(value) == {"value", "low", "high", "known", "source"} for value in quantities)
    assert bool(quantities) == (table != "hoops")


def test_a_row_shows_value_and_range_in_metric_first() -> None:
    headers, body = rows("goods")
    jersey = dict(zip(headers, next(row for row in body if row[0] == "jersey"), strict=True))
    assert jersey["weight g/m2"] == "160 (130-200)"
    assert jersey["oz/yd2"] == "4.7"
    assert jersey["known"] == "guess"
    assert list(headers).index("weight g/m2") < list(headers).index("oz/yd2")


def test_a_row_is_no_better_known_than_its_worst_value() -> None:
    headers, body = rows("goods")
    known = {row[0]: row[list(headers).index("known")] for row in body}
    assert known["denim"] == "related"
    assert known["interlock"] == "related"
    assert known["organza"] == "guess"


def test_an_unknown_table_is_refused() -> None:
    with pytest.raises(UnknownName, match="did you mean threads"):
        rows("clothes")


def test_the_public_names_are_there() -> None:
    assert len(set(goods.__all__)) == len(goods.__all__)
    assert all(hasattr(goods, name) for name in goods.__all__)
    assert {"resolve", "build_stack", "draw", "values", "constants", "parse_backing", "hoop"} <= set(
        goods.__all__
    )
