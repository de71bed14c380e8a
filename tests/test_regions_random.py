"""Cutting random labelled designs: what is found against what each stitch was made as.

The truth is how the designs of labelled_families.py were constructed; the cutting sees penetrations only.
Seeds below ``FIRST_FRESH`` were looked at while the rules were made; these tests use others.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from labelled_families import FAMILIES, FILLS, labelled
from labelled_parts import Sheet
from labelled_score import KINDS, confusion, gap_errors, objects_found, right_share

from analyzer.regions import Regions, cut

FIRST_FRESH = 1000
EVERYDAY, LONG = 3, 60  # designs of each family, ordinary and hard
NAMES = [*FAMILIES, "mixed"]
ALONG_MM = 4.0  # a gap is judged over this much of an outline


@cache
def cut_all(name: str, hard: bool, count: int) -> list[tuple[Sheet, Regions]]:
    sheets = [labelled(name, FIRST_FRESH + seed, hard=hard) for seed in range(count)]
    return [(sheet, cut(sheet.design())) for sheet in sheets if sheet.labels]


def all_cut(hard: bool, count: int) -> list[tuple[Sheet, Regions]]:
    return [pair for name in NAMES for pair in cut_all(name, hard, count)]


def check_kinds(count: int) -> None:
    for hard, least in ((False, 0.975), (True, 0.95)):
        table = confusion(all_cut(hard, count))
        assert np.trace(table) / table.sum() >= least
        for kind, row in zip(KINDS, table, strict=True):
            assert row[KINDS.index(kind)] / row.sum() >= 0.93 - 0.03 * (count < LONG), kind
        # One answer for everything, or the right answers to the wrong stitches, would not do.
        assert table.sum(axis=1).max() / table.sum() < 0.7
        assert np.trace(np.roll(table, 1, axis=1)) / table.sum() < 0.1


def check_fills(count: int) -> None:
    fill = KINDS.index("fill")
    for name in FILLS:
        for hard in (False, True):
            table = confusion(cut_all(name, hard, count))
            assert table[fill, fill] / table[fill].sum() >= 0.9, (name, hard)


def check_regions(count: int) -> None:
    found = [
        good for hard in (False, True) for s, r in all_cut(hard, count) for _, good, _ in objects_found(s, r)
    ]
    assert len(found) > 100
    assert np.mean(found) >= 0.95 - 0.02 * (count < LONG)


def check_spacing(count: int) -> None:
    errors: dict[str, list[float]] = {"fill": [], "satin": []}
    for hard in (False, True):
        for sheet, regions in all_cut(hard, count):
            for number, good, best in objects_found(sheet, regions):
                made, spacing = sheet.made[number], regions.items[best].row_spacing_mm
                if good and made.spacing_mm and spacing:
                    errors[made.kind].append(spacing / made.spacing_mm - 1.0)
    for kind, each in errors.items():
        assert len(each) > 20
        assert np.median(np.abs(each)) < 0.03, kind


def check_gaps(count: int) -> None:
    missed = false = 0
    stretches, whole = [], 0
    for hard in (False, True):
        for sheet, regions in all_cut(hard, count):
            errors, lost, wrong = gap_errors(sheet, regions)
            missed, false, whole = missed + lost, false + wrong, whole + len(errors)
            k = round(ALONG_MM / 0.5)
            stretches += [e[i : i + k].mean() for e in errors for i in range(0, len(e) - k + 1, k)]
    assert whole > 5
    assert missed <= 0.03 * (whole + missed)
    error = np.array(stretches)
    assert abs(np.median(error)) < 0.03
    assert 1.4826 * np.median(np.abs(error - np.median(error))) < 0.06


CHECKS = [check_kinds, check_fills, check_regions, check_spacing, check_gaps]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_a_few_fresh_designs_of_every_family(check) -> None:
    check(EVERYDAY)


@pytest.mark.long
@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_many_fresh_designs_of_every_family(check) -> None:
    check(LONG)


def test_the_same_seed_makes_the_same_design() -> None:
    first, again, other = (labelled("mixed", seed, hard=True) for seed in (1, 1, 2))
    assert first.points == again.points
    assert first.labels == again.labels
    assert first.points != other.points


def test_wrong_labels_would_be_seen() -> None:
    sheet = labelled("lettering", 1, hard=False)
    regions = cut(sheet.design())
    assert right_share(sheet, regions) > 0.9
    sheet.labels = ["fill" if label == "satin" else label for label in sheet.labels]
    assert right_share(sheet, regions) < 0.4
