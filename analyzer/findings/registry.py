"""All findings by name, in the order in which they are looked for."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analyzer.findings.evidence import Rule
from analyzer.findings.rules import (
    backing_outweighs_goods,
    backing_shows,
    beyond_range,
    column_narrows,
    column_spreads,
    column_too_thin,
    damaged_file,
    edge_pucker,
    ground_shows,
    hole_in_cover,
    hoop_mark,
    hoop_too_small,
    inner_pucker,
    lace_comes_apart,
    lace_weak_link,
    long_stitches,
    missing_stop,
    more_colours_than_needles,
    nap_shows,
    near_hoop_edge,
    needle_crowding,
    no_ties,
    no_underlay,
    open_void,
    order_fights_cloth,
    outline_gap,
    outline_overlap,
    perforated_edge,
    short_stitches,
    shrinks_in_wash,
    small_lettering,
    stitching_outweighs_goods,
    thin_cover,
    thread_pile_up,
    topping_trapped,
)

_MODULES = (
    damaged_file,
    hoop_too_small,
    lace_comes_apart,
    lace_weak_link,
    missing_stop,
    beyond_range,
    outline_gap,
    outline_overlap,
    order_fights_cloth,
    column_narrows,
    column_spreads,
    edge_pucker,
    inner_pucker,
    needle_crowding,
    perforated_edge,
    thread_pile_up,
    stitching_outweighs_goods,
    thin_cover,
    ground_shows,
    hole_in_cover,
    nap_shows,
    no_underlay,
    column_too_thin,
    small_lettering,
    short_stitches,
    long_stitches,
    no_ties,
    backing_outweighs_goods,
    backing_shows,
    topping_trapped,
    hoop_mark,
    near_hoop_edge,
    shrinks_in_wash,
    more_colours_than_needles,
    open_void,
)

RULES: Mapping[str, Rule] = MappingProxyType({module.RULE.name: module.RULE for module in _MODULES})
"""Every finding by its name."""


def page(name: str) -> str:
    """Return the page that explains a finding.

    Raises:
        KeyError: no finding has that name.

    """
    return RULES[name].page
