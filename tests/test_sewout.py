"""The test piece, records of sew-outs, and the command; numbers from the issue's own demands or derived."""

from __future__ import annotations

import threading
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from analyzer import check, goods, read, write
from analyzer.commands.entry import run
from analyzer.errors import BadRecords
from analyzer.goods import Draws, StackChoice
from analyzer.job import Calibration, Job, Learned, OwnMaterials
from analyzer.regions import cut
from analyzer.sewout.learn import Lesson, Measured, calibration, draws_for, law_share, learn, quantiles
from analyzer.sewout.nodes import Nodes, compute
from analyzer.sewout.piece import measures, piece_design
from analyzer.sewout.records import alone, load, save
from analyzer.sewout.teaching import advice, drifts, lesson_of, measured

MEASURES = """
reading_error = 0.1
[[measure]]
name = "2 mm column, upright"
values = [1.7, 1.7, 1.8]
[[measure]]
name = "8 mm column, upright"
value = 7.7
[[measure]]
name = "fill along its rows"
value = 29.4
[[measure]]
name = "crosses above"
value = 29.0
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "card.toml").write_text(MEASURES, encoding="utf-8")
    write(piece_design(), tmp_path / "card.dst")
    return tmp_path


def add(*more: str, source: str = "card.toml") -> int:
    job = ("--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json")
    return run(["sewout", "add", "card.dst", *job, "--from", source, *more])


def test_the_piece_is_what_was_asked_for(folder: Path) -> None:
    """Columns of 2, 4, 8 mm both ways, a fill of 30 mm, the outline last, under ten minutes."""
    design = read("card.dst")
    regions = cut(design)
    columns = [item for item in regions.items if item.kind == "satin"]
    assert sorted((round(c.width_mm or 0), c.direction_deg) for c in columns) == [
        (2, 0.0), (2, 90.0), (4, 0.0), (4, 90.0), (8, 0.0), (8, 90.0),
    ]  # fmt: skip
    (fill,) = [item for item in regions.items if item.kind == "fill"]
    x0, y0, x1, y1 = fill.bbox_mm
    assert (x1 - x0, y1 - y0) == pytest.approx((30.0, 30.0), abs=0.21)
    (pair,) = regions.pairs
    assert pair.borders == fill.id
    assert pair.outline > fill.id
    assert check(design, Job(goods="jersey", backing="cutaway:85")).use.minutes < 10.0
    marks = [one for one in measures() if one.kind == "marks"]
    assert all(np.hypot(*np.subtract(one.end, one.start)) == pytest.approx(30.0) for one in marks)


def test_the_sheet_is_the_same_every_time(folder: Path) -> None:
    assert run(["sewout", "piece", "-o", "a.exp", "--sheet", "a.pdf"]) == 0
    assert run(["sewout", "piece", "-o", "b.exp", "--sheet", "b.pdf"]) == 0
    assert Path("a.pdf").read_bytes() == Path("b.pdf").read_bytes()
    assert run(["sewout", "piece", "-o", "a.exp"]) == 2  # never over a file that is there


def test_add_correct_remove_keep_everything(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert add() == 0
    path = Path("r.json")
    record = load(path).find("s1")
    assert record.sha256 == read("card.dst").sha256
    assert record.readings[0].value_mm == pytest.approx((1.7 + 1.7 + 1.8) / 3)
    job = ["--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json", "--from", "card.toml"]
    assert run(["sewout", "correct", "s1", "card.dst", *job, "--notes", "read again"]) == 0
    assert [one.state for one in load(path).records] == ["corrected", "kept"]
    assert run(["sewout", "export", "out.json", "--records", "r.json"]) == 0
    assert run(["sewout", "remove", "s2", "--records", "r.json"]) == 0
    assert load(path).kept == ()
    assert load(path).taught == ()
    assert run(["sewout", "import", "out.json", "--records", "new.json"]) == 0
    assert len(load(Path("new.json")).kept) == 1
    assert run(["sewout", "remove", "s9", "--records", "r.json"]) == 2
    assert "there is no sew-out 's9'" in capsys.readouterr().err


def test_inches_are_read_as_such(folder: Path) -> None:
    Path("in.toml").write_text(
        'units = "in"\n[[measure]]\nname = "8 mm column, upright"\nvalue = 0.303\n', encoding="utf-8"
    )
    assert add(source="in.toml") == 0
    assert load(Path("r.json")).find("s1").readings[0].value_mm == pytest.approx(0.303 * 25.4)


def test_csv_gives_the_same_as_toml(folder: Path) -> None:
    Path("m.csv").write_text(
        "﻿name;value;error\n8 mm column, upright;7,7;0,1\nfill along its rows;29,4;0,1\n", encoding="utf-8"
    )
    assert add(source="m.csv") == 0
    values = [one.value_mm for one in load(Path("r.json")).find("s1").readings]
    assert values == pytest.approx([7.7, 29.4])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[measure]]\nname = "8 mm column, upright"\nvalue = 77\n', "--sure"),
        ('[[measure]]\nname = "9 mm column"\nvalue = 7\n', "there is no measure"),
        ('[[measure]]\nname = "8 mm column, upright"\nvalu = 7\n', "did you mean value"),
        ('[[measure]]\nkind = "gap"\nat = [90.0, 0.0]\nvalue = 0.2\n', "no outline borders"),
        ('[[measure]]\nname = "8 mm column, upright"\nvalue = 7.7\nerror = -1\n', "reading error"),
    ],
)
def test_what_cannot_be_is_questioned(
    folder: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    Path("bad.toml").write_text(text, encoding="utf-8")
    assert add(source="bad.toml") == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert not Path("r.json").exists()


def test_a_damaged_file_is_kept_aside(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("r.json").write_text('{"schema": 1, "records": [', encoding="utf-8")
    assert run(["sewout", "list", "--records", "r.json"]) == 2
    assert "damaged" in capsys.readouterr().err
    assert Path("r.json.damaged-1").read_text(encoding="utf-8").startswith('{"schema"')
    assert add() == 0


def test_a_later_schema_is_left_alone(folder: Path) -> None:
    Path("r.json").write_text('{"schema": 99}', encoding="utf-8")
    with pytest.raises(BadRecords, match="later version"):
        load(Path("r.json"))
    assert Path("r.json").exists()


def test_two_at_once_lose_nothing(folder: Path) -> None:
    assert add() == 0
    one = load(Path("r.json")).find("s1")

    def more() -> None:
        for _ in range(5):
            with alone(Path("r.json")):
                held = load(Path("r.json"))
                save(Path("r.json"), held.added(replace(one, id=held.next_id())))

    threads = [threading.Thread(target=more) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({record.id for record in load(Path("r.json")).kept}) == 16


def test_check_goes_by_what_was_measured(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert add() == 0
    (taught,) = load(Path("r.json")).taught
    design = read("card.dst")
    job = Job(goods="jersey", backing="cutaway:85")
    before, after = check(design, job), check(design, replace(job, calibration=taught.calibration))
    assert not before.sureness.calibrated
    assert after.sureness.calibrated
    assert after.sureness.from_sewouts == 1

    def width(result: object) -> float:
        (gap,) = result.gaps  # type: ignore[attr-defined]
        return float(gap.high_mm - gap.low_mm)

    assert width(after) < 0.6 * width(before)
    capsys.readouterr()
    options = ["check", "card.dst", "--goods", "jersey", "--backing", "cutaway:85"]
    run([*options, "--records", "r.json"])
    assert "Calibrated by 1 sew-out" in capsys.readouterr().out
    run(options)
    assert "Uncalibrated" in capsys.readouterr().out
    # another thread was not measured
    run([*options, "--records", "r.json", "--thread", "viscose-40"])
    assert "Uncalibrated" in capsys.readouterr().out


def test_show_tells_and_draws(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sewout", "show", "--records", "r.json"]) == 0
    assert "No sew-out is recorded" in capsys.readouterr().out
    assert add() == 0
    capsys.readouterr()
    assert run(["sewout", "show", "--records", "r.json", "--picture", "a.svg"]) == 0
    said = capsys.readouterr().out
    assert "pull of the thread" in said
    assert "What would narrow" in said
    assert run(["sewout", "show", "--records", "r.json", "--picture", "b.svg"]) == 0
    assert Path("a.svg").read_bytes() == Path("b.svg").read_bytes()


def test_correlated_draws_hang_together_as_told() -> None:
    """Derived: scores mixed by the Cholesky factor of R have correlation R."""
    learned = (
        Learned("pull_n", None, 0.6, 0.5, 0.7),
        Learned("backing_stiffness", "cutaway", 0.8, 0.5, 1.2),
        Learned("backing_stiffness", "tearaway", 1.0, 0.5, 2.0),
    )
    told = Calibration(1, learned=learned, correlation=((1.0, 0.8, 0.1), (0.8, 1.0, 0.2), (0.1, 0.2, 1.0)))
    setup = goods.resolve(Job(goods="jersey"), "jersey", (60.0, 60.0))
    plain = goods.draw(4000, 0)
    for behind, expected in (("cutaway:85", 0.8), ("tearaway:50", 0.1), ("mesh-cutaway:50", 0.0)):
        choice = StackChoice(goods.parse_backing(behind, setup.tables), None)
        scores = goods.correlated(plain, told, "jersey", choice).scores
        found = np.corrcoef(scores["pull_n"], scores["backing_stiffness"])[0, 1]
        assert found == pytest.approx(expected, abs=0.05)


def sewn_as(pull: float, error: float, number: int = 0, *, play: float = 0.1, **more: object) -> Measured:
    """A record whose readings are what the law itself says at a pull and play, off by the reading error."""
    zero = {name: np.zeros(1) for name in goods.PARAMETERS}
    nodes = piece_nodes()
    at_nominal = nodes.shift(Draws(0, 1, zero))[0]
    noise = error * np.random.default_rng(number).standard_normal(len(at_nominal))
    value = nodes.meant + pull * at_nominal + play * nodes.play + noise
    return Measured(
        f"s{number + 1}", "loft", "polyester-40", "jersey", "cutaway", nodes, value,
        np.full(len(value), error), **more,
    )  # fmt: skip


@cache
def piece_nodes() -> Nodes:
    setup = goods.resolve(Job(goods="jersey"), "jersey", (90.0, 70.0))
    choice = StackChoice(goods.parse_backing("cutaway:85", setup.tables), None)
    return compute(piece_design(), setup, goods.build_stack(setup, choice), measures())


def pull_of(*records: Measured) -> float:
    found = calibration(learn(records), "loft", "polyester-40")
    assert found is not None
    return next(one.median for one in found.learned if one.parameter == "pull_n")


def only(record: Measured, *names: str) -> Measured:
    """The record with nothing read but what is named."""
    kept = np.array([one.name in names for one in record.nodes.measures])
    return replace(record, value_mm=np.where(kept, record.value_mm, np.nan))


def test_a_machine_that_pulls_ever_harder_is_noticed() -> None:
    """Derived: 8 % more from record to record is far beyond readings of 0.05 mm; a steady machine is not."""
    growing = [sewn_as(0.9 + 0.08 * number, 0.05, number) for number in range(5)]
    (said,) = drifts(learn(growing))
    assert "moves more" in said
    assert "--changed" in said
    (said,) = drifts(learn([replace(one, id=f"s{i}") for i, one in enumerate(growing[::-1])]))
    assert "moves less" in said
    assert drifts(learn(growing[:3])) == ()
    before = [replace(one, changes_since=1) for one in growing[:3]]
    assert drifts(learn([*before, *growing[3:]])) == ()


def test_a_steady_machine_is_left_in_peace() -> None:
    """Reading errors alone are called a drift in fewer than one of twenty sets of four."""
    said = [
        bool(drifts(learn([sewn_as(1.0, 0.1, 10 * each + number) for number in range(4)])))
        for each in range(20)
    ]
    assert sum(said) <= 1


def test_what_was_measured_before_a_change_counts_less() -> None:
    """An old record of a gentle pull and a new one of a hard pull: the change moves the answer to the new."""
    old, new = sewn_as(0.8, 0.05, 0), sewn_as(1.3, 0.05, 1)
    alone, both = pull_of(new), pull_of(old, new)
    after_change = pull_of(replace(old, changes_since=1), new)
    assert both < after_change < alone * 1.02
    assert abs(after_change - alone) < 0.8 * abs(both - alone)


def test_changed_is_kept_and_ages_what_came_before(folder: Path) -> None:
    assert add() == 0
    assert add("--changed") == 0
    held = load(Path("r.json"))
    assert [one.changed for one in held.kept] == [False, True]
    assert [one.changes_since for one in lesson_of(held).records] == [1, 0]


def test_advice_names_what_the_columns_cannot_tell() -> None:
    """Columns confound play with pull: crosses, fill or gap come first, and do what is promised of them."""
    told = only(sewn_as(1.1, 0.1), "8 mm column, upright")
    lesson = learn([told])
    ranked = advice(lesson)
    kinds = {one.name: one.kind for one in measures()}
    assert kinds[ranked[0].name] in ("marks", "sewn", "gap")
    again = next(one for one in ranked if one.name == "8 mm column, upright")
    assert [one.name for one in ranked if one.again] == [again.name]
    assert again.narrower < 0.3 * ranked[0].narrower

    def width(lesson: Lesson) -> float:
        gap = np.array([kinds[one.name] == "gap" for one in told.nodes.measures])
        draws = draws_for(told, lesson.keys, lesson.scores)
        logs = np.log(told.nodes.shift(draws)[:, gap].mean(axis=1))
        _, low, high = quantiles(logs, lesson.weights)
        return high - low

    one_more = only(sewn_as(1.1, 0.1), "8 mm column, upright", ranked[0].name)
    assert 1.0 - width(learn([one_more])) / width(lesson) == pytest.approx(ranked[0].narrower, abs=0.2)


def test_more_pieces_do_not_tell_more_than_the_law_can() -> None:
    """Derived: with no reading error n equal records leave the pull as wide as one does."""

    def width(*records: Measured) -> float:
        lesson = learn(records)
        column = next(n for n, key in enumerate(lesson.keys) if key[0] == "pull_n")
        gap = draws_for(records[0], lesson.keys, lesson.scores)
        logs = np.log(np.abs(records[0].nodes.shift(gap)[:, -1]))
        assert np.isfinite(lesson.scores[:, column]).all()
        _, low, high = quantiles(logs, lesson.weights)
        return high - low

    one = sewn_as(1.0, 0.002)
    assert width(one, one, one, one) == pytest.approx(width(one), rel=0.3)


def test_what_the_law_errs_is_shared_by_kind_and_by_place() -> None:
    """Derived: n measures of one common error tell together what one tells with n times the variance."""
    table = goods.constants("sewout")
    kind, place = table["law_gap"].value ** 2, table["place_gap"].value ** 2
    one = sewn_as(1.0, 0.1)
    gap = [measure.name for measure in measures()].index("gap at the left")

    def variance(*records: Measured) -> float:
        return float(law_share(one, records)[gap] ** 2)

    assert variance(one) == pytest.approx(2 * kind + place)  # left and right
    assert variance(one, one) == pytest.approx(4 * kind + 2 * place)
    assert variance(only(one, "gap at the left")) == pytest.approx(kind + place)
    for elsewhere in ({"design": "another"}, {"cloth": "terry"}, {"machine": "cellar"}):
        assert variance(one, replace(one, **elsewhere)) == pytest.approx(2 * kind + place)


def test_own_goods_are_kept_with_the_record(folder: Path) -> None:
    """A record on the user's own cloth still teaches when the file that described it is gone."""
    Path("prehoop.toml").write_text(
        '[goods.crew-tee]\nlike = "jersey"\nweight_g_m2 = 190\n', encoding="utf-8"
    )
    job = ["--backing", "cutaway:85", "--records", "r.json", "--from", "card.toml"]
    assert run(["sewout", "add", "card.dst", "--goods", "crew-tee", *job]) == 0
    held = load(Path("r.json"))
    assert [one.source for one in held.find("s1").own] != []
    taught = held.taught
    Path("prehoop.toml").unlink()
    assert run(["sewout", "show", "--records", "r.json"]) == 0
    assert run(["sewout", "add", "card.dst", "--goods", "jersey", *job]) == 0
    later = load(Path("r.json"))
    assert later.find("s2").own == ()
    of = {one.of for each in later.taught for one in each.calibration.learned}
    assert {"crew-tee", "jersey"} <= of
    assert taught[0].calibration.learned[0].of in of
    # as it is described today, where it is described
    Path("prehoop.toml").write_text(
        '[goods.crew-tee]\nlike = "jersey"\nweight_g_m2 = 380\n', encoding="utf-8"
    )
    heavy = (OwnMaterials(Path("prehoop.toml").read_text(encoding="utf-8"), "prehoop.toml"),)
    then, now = (measured(later.find("s1"), own).nodes.stack.layers[0].membrane for own in ((), heavy))
    assert now[0, 0] == pytest.approx(2.0 * then[0, 0])


def test_washed_lengths_stand_beside_what_bare_cloth_loses(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Derived: 29.4 mm in the hoop, 28.2 washed: 4.1 % lost; nothing is learned from it or from crosses."""
    later = "".join(
        f'[[measure]]\nname = "{name}"\nvalue = {value}\nstate = "{state}"\n'
        for name, value, state in (
            ("crosses above", 28.6, "released"),
            ("fill along its rows", 28.2, "washed"),
        )
    )
    Path("later.toml").write_text(MEASURES + later, encoding="utf-8")
    assert add() == 0
    taught = load(Path("r.json")).taught
    assert run(["sewout", "remove", "s1", "--records", "r.json"]) == 0
    assert add(source="later.toml") == 0
    assert load(Path("r.json")).taught == taught
    capsys.readouterr()
    assert run(["sewout", "show", "--records", "r.json"]) == 0
    said = capsys.readouterr().out
    assert "crosses above, out of the hoop" in said
    assert "washing took 4.1% of lengths; the table says that bare jersey loses 3 to 8 %" in said
    assert "-1.2" in said.partition("Out of the hoop")[2]


def fill_only(state: str, value: float = 29.0, *, name: str = "fill along its rows") -> str:
    return f'[[measure]]\nname = "{name}"\nvalue = {value}\nstate = "{state}"\n'


def pull_taught() -> Learned:
    (taught,) = load(Path("r.json")).taught
    return next(one for one in taught.calibration.learned if one.parameter == "pull_n")


def test_what_is_measured_out_of_the_hoop_teaches_less(folder: Path) -> None:
    """The same fill 1 mm short moves the pull the same way, but less far than read in the hoop."""
    found = {}
    for state in ("hooped", "released"):
        Path("fill.toml").write_text(fill_only(state), encoding="utf-8")
        assert run(["sewout", "remove", "s1", "--records", "r.json"]) in (0, 2)
        Path("r.json").unlink(missing_ok=True)
        assert add(source="fill.toml") == 0
        found[state] = pull_taught()
    table = 0.65
    assert table < found["released"].median < found["hooped"].median
    spread = {state: np.log(one.high / one.low) for state, one in found.items()}
    assert spread["hooped"] < spread["released"]


def test_crosses_out_of_the_hoop_alone_teach_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("x.toml").write_text(fill_only("released", name="crosses above"), encoding="utf-8")
    assert add(source="x.toml") == 2
    assert "nothing was given that teaches" in capsys.readouterr().err


def test_release_moves_what_teaches_out_of_the_hoop_by_less_than_a_ruler_sees() -> None:
    """Derived: why widths, fills and gaps out of the hoop are read as those in it; on three cloths.

    Nominally, on the fine grid; crosses move by more, which is why they teach in the hoop only.
    """
    from analyzer import mechanics
    from analyzer.mechanics.readings import readings
    from analyzer.mechanics.release import free
    from analyzer.mechanics.respond import make_variants
    from analyzer.mechanics.sequence import sew
    from analyzer.sewout.nodes import _sought

    design = piece_design()
    crosses = []
    for cloth, behind in (
        ("jersey", "cutaway:85"), ("cotton-twill", "tearaway:50"), ("sweatshirt", "mesh-cutaway:50"),
    ):  # fmt: skip
        setup = goods.resolve(Job(goods=cloth), cloth, (90.0, 70.0))
        stack = goods.build_stack(setup, StackChoice(goods.parse_backing(behind, setup.tables), None))
        sewing = mechanics.prepare(design, cut(design), setup.hoop)
        sought = _sought(design, cut(design), measures(), 0.375)[0]
        layout, one = sewing.full, make_variants(stack, {}, 1)
        where = readings(sought, layout.lattice, layout.origin_mm, layout.blocks)
        sewn = sew(layout, sewing.stitches, one, tolerance=2e-2)
        pull, hooping = free(layout, stack, sewn, one.layers[0]).moved
        moved = where.gather @ (where.end @ (pull + stack.hooping_n_per_m.value * hooping).ravel())
        kinds = np.array([measure.kind for measure in measures()])
        assert np.abs(moved[kinds != "marks"]).max() < 0.05
        crosses.append(np.abs(moved[kinds == "marks"]).max())
    assert max(crosses) > 0.1
