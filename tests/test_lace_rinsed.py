"""Free-standing lace once its backing is rinsed away: what moves, and what is not predicted."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from analyzer import Check, Design, Job, check, read
from analyzer.design import Command
from analyzer.mechanics import release
from analyzer.mechanics.release import free, unhooped
from analyzer.mechanics.respond import make_variants
from analyzer.mechanics.sequence import sew
from analyzer.mechanics.sewing import prepare

STARFISH = Path(__file__).parents[1] / "sample_designs" / "lace-starfish.dst"
LACE = Job(goods="none", backing="wash-away-fibrous:60x2", hoop="100x100")


def mesh(x0: float, side: float = 24.0, spacing: float = 3.0) -> np.ndarray:
    """Rows there and back along x, then along y: threads cross every 3 mm."""
    lines = np.arange(0.0, side + 0.1, spacing)
    along = np.arange(0.0, side + 0.1, 2.0)
    points = []
    for turned in (False, True):
        for number, line in enumerate(lines):
            for at in along if number % 2 == 0 else along[::-1]:
                points.append((line, at) if turned else (at, line))
    return np.array(points) + np.array([x0, 0.0])


def sewn(*parts: np.ndarray) -> Design:
    points, kinds = [], []
    for part in parts:
        points += [part, part[-1:]]
        kinds += [1] * len(part) + [int(Command.TRIM)]
    return Design.from_commands(np.concatenate(points), np.array(kinds, dtype=np.uint8))


@pytest.fixture(scope="module")
def starfish() -> Check:
    return check(read(STARFISH), LACE)


def test_lace_draws_in_when_it_is_rinsed(starfish: Check) -> None:
    """The threads still pull and nothing else holds them: the lace gets smaller along both directions."""
    judged = starfish.judged
    assert judged is not None
    moves = judged.response.unhooped
    assert moves is not None
    assert 0.05 < moves.moved_mm < 3.0
    assert moves.along_mm > 0.0
    assert moves.across_mm > 0.0
    assert starfish.to_dict()["pull_in"]["unhooped_mm"] == pytest.approx(moves.moved_mm)
    assert "Rinsed" in starfish.text()


def test_the_floor_under_rinsed_film_hardly_matters(starfish: Check, monkeypatch: pytest.MonkeyPatch) -> None:
    """It keeps the equations regular: a network that holds by itself moves alike on a fifth of it."""
    result = starfish
    assert result.judged is not None
    stack = result.judged.stack
    sewing = prepare(result.design, result.regions, result.judged.setup.hoop)
    variants = make_variants(stack, {}, 1)
    done = sew(sewing.spread, sewing.stitches, variants, tolerance=1e-4)
    table = dict(release.constants("mechanics"))
    most = {}
    for floor in (0.004, 0.02, 1.0):
        entry = table["film_floor"]
        changed = type(entry)(floor, floor, floor, entry.known, entry.source)
        monkeypatch.setattr(release, "constants", lambda _, changed=changed: {**table, "film_floor": changed})
        freed = free(sewing.spread, stack, done, variants.layers[0])
        places = result.design.penetrations[sewing.loaded]
        most[floor] = unhooped(sewing.spread, freed, 0.0, places, np.array([1.0, 0.0])).moved_mm
    assert most[0.004] == pytest.approx(most[0.02], rel=0.15)
    assert most[1.0] < 0.7 * most[0.02]  # negative control: film that stays does hold it


def test_a_mesh_in_one_piece_is_predicted_and_two_apart_are_not() -> None:
    whole, apart = check(sewn(mesh(0.0)), LACE), check(sewn(mesh(-20.0), mesh(14.0)), LACE)
    assert whole.judged is not None
    assert apart.judged is not None
    assert whole.cover.lace.pieces == 1
    assert whole.judged.response.unhooped is not None
    assert apart.cover.lace.pieces == 2
    assert apart.judged.response.unhooped is None
    assert apart.to_dict()["pull_in"]["unhooped_mm"] is None
    (finding,) = [one for one in apart.findings if one.name == "lace-comes-apart"]
    assert "not computed" in finding.because
    said = " ".join(apart.text().split())
    beyond = apart.judged.response.pull_in.beyond_range
    assert beyond or "its threads do not hold together by themselves" in said
    assert all(one.name != "lace-comes-apart" for one in whole.findings)


def test_on_cloth_nothing_is_said_of_rinsing() -> None:
    result = check(sewn(mesh(0.0)), Job(goods="cotton-twill", backing="cutaway:68", hoop="100x100"))
    assert result.judged is not None
    assert result.judged.response.unhooped is not None
    assert "Rinsed" not in result.text()


@pytest.mark.parametrize("holding", ["hooped", "floated", "adhesive", "clamped", "magnetic"])
def test_lace_has_an_answer_in_every_flat_holding(holding: str) -> None:
    """Common practice, no source: film that is laid or stuck on has no hooping tension, and still a wave."""
    found = check(read(STARFISH), dataclasses.replace(LACE, holding=holding)).judged
    assert found is not None
    pucker = found.findings.pucker
    assert 0.0 < pucker.low_mm < pucker.amplitude_mm < pucker.high_mm < 5.0


def test_lace_on_a_cap_frame_still_stands_on_what_is_rinsed_away() -> None:
    """Common practice, no source: what is torn away would stay in the meshes."""
    plan = check(read(STARFISH), Job(goods="none", holding="cap-frame")).plan
    assert plan is not None
    assert all(one.kind.startswith("wash-away") for one in plan.choice.backings)
