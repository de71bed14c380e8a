"""The command line's own manners: exit codes, streams, start-up, options and files."""

from __future__ import annotations

import dataclasses
import json
import os
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
import report_cases as cases

from analyzer import pipeline
from analyzer.commands import main
from analyzer.commands.check import distinct_stems
from analyzer.commands.entry import COMMANDS, run
from analyzer.commands.entry import prehoop as prehoop_command
from analyzer.design import Design
from analyzer.errors import BadJob
from analyzer.job import Job
from analyzer.pipeline import Checked
from analyzer.report.files import job_map_names

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_designs"
DST, PES = SAMPLES / "crest-outline-last.dst", SAMPLES / "regatta-lettering.pes"


def prehoop(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run the command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "analyzer", *arguments],
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, **environment},
        timeout=60,
        check=False,
    )


class Asked:
    """Stands for the composition of all rooms: remembers what it was asked, answers with a made check."""

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.answer = cases.checked()
        self.trouble: dict[str, Exception] = {}

    def __call__(self, design: Design, job: Job, progress: object = None, **_: object) -> Checked:
        """Answer one design."""
        self.jobs.append(job)
        if design.name in self.trouble:
            raise self.trouble[design.name]
        return dataclasses.replace(
            self.answer, design=dataclasses.replace(self.answer.design, name=design.name)
        )


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Asked:
    answering = Asked()
    monkeypatch.setattr(pipeline, "check", answering)
    return answering


def calm(checked: Checked) -> Checked:
    """Return the same check without its fault."""
    assert checked.judged is not None
    quiet = dataclasses.replace(checked.judged, findings=cases.findings((cases.NOTE,)))
    return dataclasses.replace(checked, judged=quiet)


@pytest.mark.parametrize(
    "arguments", [["--help"], ["--version"], ["check", "--help"], ["-h"], ["goods", "-h"]]
)
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    heavy = ("numpy", "scipy", "matplotlib", "shapely", "rich", "pyembroidery", "msgspec")
    code = (
        "import sys\n"
        "from analyzer.commands.entry import run\n"
        f"code = run({arguments!r})\n"
        f"print([name for name in {heavy!r} if name in sys.modules], code, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stderr.strip() == "[] 0"
    assert done.stdout


def test_heavy_imports_would_be_seen() -> None:
    """The negative control of the test above: listing a table does import numpy."""
    shown = "print('numpy' in sys.modules, file=sys.stderr)"
    code = f"import sys; from analyzer.commands.entry import run; run(['hoops']); {shown}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stderr.strip() == "True"


def test_help_has_examples(capfd: pytest.CaptureFixture[str]) -> None:
    for arguments in (["--help"], ["check", "-h"]):
        assert run(arguments) == 0
        assert "  prehoop check crest.dst --goods jersey" in capfd.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["check"], "DESIGN"),
        (["chekc", "a.dst"], "check"),
        (["check", "a.dst", "--gods", "x"], "--goods"),
        (["check", "a.dst", "--care", "never"], "never-washed"),
        (["check", "a.dst", "--colour", "navy"], "#1f4e79"),
        (["check", "a.dst", "--tolerance", "nan"], "0.02in"),
        (["check", "a.dst", "--seed", "-1"], "-1"),
        (["check", "a.dst", "--stock", "no-such-file.toml"], "no-such-file.toml"),
        (["check", "no-such-file.dst"], "no-such-file.dst"),
        (["check", str(SAMPLES)], "sample_designs"),
        (["explain", "outline-gapp"], "outline-gap"),
    ],
)
def test_wrong_usage_is_one_line_and_exit_2(
    arguments: list[str], said: str, asked: Asked, capfd: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("prehoop: ")
    assert err.count("\n") == 1
    assert said in err


def test_exit_codes_follow_the_findings(asked: Asked, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(DST), "--goods", "jersey"]) == 1
    asked.answer = calm(asked.answer)
    assert run(["check", str(DST), "--goods", "jersey"]) == 0
    assert capfd.readouterr().err == ""


def test_one_design_is_an_object_and_several_are_a_list(
    asked: Asked, capfd: pytest.CaptureFixture[str]
) -> None:
    run(["check", str(DST), "--json"])
    assert json.loads(capfd.readouterr().out)["schema"] == 1
    run(["check", str(DST), str(PES), "--json"])
    assert len(json.loads(capfd.readouterr().out)) == 2


def test_damaged_file_does_not_stop_the_others(
    asked: Asked, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "leer.dst").write_bytes(b"")
    assert run(["check", str(DST), str(tmp_path / "leer.dst"), str(PES), "--json"]) == 2
    out, err = capfd.readouterr()
    assert len(json.loads(out)) == 2
    assert err.count("\n") == 1
    assert "leer.dst" in err


def test_design_that_does_not_fit_does_not_stop_the_others(
    asked: Asked, capfd: pytest.CaptureFixture[str]
) -> None:
    asked.trouble[DST.name] = BadJob("the design is larger than the hoop")
    assert run(["check", str(DST), str(PES)]) == 2
    out, err = capfd.readouterr()
    assert "regatta-lettering" in out
    assert "crest-outline-last.dst: the design is larger than the hoop" in err


def test_unknown_goods_is_said_once(asked: Asked, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(DST), str(PES), "--goods", "jersy"]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("prehoop: unknown goods 'jersy': did you mean jersey")
    assert err.count("\n") == 1
    assert asked.jobs == []


@pytest.mark.parametrize(
    "options",
    [
        ["--hoop", "0x180"],
        ["--backing", "cutaway:-3"],
        ["--backing", "none", "--backing", "cutaway:85"],
        ["--goods", "none", "--backing", "none"],
        ["--topping", "cardboard"],
        ["--speed", "1e9"],
        ["--tolerance", "400"],
    ],
)
def test_job_that_no_design_can_have_stops_the_run_at_once(
    options: list[str], asked: Asked, capfd: pytest.CaptureFixture[str]
) -> None:
    assert run(["check", str(DST), str(PES), *options]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert DST.name not in err
    assert asked.jobs == []


def test_several_designs_end_with_a_line_each(
    asked: Asked, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "leer.dst").write_bytes(b"")
    run(["check", str(DST), str(tmp_path / "leer.dst"), str(PES), "--goods", "jersey"])
    end = " ".join(capfd.readouterr().out.split("In short")[1].split())
    assert end.count("SAMPLE FIRST (outline-gap)") == 2
    assert f"- {DST.name} on jersey of the tests: SAMPLE FIRST" in end
    assert "- leer.dst: not looked over" in end
    run(["check", str(DST), "--goods", "jersey"])
    assert "In short" not in capfd.readouterr().out


def test_nothing_asked_shows_the_help(capfd: pytest.CaptureFixture[str]) -> None:
    assert run([]) == 2
    out, err = capfd.readouterr()
    assert err == ""
    assert out.startswith("Usage: prehoop")
    assert out.count("\n") > 10


def test_speed_need_not_be_whole(asked: Asked) -> None:
    run(["check", str(DST), "--speed", "800.5"])
    assert asked.jobs[0].speed_spm == 800.5


def test_library_says_what_it_takes() -> None:
    from analyzer import check, read

    design: Any = read(DST)
    for arguments, said in (
        (("crest.dst", Job()), "read the file first"),
        ((design, {"goods": "jersey"}), "takes a Job"),
        ((design, Job(hoop=(100, 100))), "130x180"),  # type: ignore[arg-type]
        ((design, Job(speed_spm="fast")), "takes a number"),  # type: ignore[arg-type]
        ((design, Job(backing=("cutaway:85", 3))), "takes texts"),  # type: ignore[arg-type]
    ):
        with pytest.raises(TypeError, match=said):
            check(*arguments)


def test_mistake_of_ours_is_a_line_too(asked: Asked, capfd: pytest.CaptureFixture[str]) -> None:
    asked.trouble[DST.name] = ZeroDivisionError("division\nby zero")
    assert run(["check", str(DST)]) == 2
    err = capfd.readouterr().err
    assert err.count("\n") == 1
    assert "ZeroDivisionError" in err


def test_interruption_is_130(asked: Asked, capfd: pytest.CaptureFixture[str]) -> None:
    def interrupt(*_: object, **__: object) -> Checked:
        raise KeyboardInterrupt

    asked.__class__ = type("Interrupting", (Asked,), {"__call__": interrupt})
    assert run(["check", str(DST)]) == 130
    with pytest.raises(SystemExit) as left:
        main(["check", str(DST)])
    assert left.value.code == 130


def test_options_reach_the_job(asked: Asked, tmp_path: Path) -> None:
    machine, stock = tmp_path / "machine.toml", tmp_path / "stock.toml"
    machine.write_text(
        'name = "loft"\nneedles = 6\nspeed_spm = 900\n'
        '[[frame]]\nname = "small"\nwidth_mm = 100\nheight_mm = 90.5\nshape = "oval"\n',
        encoding="utf-8-sig",
    )
    stock.write_text('backings = ["cutaway:85", "tearaway:50"]\n', encoding="utf-8")
    given = {
        "goods": "terry", "colour": "#AABBCC", "care": "industrial", "back": "seen+skin",
        "holding": "clamped", "hoop": "130x180", "thread": "viscose-40", "needle": "75/11", "speed": "700",
        "tolerance": "0.02in", "topping": "none", "applique": "felt", "seed": "5",
        "machine": str(machine), "stock": str(stock),
    }  # fmt: skip
    options = [part for name, value in given.items() for part in (f"--{name}", value)]
    run(["check", str(DST), *options, "--backing", "cutaway:85x2", "--backing", "tearaway:50"])
    (job,) = asked.jobs
    assert job.tolerance_mm == pytest.approx(0.508)
    assert job.machine is not None
    assert (job.machine.name, job.machine.needles, job.machine.speed_spm) == ("loft", 6, 900.0)
    assert dataclasses.astuple(job.machine.frames[0]) == ("small", 100.0, 90.5, "oval")
    assert dataclasses.replace(job, tolerance_mm=None, machine=None) == Job(
        goods="terry", colour="#aabbcc", care="industrial", back="seen+skin", holding="clamped",
        hoop="130x180", thread="viscose-40", needle="75/11", speed_spm=700, topping="none", seed=5,
        applique="felt", backing=("cutaway:85x2", "tearaway:50"), stock=("cutaway:85", "tearaway:50"),
    )  # fmt: skip


def test_without_options_the_job_is_the_plain_one(asked: Asked) -> None:
    run(["check", str(DST)])
    assert asked.jobs == [Job()]


@pytest.mark.parametrize(
    ("option", "content", "said"),
    [
        ("--machine", 'nedles = 6\nspeed_spm = 800', "unknown key 'nedles': did you mean needles?"),
        ("--machine", 'needles = 6', "'speed_spm' is missing"),
        ("--machine", 'needles = -1\nspeed_spm = 800', "needles must be a number above zero"),
        ("--machine", 'needles = nan\nspeed_spm = 800', "needles must be a number above zero"),
        ("--machine", 'needles = 2.5\nspeed_spm = 800', "whole number"),
        ("--machine", 'needles = 6\nspeed_spm = true', "speed_spm must be a number"),
        ("--machine", 'needles = 6\nspeed_spm = 8\n[[frame]]\nwidht_mm = 3', "did you mean width_mm?"),
        ("--machine", 'needles = 6\nspeed_spm = 8\n[[frame]]\nwidth_mm = 3', "line 3: the key 'height_mm'"),
        ("--machine", 'needles = 6\nspeed_spm = 8\nframe = 3', "[[frame]]"),
        ("--machine", "needles = 6\nspeed_spm = 8\n[[frame]]\ndiameter_mm = 9\nwidth_mm = 3", "a round fr"),
        ("--machine", 'needles = 6\nspeed_spm = 8\n[[frame]]\nshape = "star"', "line 4: shape must be"),
        ("--machine", 'needles = 6\nspeed_spm = 8\nheads = 1.5', "line 3: heads must be a whole number"),
        ("--machine", 'needles = 6\nspeed_spm = 8\nfoot_clearance_mm = 0', "line 3: foot_clearance_mm must"),
        ("--machine", 'needles = ', "no TOML"),
        ("--stock", 'backing = ["cutaway:85"]', "did you mean backings?"),
        ("--stock", 'backings = "cutaway:85"', "backings = ["),
        ("--stock", '', "backings = ["),
        ("--stock", '\udcff', "UTF-8"),
    ],
)  # fmt: skip
def test_own_files_are_checked(
    option: str, content: str, said: str, asked: Asked, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "own.toml"
    file.write_bytes(content.encode("utf-8", "surrogateescape"))
    assert run(["check", str(DST), option, str(file)]) == 2
    err = capfd.readouterr().err
    assert said in err
    assert err.count("\n") == 1
    assert asked.jobs == []


def test_maps_go_to_their_folder(asked: Asked, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    asked.answer = cases.compared()
    folder = tmp_path / "a" / "maps"
    assert run(["check", str(DST), "--maps", str(folder)]) == 0
    names = {file.name for file in folder.iterdir()}
    assert names == {f"crest-outline-last-{name}.png" for name in job_map_names(Job())}
    assert run(["check", str(DST), "--maps", str(folder)]) == 2
    assert "--force" in capfd.readouterr().err
    assert len(asked.jobs) == 1  # refused before anything was computed
    assert run(["check", str(DST), "--maps", str(folder), "--force"]) == 0


def test_maps_are_drawn_as_vectors_when_asked(asked: Asked, tmp_path: Path) -> None:
    asked.answer = cases.compared()
    assert run(["check", str(DST), "--maps", str(tmp_path), "--maps-as", "svg"]) == 0
    assert {file.name for file in tmp_path.iterdir()} == {
        f"crest-outline-last-{name}.svg" for name in job_map_names(Job())
    }
    assert run(["check", str(DST), "--maps", str(tmp_path), "--maps-as", "svg"]) == 2
    assert run(["check", str(DST), "--maps", str(tmp_path)]) == 0  # the pictures are other files


def test_maps_of_like_names_do_not_meet() -> None:
    stems = distinct_stems((Path("a/flag.dst"), Path("b/Flag.pes"), Path("c/rope.exp")))
    assert stems == ("flag", "Flag-2", "rope")


def test_folder_that_is_a_file_is_one_line(
    asked: Asked, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("x")
    assert run(["check", str(DST), "--maps", str(tmp_path / "file" / "maps")]) == 2
    assert capfd.readouterr().err.count("\n") == 1


@pytest.mark.parametrize("table", ["goods", "backings", "toppings", "threads", "needles", "hoops"])
def test_tables_are_listed_with_sources(table: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert run([table]) == 0
    listed = capfd.readouterr().out
    assert "source" in listed
    assert all(len(line) <= 80 for line in listed.splitlines() if not line.startswith("http"))
    assert run([table, "--json"]) == 0
    records: list[dict[str, Any]] = json.loads(capfd.readouterr().out)
    assert all(str(record.get("name") or record.get("kind")) in listed for record in records)
    assert len(records) >= 3


def test_formats_say_what_they_hold(capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["formats", "--json"]) == 0
    by_name = {one["name"]: one for one in json.loads(capfd.readouterr().out)}
    assert {"DST", "PES", "EXP", "JEF", "VP3"} <= set(by_name)
    assert not by_name["DST"]["colours"]
    assert by_name["PES"]["colours"]
    assert run(["formats"]) == 0
    assert "VP3" in capfd.readouterr().out


def test_every_finding_is_explained(capfd: pytest.CaptureFixture[str]) -> None:
    from analyzer.findings import RULES

    assert run(["explain"]) == 0
    listed = capfd.readouterr().out
    for name in RULES:
        assert name in listed
        assert run(["explain", name]) == 0
        assert len(capfd.readouterr().out.splitlines()) > 3


def test_output_is_utf8_whatever_the_locale(tmp_path: Path) -> None:
    name = "Möwe 灯台.dst"
    done = prehoop("check", str(tmp_path / name), LC_ALL="C", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 2
    assert name in done.stderr.decode("utf-8")


def test_pipes_get_no_terminal_sequences() -> None:
    done = prehoop("needles", TERM="xterm-256color")
    assert done.returncode == 0
    assert b"\x1b" not in done.stdout + done.stderr
    assert b"\x1b" in prehoop("needles", FORCE_COLOR="1").stdout
    assert b"\x1b" not in prehoop("needles", FORCE_COLOR="1", NO_COLOR="1").stdout


def test_python_m_and_version() -> None:
    from analyzer import __version__

    assert prehoop("--version").stdout.decode().split() == ["prehoop", __version__]


def test_the_list_of_commands_says_what_each_says_of_itself() -> None:
    context = click.Context(prehoop_command)
    for name, (_, _, summary) in COMMANDS.items():
        command = prehoop_command.get_command(context, name)
        assert command is not None
        assert command.name == name
        assert command.help is not None
        assert command.help.splitlines()[0].startswith(summary.rstrip("."))


def test_a_port_that_is_taken_is_said_before_the_page_is(capfd: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert run(["serve", "--port", str(port)]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert "The page is at" not in err
    assert f"port {port} cannot be used" in err
