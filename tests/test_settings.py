"""Settings files: which apply, what goes before what, and mistakes told with file and line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import platformdirs
import pytest
import report_cases as cases

from analyzer import pipeline
from analyzer.commands.entry import run
from analyzer.design import Design
from analyzer.goods import resolve
from analyzer.goods.own_files import read_machine
from analyzer.job import Frame, Job
from analyzer.pipeline import Checked

SAMPLES = Path(__file__).parents[1] / "sample_designs"


@pytest.fixture
def jobs(monkeypatch: pytest.MonkeyPatch) -> list[Job]:
    """Return the jobs that checks are asked with, in place of checking."""
    asked: list[Job] = []

    def answer(design: Design, job: Job, progress: object = None, **_: object) -> Checked:
        asked.append(job)
        return cases.checked()

    monkeypatch.setattr(pipeline, "check", answer)
    return asked


@pytest.fixture
def users(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of the user's own settings, empty."""
    folder = tmp_path / "users"
    folder.mkdir()
    monkeypatch.setattr(platformdirs, "user_config_path", lambda *_, **__: folder)
    return folder


@pytest.fixture
def order(tmp_path: Path, users: Path) -> Path:
    """Return a folder of an order with one design in a folder of its own."""
    folder = tmp_path / "order" / "designs"
    folder.mkdir(parents=True)
    shutil.copy(SAMPLES / "regatta-lettering.pes", folder / "lettering.pes")
    return folder.parent


def check(order: Path, *options: str) -> int:
    return run(["check", str(order / "designs" / "lettering.pes"), *options])


def test_options_go_before_the_nearest_file_and_that_before_the_users_own(
    jobs: list[Job], order: Path, users: Path
) -> None:
    (users / "prehoop.toml").write_text(
        '[job]\ngoods = "denim"\ncare = "industrial"\nspeed = 650\n[limits]\nhoop_edge_mm = 7\n'
    )
    (order / "prehoop.toml").write_text('[job]\ngoods = "terry"\ncare = "washed-often"\n')
    check(order, "--goods", "pique")
    (job,) = jobs
    assert (job.goods, job.care, job.speed_spm) == ("pique", "washed-often", 650)
    assert job.limits is not None
    assert job.limits.values == (("hoop_edge_mm", 7.0),)


def test_the_nearest_file_upwards_is_the_one(jobs: list[Job], order: Path) -> None:
    (order.parent / "prehoop.toml").write_text('[job]\ngoods = "denim"\ncare = "industrial"\n')
    (order / "designs" / "prehoop.toml").write_text('[job]\ngoods = "terry"\n')
    check(order)
    assert (jobs[0].goods, jobs[0].care) == ("terry", None)


def test_designs_in_different_folders_go_by_their_own_files(jobs: list[Job], order: Path) -> None:
    other = order / "caps"
    other.mkdir()
    shutil.copy(order / "designs" / "lettering.pes", other / "crest.pes")
    (other / "prehoop.toml").write_text('[job]\nholding = "cap-frame"\n')
    run(["check", str(order / "designs" / "lettering.pes"), str(other / "crest.pes")])
    assert [job.holding for job in jobs] == ["hooped", "cap-frame"]


def test_a_whole_file_reaches_the_job(jobs: list[Job], order: Path) -> None:
    (order / "shop").mkdir()
    (order / "shop" / "cloths.toml").write_text('[goods.crew-polo]\nlike = "pique"\nweight_g_m2 = 205\n')
    (order / "stock.toml").write_text('backings = ["mine:75"]\n')
    (order / "prehoop.toml").write_text(
        'materials = ["shop/cloths.toml"]\nsilence = ["open-void"]\n'
        '[job]\ngoods = "crew-polo"\ntolerance = "0.02in"\nstock = "stock.toml"\nbacking = ["mine:75x2"]\n'
        'hoop = "5x7in"\nseed = 4\n[backings.mine]\nlike = "cutaway"\nweights_g_m2 = [75]\n'
    )
    check(order)
    (job,) = jobs
    assert (job.goods, job.backing) == ("crew-polo", ("mine:75x2",))
    assert job.tolerance_mm == pytest.approx(0.508)
    assert (job.stock, job.hoop, job.seed) == (("mine:75",), "5x7in", 4)
    assert job.limits is not None
    assert job.limits.silenced == ("open-void",)
    setup = resolve(job, "crew-polo", (50.0, 50.0))
    assert setup.cloth.weight_g_m2.value == 205
    assert "mine" in setup.cloth.backings


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = 1", "line 1: unknown key 'x'"),
        ("job = 3", "line 1: write options of a job as [job]"),
        ('[job]\ngods = "x"', "line 2: unknown key 'gods': did you mean goods?"),
        ('[job]\ntolerance = "wide"', "line 2: tolerance: 'wide' is no length"),
        ('[job]\ncare = "often"', "line 2: care: 'often' is not one of"),
        ("[job]\nspeed = -3", "line 2: speed: -3"),
        ("[job]\ngoods = true", "line 2: goods: give a text or a number"),
        ('[job]\ngoods = ["a", "b"]', "line 2: goods: give a text or a number"),
        ('[job]\nmachine = "absent.toml"', "line 2: machine: "),
        ('[job]\ngoods = "jersy"', "unknown goods 'jersy': did you mean jersey"),
        (
            'silence = ["open-viod"]',
            "line 1: silence: there is no finding 'open-viod': did you mean open-void?",
        ),
        ("silence = 3", "line 1: write the findings"),
        ('materials = "absent.toml"', "line 1: materials: there is no file"),
        ("materials = 3", "line 1: write the files"),
        ("limits = 3", "line 1: write limits as"),
        ("[limits]\nhoop_edge = 3", "line 2: unknown key 'hoop_edge': did you mean hoop_edge_mm?"),
        ("[limits]\nhoop_edge_mm = -3", "line 2: hoop_edge_mm must be a number of 0 or more"),
        ("[goods.x]\nweight_g_m2 = 3", "line 1: [goods.x], like: say what it is like"),
        ("[job", "no TOML"),
    ],
)
def test_a_mistake_is_one_line_with_file_and_line(
    text: str, says: str, jobs: list[Job], order: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (order / "prehoop.toml").write_text(text)
    assert check(order) == 2
    err = capfd.readouterr().err
    assert says in err
    assert err.count("\n") == 1
    assert jobs == []


def test_the_settings_command_shows_each_value_and_where_it_comes_from(
    order: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    file = order / "prehoop.toml"
    file.write_text('[job]\ngoods = "terry"\n')
    assert run(["settings", str(order / "designs" / "lettering.pes")]) == 0
    lines = {line.split()[0]: line.split() for line in capfd.readouterr().out.splitlines()}
    assert lines["goods"] == ["goods", "terry", f"{file},", "line", "2"]
    assert lines["holding"] == ["holding", "hooped", "default"]
    assert run(["settings", str(order / "designs" / "lettering.pes"), "--json"]) == 0
    found = json.loads(capfd.readouterr().out)
    assert found["settings"]["goods"] == {"value": "terry", "from": f"{file}, line 2"}


def test_own_goods_are_in_the_list(
    order: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    (order / "prehoop.toml").write_text('[goods.crew-polo]\nlike = "pique"\nweight_g_m2 = 205\n')
    monkeypatch.chdir(order)
    assert run(["goods"]) == 0
    assert "crew-polo (like pique)" in capfd.readouterr().out


def test_a_machine_has_round_frames_heads_and_its_own_clearance(tmp_path: Path) -> None:
    file = tmp_path / "machine.toml"
    file.write_text(
        "needles = 15\nheads = 4\nspeed_spm = 900\nfoot_clearance_mm = 9\n"
        '[[frame]]\nname = "ring 12"\ndiameter_mm = 120\n'
        '[[frame]]\nname = "wide"\nwidth_mm = 130\nheight_mm = 130\n'
    )
    machine = read_machine(file)
    assert (machine.needles, machine.heads, machine.foot_clearance_mm) == (15, 4, 9.0)
    assert machine.frames == (Frame("ring 12", 120, 120, "oval"), Frame("wide", 130, 130, "rectangle"))
    # 80 x 80 mm with 9 mm all round needs a circle of 98 * sqrt(2) = 138.6 mm (derived), so the square one
    assert resolve(Job(machine=machine), "jersey", (80.0, 80.0)).hoop.name == "wide"
    assert resolve(Job(machine=machine), "jersey", (60.0, 60.0)).hoop.name == "ring 12"


def test_a_stock_that_names_no_backing_is_told_with_file_and_line(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    shelf = tmp_path / "shelf.toml"
    shelf.write_text('# what is there\nbackings = ["cutaway:85", "tearawy:50"]\n', encoding="utf-8")
    assert (
        run(["check", str(SAMPLES / "crest-outline-last.dst"), "--goods", "jersey", "--stock", str(shelf)])
        == 2
    )
    assert f"{shelf}, line 2: unknown backing 'tearawy': did you mean tearaway" in capfd.readouterr().err
