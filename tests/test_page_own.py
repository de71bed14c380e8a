"""One's own goods, stock, machine and limits on the page: forms that keep what was written by hand."""

from __future__ import annotations

import html
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from analyzer.errors import BadJob
from analyzer.goods import resolve, tables_of
from analyzer.goods.own_files import read_machine, read_toml, stock_of
from analyzer.job import Job, OwnMaterials
from analyzer.page import make_app
from analyzer.page.own_fields import number_of
from analyzer.page.own_text import edited, without

OWN = {"origin": "http://127.0.0.1:8674"}
BY_HAND = """\
# the loft, spring: do not lose this line

[limits]   # ours
hoop_edge_mm = 3     # the foot of the old head is wide

# the club's polo, weighed in May
[goods.crew-polo]
like = "pique"            # closest
weight_g_m2 = 205
along = { strip_mm = 50, gauge_mm = 200, load_g = 100, extension_mm = 14 }

# towels
[goods.big-towel]
like = "terry"
pile_mm = { low = 2, value = 3, high = 4, known = "measured", source = "a ruler" }
# after the towels
"""


class Served:
    """The page with a settings file of its own, and what it makes of it."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "own" / "prehoop.toml"

    def base(self) -> Job:
        """Return what the settings say, as the command does it."""
        if not self.file.is_file():
            return Job()
        table = tomllib.loads(self.file.read_text(encoding="utf-8"))
        if "bad" in table:
            raise BadJob(f"{self.file}, line 1: unknown key 'bad'")
        job = table.get("job", {})
        machine, stock = (self.file.parent / job[key] if key in job else None for key in ("machine", "stock"))
        own = (OwnMaterials(self.file.read_text(encoding="utf-8"), str(self.file)),)
        tables_of(own)
        return Job(
            goods=job.get("goods"),
            own=own,
            machine=read_machine(machine) if machine else None,
            stock=stock_of(read_toml(stock)) if stock else None,
        )

    def write(self, text: str) -> None:
        """Write the file by hand."""
        self.file.parent.mkdir(exist_ok=True)
        self.file.write_bytes(text.encode())

    @property
    def text(self) -> str:
        """Return the file as it is."""
        return self.file.read_bytes().decode()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Served]]:
    served = Served(tmp_path_factory.mktemp("own"))
    app = make_app(served.base, 8674, settings_file=served.file, workers=1)
    with TestClient(app, base_url="http://127.0.0.1:8674", follow_redirects=False) as client:
        yield client, served


@pytest.fixture(autouse=True)
def _fresh(page: tuple[TestClient, Served]) -> None:
    for file in page[1].file.parent.glob("*"):
        file.unlink()


def filled(client: TestClient, path: str) -> dict[str, str]:
    """Return the fields of a form as a browser would send them untouched."""
    text = client.get(path).text
    form = text[text.index('class="fill"') :]
    said: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r' name="([^"]*)"', tag), re.search(r' value="([^"]*)"', tag)
        assert name is not None
        if "checkbox" not in tag or " checked" in tag:
            said[html.unescape(name[1])] = html.unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select id="[^"]*" name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        said[name] = chosen[1] if chosen else ""
    return said


def sent(client: TestClient, path: str, **changes: str) -> tuple[int, str]:
    """Fill in a form, send it, and return status and text."""
    said = {key: value for key, value in (filled(client, path) | changes).items() if value != "untick"}
    answer = client.post(path, data=said, headers=OWN)
    return answer.status_code, answer.text


def wrong_at(text: str, field: str) -> str:
    """Return the error beside a field, which the field must point to."""
    told = re.search(rf'id="{re.escape(field)}-wrong">([^<]*)<', text)
    assert told is not None, f"no error beside {field}"
    tag = re.search(rf'<(?:input|select) id="{re.escape(field)}"[^>]*>', text)
    assert tag is not None
    assert 'aria-invalid="true"' in tag[0]
    assert f"{field}-wrong" in tag[0]
    assert f'<a href="#{field}">' in text
    return html.unescape(told[1])


# ---- goods and backings


def test_a_cloth_by_weight_alone(page: tuple[TestClient, Served]) -> None:
    client, served = page
    assert sent(client, "/own/goods", name="Crew Polo", like="pique", weight="6 oz/yd2")[0] == 303
    # 1 oz/yd2 is 28.349523125 g over 0.83612736 m2 (international avoirdupois ounce and yard)
    assert tomllib.loads(served.text) == {"goods": {"crew-polo": {"like": "pique", "weight_g_m2": 203.4}}}
    cloth = resolve(served.base(), "crew-polo", (0.0, 0.0)).cloth
    assert cloth.weight_g_m2.value == 203.4
    assert "crew-polo" in client.get("/").text
    assert "crew-polo" in client.get("/own").text


def test_a_cloth_by_a_stretch_test_and_measured_values(page: tuple[TestClient, Served]) -> None:
    client, served = page
    strip = {
        "along_strip_mm": "50",
        "along_gauge_mm": "200",
        "along_load_g": "100",
        "along_extension_mm": "14",
    }
    values = {"bending_unm": "12,5", "bending_unm_low": "8", "bending_unm_high": "20", "thickness_mm": "0.8"}
    assert sent(client, "/own/goods", name="tee", like="jersey", **strip, **values)[0] == 303
    cloth = tables_of(served.base().own).cloth("tee")
    # secant stiffness: 0.1 kg x 9.80665 m/s2 over 50 mm, over a strain of 14/200 (strain as in ISO 13934-1)
    assert cloth.e1_kn_per_m.value == pytest.approx(0.1 * 9.80665 / 0.05 / 0.07 / 1000)
    assert (cloth.bending_unm.low, cloth.bending_unm.value, cloth.bending_unm.high) == (8, 12.5, 20)
    assert cloth.thickness_mm.value == 0.8


@pytest.mark.parametrize(
    ("said", "field", "tells"),
    [
        ({"name": ""}, "name", "give it a name"),
        ({"name": "jersey"}, "name", "standard table"),
        ({"name": "a/b"}, "name", "letters"),
        ({"name": "x" * 41}, "name", "at most 40"),
        ({"like": ""}, "like", "choose"),
        ({"like": "nonsense"}, "like", "say what it is like"),
        ({"weight": "heavy"}, "weight", "give a number"),
        ({"weight": "-3"}, "weight", "must be positive"),
        ({"weight": "1e999"}, "weight", "give a number"),
        ({"weight": "nan"}, "weight", "give a number"),
        ({"along_load_g": "100"}, "along_strip_mm", "all four"),
        ({"along_strip_mm": "50", "along_gauge_mm": "200", "along_load_g": "9", "along_extension_mm": "1"},
         "along_extension_mm", "cannot be read surely"),
        ({"across_strip_mm": "0", "across_gauge_mm": "200", "across_load_g": "9", "across_extension_mm": "9"},
         "across_strip_mm", "positive"),
        ({"bending_unm_low": "3"}, "bending_unm", "give the value"),
        ({"bending_unm": "3", "bending_unm_low": "1"}, "bending_unm_high", "lowest and highest"),
        ({"bending_unm": "3", "bending_unm_low": "9", "bending_unm_high": "12"}, "bending_unm", "low"),
        ({"poisson12": "9"}, "poisson12", "too large"),
        ({"care": "boiled"}, "care", "none of"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_beside_its_field(
    page: tuple[TestClient, Served], said: dict[str, str], field: str, tells: str
) -> None:
    client, served = page
    status, text = sent(client, "/own/goods", **({"name": "tee", "like": "jersey"} | said))
    assert status == 422
    assert tells in wrong_at(text, field)
    assert str(served.file.parent) not in text
    assert not served.file.exists()
    for key, value in said.items():  # what was typed is still there
        assert key in ("like", "care") or f'value="{html.escape(value)}"' in text


def test_a_backing_of_ones_own_and_a_stock_that_holds_it(page: tuple[TestClient, Served]) -> None:
    client, served = page
    assert sent(client, "/own/backings", name="shop-cutaway", like="cutaway", weight="75 90")[0] == 303
    assert tables_of(served.base().own).backing("shop-cutaway").weights_g_m2 == (75, 90)
    ticked = {"shop-cutaway:75": "on", "tearaway:other": "45 1.5oz", "cutaway:85": "on"}
    assert sent(client, "/own/stock", **ticked)[0] == 303
    assert served.base().stock == ("cutaway:85", "tearaway:45", "tearaway:50.9", "shop-cutaway:75")
    status, text = sent(client, "/own/stock", **{"tearaway:other": "9000"})
    assert status == 422
    assert "far outside" in wrong_at(text, "tearaway:other")
    untick = {name: "untick" for name in ticked if not name.endswith("other")}
    assert sent(client, "/own/stock", **untick, **{"tearaway:other": ""})[0] == 303
    assert served.base().stock is None
    assert (served.file.parent / "stock.toml").is_file(), "a file of the user's is never removed"


def test_a_stock_written_by_hand_keeps_its_notes_and_ways(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write('[job]\nstock = "shelf.toml"  # by the window\n')
    shelf = served.file.parent / "shelf.toml"
    shelf.write_text(
        '# counted in June\nbackings = [\n  "cutaway:2.5oz",  # two rolls\n  "tearaway:51",\n]\n'
    )
    assert sent(client, "/own/stock", **{"tearaway:51": "untick", "soft-tearaway:30": "on"})[0] == 303
    text = shelf.read_text()
    assert stock_of(read_toml(shelf)) == ("cutaway:2.5oz", "soft-tearaway:30")
    assert "# counted in June" in text
    assert "# two rolls" in text
    assert "# by the window" in served.text


# ---- what was written by hand


def test_notes_and_other_entries_stay(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write(BY_HAND)
    assert sent(client, "/own/goods?name=crew-polo", weight="210")[0] == 303
    assert served.text == BY_HAND.replace("weight_g_m2 = 205", "weight_g_m2 = 210")
    assert sent(client, "/own/goods?name=big-towel", pile_mm="3.5")[0] == 303
    assert 'value = 3.5, high = 4, known = "measured", source = "a ruler"' in served.text
    assert sent(client, "/own/limits", limit_gap_bare_mm="0,4")[0] == 303
    assert "hoop_edge_mm = 3     # the foot of the old head is wide\n" in served.text
    assert tomllib.loads(served.text)["limits"] == {"hoop_edge_mm": 3, "gap_bare_mm": 0.4}
    notes = [line for line in BY_HAND.splitlines() if line.startswith("#")]
    assert [line for line in served.text.splitlines() if line.startswith("#")] == notes


def test_a_form_sent_untouched_changes_nothing(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write(BY_HAND.replace("\n", "\r\n"))
    for path in ("/own/goods?name=crew-polo", "/own/goods?name=big-towel", "/own/limits"):
        assert sent(client, path)[0] == 303
        assert served.text == BY_HAND.replace("\n", "\r\n"), path


def test_removing_asks_first_and_takes_only_the_entry(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write(BY_HAND)
    shown = client.get("/own/remove?table=goods&name=crew-polo").text
    assert served.text == BY_HAND
    seen = re.search(r'name="seen" value="(\w+)"', shown)
    assert seen is not None
    data = {"table": "goods", "name": "crew-polo", "seen": seen[1]}
    assert client.post("/own/remove", data=data, headers=OWN).status_code == 303
    first, last = BY_HAND.index("[goods.crew-polo]"), BY_HAND.index("\n# towels")
    assert served.text == BY_HAND[:first] + BY_HAND[last:]
    assert client.post("/own/remove", data=data, headers=OWN).status_code == 404


def test_goods_in_use_cannot_be_removed(page: tuple[TestClient, Served]) -> None:
    client, served = page
    text = BY_HAND + '\n[job]\ngoods = "crew-polo"\n'
    served.write(text)
    shown = client.get("/own/remove?table=goods&name=crew-polo").text
    seen = re.search(r'name="seen" value="(\w+)"', shown)
    assert seen is not None
    data = {"table": "goods", "name": "crew-polo", "seen": seen[1]}
    assert "It stays" in client.post("/own/remove", data=data, headers=OWN).text
    assert served.text == text


def test_nothing_is_written_over_unasked(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write(BY_HAND)
    status, text = sent(client, "/own/goods", name="crew polo", like="pique")
    assert status == 422
    assert "already" in wrong_at(text, "name")
    # changed by hand while the form stood open: said, and what was typed stays in the form
    said = filled(client, "/own/goods?name=crew-polo") | {"weight": "300"}
    served.write(BY_HAND.replace("205", "190"))
    answer = client.post("/own/goods?name=crew-polo", data=said, headers=OWN)
    assert answer.status_code == 422
    assert "changed meanwhile" in answer.text
    assert 'value="300"' in answer.text
    assert "weight_g_m2 = 190" in served.text
    # a file that lies there under the name that a machine would get is left alone
    (served.file.parent / "machine.toml").write_text("# somebody else's\n")
    assert sent(client, "/own/machine", name="Loft", needles="12", speed_spm="800")[0] == 303
    assert (served.file.parent / "machine.toml").read_text() == "# somebody else's\n"
    assert tomllib.loads(served.text)["job"]["machine"] == "machine-2.toml"


def test_a_text_that_changed_meanwhile_is_not_written_over(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write(BY_HAND)
    seen = re.search(r'name="seen" value="(\w+)"', client.get("/own").text)
    assert seen is not None
    served.write(BY_HAND + "# by hand\n")
    answer = client.post("/own/text", data={"text": "", "seen": seen[1]}, headers=OWN)
    assert "changed meanwhile" in answer.text
    assert client.post("/own/text", data={"text": ""}, headers=OWN).status_code == 422
    assert served.text == BY_HAND + "# by hand\n"


@given(
    notes=st.lists(
        st.sampled_from(["# a", "#", "  # b [goods.x]", "", "# [limits]"]), min_size=5, max_size=5
    ),
    weight=st.integers(50, 900),
    order=st.permutations(["goods", "limits", "frames"]),
)
@settings(max_examples=60, deadline=None)
def test_any_change_leaves_every_other_line(notes: list[str], weight: int, order: list[str]) -> None:
    parts = {
        "goods": f"[goods.a]\nlike = 'pique'\n{notes[0]}\nweight_g_m2 = 77 # w\n{notes[1]}\n"
        "[goods.b]\nlike = 'terry'",
        "limits": f"[limits]\n{notes[2]}\nhoop_edge_mm = 3",
        "frames": f"{notes[3]}\n[[frame]]\nwidth_mm = 9\n[[frame]]\n{notes[4]}\nwidth_mm = 8",
    }  # fmt: skip
    text = "\n".join(parts[one] for one in order) + "\n"

    def change(doc: object) -> None:
        doc["goods"]["a"]["weight_g_m2"] = weight  # type: ignore[index]

    assert edited(text, change) == text.replace("= 77", f"= {weight}")
    left = without(text, ("goods", "a"))
    assert set(tomllib.loads(left)["goods"]) == {"b"}
    outside = [line for line in (notes[2], notes[3], notes[4]) if line.strip()]
    assert all(line in left.splitlines() for line in outside)


# ---- machine


def test_a_machine_with_frames_is_described_and_changed(page: tuple[TestClient, Served]) -> None:
    client, served = page
    said = {
        "name": "Loft", "needles": "12", "speed_spm": "800", "heads": "2", "foot_clearance_mm": "7,5",
        "frame_1_name": "breast", "frame_1_width": "110", "frame_1_height": "110",
        "frame_2_name": "ring", "frame_2_shape": "round", "frame_2_width": "150",
    }  # fmt: skip
    assert sent(client, "/own/machine", **said)[0] == 303
    machine = served.base().machine
    assert machine is not None
    assert (machine.name, machine.needles, machine.heads, machine.foot_clearance_mm) == ("Loft", 12, 2, 7.5)
    assert [(one.name, one.width_mm, one.height_mm, one.shape) for one in machine.frames] == [
        ("breast", 110, 110, "rectangle"), ("ring", 150, 150, "oval"),
    ]  # fmt: skip
    file = served.file.parent / "machine.toml"
    file.write_text("# serviced in March\n" + file.read_text().replace("150", "150 # measured"))
    emptied = {f"frame_1_{key}": "" for key in ("name", "width", "height")}
    big = {"name": "big", "width": "360", "height": "200", "shape": "oval"}
    big = {f"frame_3_{key}": value for key, value in big.items()}
    assert sent(client, "/own/machine", **emptied, **big)[0] == 303
    machine = served.base().machine
    assert machine is not None
    assert [one.name for one in machine.frames] == ["ring", "big"]
    assert "# serviced in March" in file.read_text()
    assert "150 # measured" in file.read_text()


def test_more_frames_are_asked_for_without_losing_what_was_typed(page: tuple[TestClient, Served]) -> None:
    client, served = page
    status, text = sent(client, "/own/machine", name="Loft", more="1", frame_1_name="half done")
    assert status == 200
    assert 'value="half done"' in text
    assert 'name="frame_6_width"' in text
    assert not served.file.exists()


@pytest.mark.parametrize(
    ("said", "field", "tells"),
    [
        ({"name": ""}, "name", "give it a name"),
        ({"needles": ""}, "needles", "missing"),
        ({"needles": "2.5"}, "needles", "whole number"),
        ({"speed_spm": "fast"}, "speed_spm", "give a number"),
        ({"frame_2_width": "9", "frame_2_height": "9"}, "frame_2_width", "impossible"),
        ({"frame_2_width": "100"}, "frame_2_height", "give the height"),
        ({"frame_2_width": "90", "frame_2_height": "90", "frame_2_shape": "round"},
         "frame_2_height", "diameter"),
        ({"frame_2_width": "90", "frame_2_height": "90", "frame_2_shape": "star"}, "frame_2_shape", "oval"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_machine_is_said_beside_its_field(
    page: tuple[TestClient, Served], said: dict[str, str], field: str, tells: str
) -> None:
    client, served = page
    whole = {"name": "Loft", "needles": "12", "speed_spm": "800"}
    status, text = sent(client, "/own/machine", **(whole | said))
    assert status == 422
    assert tells in wrong_at(text, field)
    assert not served.file.exists()


# ---- what it refuses


@pytest.mark.parametrize(
    "name",
    ["<script>alert(1)</script>", "../../etc/passwd", 'a"\n[limits]\nx = 1', "a]\n[job", "a.b", "\x00",
     "__proto__"],
)  # fmt: skip
def test_hostile_names_become_no_entries(page: tuple[TestClient, Served], name: str) -> None:
    client, served = page
    status, text = sent(client, "/own/goods", name=name, like="pique")
    assert "<script>alert" not in text
    if status == 303:
        (entry,) = tomllib.loads(served.text)["goods"]
        assert re.fullmatch(r"[\w-]+", entry)
    else:
        assert not served.file.exists()


@pytest.mark.parametrize(
    "text", ["\u2028<b>\u202e", 'x"""\n[limits]\nhoop_edge_mm = 9', "\\u0022", "'''", "\ud7ff\ufffe"]
)
def test_hostile_text_stays_text(page: tuple[TestClient, Served], text: str) -> None:
    client, served = page
    assert sent(client, "/own/machine", name=text, needles="12", speed_spm="800")[0] == 303
    machine = served.base().machine
    assert machine is not None
    assert machine.name == text.strip()
    assert "limits" not in tomllib.loads((served.file.parent / "machine.toml").read_text(encoding="utf-8"))
    assert "<b>" not in client.get("/own").text


def test_hostile_entries_of_the_file_are_shown_as_text(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write('[goods."<script>x</script>"]\nlike = "<img src=x>"\nweight_g_m2 = "<b>"\n')
    for path in ("/own", "/own/goods?name=%3Cscript%3Ex%3C%2Fscript%3E", "/own/stock", "/own/limits"):
        answer = client.get(path)
        assert answer.status_code in (200, 400, 422)
        assert "<script>x" not in answer.text
        assert "<img src" not in answer.text


@pytest.mark.parametrize(
    "text",
    ["[", "goods = 3", "[goods]\nx = 3", "[[goods]]\n", "job = 3", "limits = []", "frame = 1",
     "[job]\nmachine = 3\nstock = []",
     "x = " + "[" * 3000, '[job]\nstock = "../../../../dev/null"', "[job]\nmachine = '\\u0000'"],
)  # fmt: skip
def test_a_file_that_cannot_be_understood_gets_a_sentence_and_stays(
    page: tuple[TestClient, Served], text: str
) -> None:
    client, served = page
    served.write(text)
    for path in ("/own", "/own/goods", "/own/goods?name=x", "/own/machine", "/own/stock", "/own/limits"):
        answer = client.get(path)
        assert answer.status_code < 500, path
        assert str(served.file.parent) not in answer.text
    said = {"name": "tee", "like": "jersey", "needles": "1", "speed_spm": "1", "limit_pucker_mm": "1"}
    for path in ("/own/goods", "/own/machine", "/own/limits"):
        answer = client.post(path, data=said | {"seen": "x"}, headers=OWN)
        assert answer.status_code < 500, path
    assert served.text == text
    # and it is mended as text
    seen = re.search(r'name="seen" value="(\w+)"', client.get("/own").text)
    assert seen is not None
    answer = client.post("/own/text", data={"text": "# anew\n", "seen": seen[1]}, headers=OWN)
    assert answer.status_code == 303
    assert served.text == "# anew\n"


def test_a_text_that_is_refused_leaves_the_old_one(page: tuple[TestClient, Served]) -> None:
    client, served = page
    served.write("[limits]\nhoop_edge_mm = 4\n")
    seen = re.search(r'name="seen" value="(\w+)"', client.get("/own").text)
    assert seen is not None
    answer = client.post("/own/text", data={"text": "bad = 1\n", "seen": seen[1]}, headers=OWN)
    assert answer.status_code == 422
    assert "unknown key" in answer.text
    assert "Nothing was kept" in answer.text
    assert "bad = 1" in answer.text
    assert served.text == "[limits]\nhoop_edge_mm = 4\n"


def test_too_much_is_refused(page: tuple[TestClient, Served]) -> None:
    client, served = page
    seen = re.search(r'name="seen" value="(\w+)"', client.get("/own").text)
    assert seen is not None
    answer = client.post("/own/text", data={"text": "x" * 300_000, "seen": seen[1]}, headers=OWN)
    assert answer.status_code == 413
    many = {f"f{number}": "x" for number in range(2000)}
    assert client.post("/own/limits", data=many, headers=OWN).status_code == 400
    assert not served.file.exists()


@pytest.mark.parametrize(
    ("typed", "means"), [("180", 180.0), ("0,5", 0.5), (" 5 oz ", 169.5), ("170 g/m2", 170.0), (".5", 0.5)]
)
def test_numbers_are_read_as_people_write_them(typed: str, means: float) -> None:
    assert number_of(typed, weight=True) == means


@pytest.mark.parametrize(
    "typed", ["", "1.2.3", "1,000.5", "0x10", "1e5", "inf", "\u0663\u0664", "12 kg", "1_0"]
)
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="give a number"):
        number_of(typed, weight=True)
