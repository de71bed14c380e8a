"""The JSON document against its own schema (JSON Schema 2020-12, checked by the jsonschema package)."""

from __future__ import annotations

import copy
import dataclasses
import json
import math
from importlib import resources
from typing import Any

import jsonschema
import pytest
import report_cases as cases

from analyzer.errors import NotConverged
from analyzer.job import Job
from analyzer.pipeline import Checked
from analyzer.report import Check, document, encode, json_schema

TOP_KEYS = [
    "schema", "prehoop", "outcome", "job", "design", "use", "regions", "cover", "stack", "pull_in", "gaps",
    "pucker", "findings", "plan", "sureness", "comparison",
]  # fmt: skip
# the published keys of each part, in their order
PART_KEYS = {
    "job": "goods care back hoop thread needle speed_spm tolerance_mm holding colour seed",
    "design": "name format sha256 width_mm height_mm penetrations stitches jumps trims colour_changes stops "
    "colours notes",
    "use": "thread_m bobbin_m minutes colours",
    "cover": "stitched_mm2 covered_mm2 coverage thread_width_mm resolution_mm voids",
    "stack": "layers membrane_n_per_m bending_unm",
    "pull_in": "max_mm visible_mm at along_mm across_mm reach_mm strain_p95 beyond_range unhooped_mm",
    "pucker": "chance amplitude_mm low_mm high_mm at",
    "plan": "outcome backing attach topping holding hoop_mm needle speed_spm sheet_mm steps cautions reasons "
    "decided_by buy stacks_tried alternatives rework",
    "sureness": "calibrated from_sewouts known mostly_from says",
}
ROW_KEYS = {
    "regions": "id kind colour first last stitches area_mm2 row_spacing_mm stitch_length_mm width_mm "
    "direction_deg thread_mm_per_mm2 penetrations_per_mm2 coverage layers_max covers outline_of bbox",
    "gaps": "outline borders worst_mm low_mm high_mm median_mm at over_limit_mm_of_length chance_bare "
    "chance_overlap",
    "findings": "name level regions at measured limit unit chance because try",
}


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    text = resources.files("analyzer.report").joinpath("check-schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def plain(checked: Checked) -> dict[str, Any]:
    return Check.of(checked).to_dict()


def test_committed_schema_is_the_schema_of_the_types() -> None:
    committed = resources.files("analyzer.report").joinpath("check-schema.json").read_bytes()
    assert committed.replace(b"\r\n", b"\n") == json_schema()


@pytest.mark.parametrize("checked", [cases.checked(), cases.checked(coloured=False), cases.compared()])
def test_documents_are_valid(schema: dict[str, Any], checked: Checked) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(plain(checked))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), 2),
        (("design", "width_mm"), "20"),
        (("findings", 0, "level"), "warning"),
        (("gaps", 0, "chance_bare"), 1.2),
        (("regions", 0, "bbox"), [0.0, 0.0, 1.0]),
        (("plan", "surprise"), 1),
        (("design", "colours", 0, "rgb"), "blue"),
    ],
)
def test_schema_refuses_what_is_wrong(schema: dict[str, Any], path: tuple[Any, ...], value: object) -> None:
    wrong = copy.deepcopy(plain(cases.checked()))
    at: Any = wrong
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(wrong)


def test_schema_misses_no_key(schema: dict[str, Any]) -> None:
    for key in TOP_KEYS:
        lacking = plain(cases.checked())
        del lacking[key]
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema).validate(lacking)


def test_goods_are_named_as_in_the_table() -> None:
    """The job may write Jersey; the table's name is jersey, and without goods there is none."""
    assert plain(cases.checked(job=Job(goods="Jersey")))["job"]["goods"] == "jersey"
    assert plain(cases.compared())["job"]["goods"] is None


def test_keys_and_their_order() -> None:
    given = plain(cases.checked())
    assert list(given) == TOP_KEYS
    for part, keys in PART_KEYS.items():
        assert list(given[part]) == keys.split(), part
    for part, keys in ROW_KEYS.items():
        assert list(given[part][0]) == keys.split(), part
    assert list(given["cover"]["voids"][0]) == ["area_mm2", "at", "meant"]
    assert list(given["plan"]["steps"]) == ["before", "sewing", "finishing"]
    assert list(given["job"]["hoop"]) == ["width_mm", "height_mm", "shape", "name"]


def test_values_arrive_unrounded() -> None:
    given = plain(cases.checked())
    assert given["gaps"][0]["worst_mm"] == cases.GAP.worst_mm
    assert given["gaps"][0]["chance_bare"] == cases.GAP.chance_bare
    assert given["findings"][1]["try"] == cases.FAULT.advice
    assert given["findings"][1]["at"] == [20.0, 18.0]
    assert given["stack"]["membrane_n_per_m"] == [
        [10000.0, 0.0, 0.0],
        [0.0, 10000.0, 0.0],
        [0.0, 0.0, 10000.0],
    ]
    assert given["outcome"] == given["plan"]["outcome"] == "sample-first"
    assert [colour["stitches"] for colour in given["design"]["colours"]] == [245, 40]
    assert given["design"]["stitches"] == 285


def test_without_goods_nothing_is_judged() -> None:
    given = plain(cases.compared())
    for key in ("outcome", "stack", "pull_in", "pucker", "plan"):
        assert given[key] is None
    assert given["job"]["goods"] is None
    assert given["gaps"] == []
    assert [(one["goods"], len(one["stack"]["layers"])) for one in given["comparison"]] == [
        ("jersey", 1), ("jersey", 2), ("terry", 1), ("terry", 2), ("cotton-twill", 1), ("cotton-twill", 2),
    ]  # fmt: skip
    assert given["comparison"][0]["worst_gap"]["worst_mm"] == cases.GAP.worst_mm


def test_no_colour_is_invented() -> None:
    given = plain(cases.checked(coloured=False))
    assert [(colour["rgb"], colour["name"]) for colour in given["design"]["colours"]] == [(None, None)] * 2


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_that_is_none_gets_out(bad: float) -> None:
    sound = cases.checked()
    broken = dataclasses.replace(sound, use=dataclasses.replace(sound.use, minutes=bad))
    with pytest.raises(NotConverged, match=r"use\.minutes"):
        document(broken)


def test_same_check_same_bytes() -> None:
    first, second = (encode(document(cases.checked(name="Bréhat 灯台"))) for _ in range(2))
    assert first == second
    assert "Bréhat 灯台".encode() in first
    assert encode(document(cases.checked(name="other"))) != first


def test_undecodable_file_name_still_gives_sound_json() -> None:
    name = b"f\xe9te".decode("utf-8", "surrogateescape")
    assert json.loads(Check.of(cases.checked(name=name)).to_json())["design"]["name"] == "f�te"


def test_several_documents_are_a_list() -> None:
    both = json.loads(encode((document(cases.checked()), document(cases.compared()))))
    assert [one["job"]["goods"] for one in both] == ["jersey", None]


def test_job_says_what_was_asked_and_what_came_of_it() -> None:
    given = plain(cases.checked(job=Job(goods="jersey", seed=7, colour="#ffffff")))["job"]
    assert (given["seed"], given["colour"], given["needle"], given["tolerance_mm"]) == (
        7,
        "#ffffff",
        "75/11",
        0.5,
    )
