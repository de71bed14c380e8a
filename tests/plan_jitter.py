"""Designs and materials moved within what is known of them, for the tests of the plan's stability."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from analyzer import Check, Job, check, goods
from analyzer.design import Design
from analyzer.goods import Setup
from analyzer.goods.types import Backing, Cloth, Value

_Item = TypeVar("_Item", Cloth, Backing)
NOT_MECHANICAL = ("weight_g_m2", "pile_mm", "shrink_percent", "relative_cost")


def moved(design: Design, by_mm: float, rng: np.random.Generator) -> Design:
    """Return a design whose places are each moved by a normal error, commands at one place together."""
    places, which = np.unique(design.points, axis=0, return_inverse=True)
    errors = rng.normal(0.0, by_mm, places.shape)
    return Design.from_commands((places + errors)[which.ravel()], design.kinds, name=design.name)


def scaled(value: Value, by: float) -> Value:
    """Return a value with its range times a factor."""
    return replace(value, value=value.value * by, low=value.low * by, high=value.high * by)


def drawn(item: _Item, share: float, rng: np.random.Generator) -> _Item:
    """Return a cloth or backing whose mechanical values are each off by up to a share."""
    changes: dict[str, Any] = {}
    for field in fields(item):
        value = getattr(item, field.name)
        if isinstance(value, Value) and field.name not in NOT_MECHANICAL:
            changes[field.name] = scaled(value, 1.0 + rng.uniform(-share, share))
    return replace(item, **changes)


def softened(setup: Setup, by: float) -> Setup:
    """Return a setup whose goods are so many times as stiff in the plane."""
    stiff = ("e1_kn_per_m", "e2_kn_per_m", "shear_n_per_m")
    cloth = setup.cloth
    return replace(setup, cloth=replace(cloth, **{name: scaled(getattr(cloth, name), by) for name in stiff}))


def jittered(setup: Setup, share: float, rng: np.random.Generator) -> Setup:
    """Return a setup whose cloth and backings are drawn within a share of their values."""
    backings = {name: drawn(item, share, rng) for name, item in setup.tables.backings.items()}
    tables = replace(setup.tables, backings=backings)
    return replace(setup, cloth=drawn(setup.cloth, share, rng), tables=tables)


def checked_with(design: Design, job: Job, change: Any, monkeypatch: Any) -> Check:
    """Return a check of a design with its setup changed."""
    resolve = goods.resolve
    with monkeypatch.context() as patch:
        patch.setattr(goods, "resolve", lambda *given: change(resolve(*given)))
        return check(design, job)
