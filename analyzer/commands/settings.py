"""What a command goes by: its options, then prehoop.toml, then the user's own file, then the defaults.

The nearest ``prehoop.toml`` is looked for from the design's folder upwards; the user's own lies in the folder
that the system keeps for settings. A file holds::

    materials = ["cloths.toml"]       # files of own goods and backings; they may also stand here
    silence = ["open-void"]           # findings that are not wanted

    [job]
    goods = "crew-polo"               # any of the options of check that describe a job, by its name

    [limits]                          # of findings
    hoop_edge_mm = 3

    [goods.crew-polo]
    like = "pique"
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from analyzer.commands.sewout_records import calibration_of

if TYPE_CHECKING:
    from analyzer.goods.own_files import TomlFile
    from analyzer.job import Job, OwnMaterials

FILE_NAME = "prehoop.toml"
#: Options that a settings file may give.
NAMES = (
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "applique", "backing", "stock", "units", "records", "seed",
)  # fmt: skip
_PATHS = ("machine", "stock", "records")
_OWN_KEYS = ("goods", "backings")
_TABLES = ("job", "materials", "silence", "limits", *_OWN_KEYS)


@dataclass(frozen=True, slots=True)
class Setting:
    """One value and where it comes from."""

    value: Any
    source: str  #: "command line", "FILE, line N" or "default"


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that a command goes by."""

    options: Mapping[str, Setting]
    limits: Mapping[str, Setting]
    silenced: Mapping[str, Setting]
    own: tuple[OwnMaterials, ...]
    files: tuple[Path, ...] = field(default=())  #: settings files that were read, the strongest first

    def __getitem__(self, name: str) -> Any:
        """Return the value of an option."""
        return self.options[name].value


def files_for(design: Path) -> tuple[Path, ...]:
    """Return the settings files that apply to a design, the strongest first."""
    import platformdirs

    folder = design.absolute().parent
    near = next((one / FILE_NAME for one in (folder, *folder.parents) if (one / FILE_NAME).is_file()), None)
    users = platformdirs.user_config_path("prehoop", appauthor=False) / FILE_NAME
    return tuple(dict.fromkeys(path for path in (near, users if users.is_file() else None) if path))


def settings_for(ctx: click.Context, files: tuple[Path, ...]) -> Settings:
    """Return what a command goes by, given the settings files that apply.

    Raises:
        BadJob: a file is no TOML, a key is unknown, or a value cannot be; with file and line.

    """
    from analyzer.goods.own_files import read_toml

    read = [read_toml(path) for path in files]
    options = {name: Setting(value, "default") for name, value in ctx.params.items() if name in NAMES}
    limits: dict[str, Setting] = {}
    silenced: dict[str, Setting] = {}
    own: list[OwnMaterials] = []
    for file in reversed(read):
        file.only(_TABLES)
        given = file.table.get("job", {})
        if not isinstance(given, Mapping):
            raise file.wrong("write options of a job as [job] with NAME = VALUE", "job")
        file.only(NAMES, "job", table=given)
        options |= {key: _option(ctx, file, key, given[key]) for key in options if key in given}
        limits |= _limits(file)
        silenced |= _silenced(file)
        own += _own(file)
    for name in options:
        if ctx.get_parameter_source(name) not in (ParameterSource.DEFAULT, None):
            options[name] = Setting(ctx.params[name], "command line")
    return Settings(options, limits, silenced, tuple(own), files)


def job_of(settings: Settings) -> Job:
    """Return the job that the settings describe.

    Raises:
        BadJob: the machine's or the stock's file cannot be used.
        BadRecords: the records of sew-outs cannot be read.

    """
    from analyzer.goods.own_files import read_machine, read_stock
    from analyzer.job import Job, Limits

    def given(name: str) -> Any:
        """Return an option's value, None where the command has no such option."""
        return settings.options[name].value if name in settings.options else None

    machine, stock = given("machine"), given("stock")
    limits = None
    if settings.limits or settings.silenced:
        values = tuple((name, float(setting.value)) for name, setting in sorted(settings.limits.items()))
        limits = Limits(values, tuple(sorted(settings.silenced)))
    job = Job(
        goods=given("goods"),
        care=given("care"),
        back=given("back"),
        holding=given("holding") or "hooped",
        hoop=given("hoop"),
        thread=given("thread"),
        needle=given("needle"),
        speed_spm=given("speed"),
        tolerance_mm=given("tolerance"),
        colour=given("colour"),
        backing=given("backing") or None,
        topping=given("topping"),
        applique=given("applique"),
        stock=read_stock(stock, settings.own) if stock else None,
        machine=read_machine(machine) if machine else None,
        own=settings.own,
        limits=limits,
        seed=given("seed") or 0,
    )
    return replace(job, calibration=calibration_of(job, given("records")))


def _option(ctx: click.Context, file: TomlFile, name: str, value: Any) -> Setting:
    """Return an option from a file, converted as the command line's would be."""
    texts = value if isinstance(value, list) else [value]
    several = isinstance(value, list) and name != "backing"
    if several or any(isinstance(one, bool | Mapping | list) for one in texts):
        raise file.wrong(f"{name}: give a text or a number", "job", name)
    if name in _PATHS:
        texts = [file.path.parent / str(one) for one in texts]
    param = next(one for one in ctx.command.params if one.name == name)
    try:
        converted = tuple(param.type.convert(str(one), param, ctx) for one in texts)
    except click.BadParameter as error:
        raise file.wrong(f"{name}: {error.message}", "job", name) from None
    return Setting(converted if name == "backing" else converted[0], _place(file, "job", name))


def _place(file: TomlFile, *keys: str | int) -> str:
    from analyzer.goods.lines import place

    return place(str(file.path), file.text, keys)


def _limits(file: TomlFile) -> dict[str, Setting]:
    """Return the user's own limits of findings."""
    from analyzer.goods import constants

    given = file.table.get("limits", {})
    if not isinstance(given, Mapping):
        raise file.wrong("write limits as [limits] with NAME = NUMBER", "limits")
    known = constants("limits")
    file.only(tuple(known), "limits", table=given)
    for name, value in given.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < float("inf"):
            raise file.wrong(f"{name} must be a number of 0 or more, not {value!r}", "limits", name)
    return {name: Setting(float(value), _place(file, "limits", name)) for name, value in given.items()}


def _silenced(file: TomlFile) -> dict[str, Setting]:
    """Return the findings that the user does not want."""
    given = file.table.get("silence", [])
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        raise file.wrong('write the findings that stay silent as silence = ["open-void"]', "silence")
    if given:
        from analyzer.findings import RULES

        for name in given:
            if name not in RULES:
                nearest = difflib.get_close_matches(name, RULES, n=1, cutoff=0.5)
                advice = f"did you mean {nearest[0]}?" if nearest else "see prehoop explain"
                raise file.wrong(f"silence: there is no finding '{name}': {advice}", "silence")
    return {name: Setting(True, _place(file, "silence")) for name in given}


def _own(file: TomlFile) -> list[OwnMaterials]:
    """Return own goods and backings: of the files that a settings file names, and its own."""
    from analyzer.goods.own_files import read_own
    from analyzer.job import OwnMaterials

    named = file.table.get("materials", [])
    named = [named] if isinstance(named, str) else named
    if not isinstance(named, list) or not all(isinstance(one, str) for one in named):
        raise file.wrong('write the files of own materials as materials = ["cloths.toml"]', "materials")
    found = []
    for name in named:
        path = file.path.parent / name
        if not path.is_file():
            raise file.wrong(f"materials: there is no file {path}", "materials")
        found.append(read_own(path))
    if any(key in file.table for key in _OWN_KEYS):
        found.append(OwnMaterials(file.text, str(file.path)))
    return found
