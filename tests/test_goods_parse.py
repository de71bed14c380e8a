"""What a user types for backings and hoops."""

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer import goods
from analyzer.errors import BadJob, PrehoopError, UnknownBacking, UnknownHoop
from analyzer.goods import BackingChoice, format_backing, hoop, parse_backing

KINDS = sorted(goods.backings())


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cutaway:85", [("cutaway", 85.0, (0.0,))]),
        ("cutaway:85x2", [("cutaway", 85.0, (0.0, 90.0))]),
        ("cutaway:85x3", [("cutaway", 85.0, (0.0, 90.0, 0.0))]),
        ("cutaway:85gsm", [("cutaway", 85.0, (0.0,))]),
        ("cutaway:85 g/m2 x 2", [("cutaway", 85.0, (0.0, 90.0))]),
        (" Cutaway : 85 ", [("cutaway", 85.0, (0.0,))]),
        ("cutaway:2.5oz", [("cutaway", 84.764, (0.0,))]),
        ("tearaway:1.5OZX2", [("tearaway", 50.859, (0.0, 90.0))]),
        ("cutaway", [("cutaway", 68.0, (0.0,))]),
        ("cutaway:85+tearaway:44", [("cutaway", 85.0, (0.0,)), ("tearaway", 44.0, (0.0,))]),
        (("cutaway:85", "tearaway:44"), [("cutaway", 85.0, (0.0,)), ("tearaway", 44.0, (0.0,))]),
        ("none", []),
        (("none",), []),
        ((), []),
    ],
)
def test_a_backing_is_read(
    text: str | tuple[str, ...], expected: list[tuple[str, float, tuple[float, ...]]]
) -> None:
    """2.5 and 1.5 oz/yd2 are 84.764 and 50.859 g/m2 (28.349523125 g over 0.83612736 m2)."""
    found = parse_backing(text)
    assert [(item.kind, item.turns_deg) for item in found] == [(kind, turns) for kind, _, turns in expected]
    assert [item.g_m2 for item in found] == pytest.approx([weight for _, weight, _ in expected], abs=5e-4)
    assert all(item.layers == len(item.turns_deg) for item in found)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(KINDS), st.floats(min_value=0.4, max_value=2.5), st.integers(1, 4)),
        min_size=1,
        max_size=3,
    )
)
def test_what_is_written_is_read_back(items: list[tuple[str, float, int]]) -> None:
    wanted = tuple(
        BackingChoice(
            kind,
            round(goods.backing(kind).weights_g_m2[0] * scale, 3),
            n,
            tuple(90.0 * (i % 2) for i in range(n)),
        )
        for kind, scale, n in items
    )
    assert parse_backing("+".join(format_backing(item) for item in wanted)) == wanted
    assert parse_backing(tuple(format_backing(item) for item in wanted)) == wanted


@pytest.mark.parametrize(
    "text",
    [
        "cutaway:",
        "cutaway:-85",
        "cutaway:heavy",
        "cutaway:85x",
        "cutaway:85x0",
        "cutaway:85x99",
        "cutaway:85x2x2",
        "cutaway:0",
        "cutaway:5",
        "cutaway:8500",
        "cutaway:85oz",
        "cutaway:2.5",
        "cutaway:1e2",
        "cutaway:nan",
        "cutaway:" + "9" * 400,
        "cutaway:85x" + "9" * 5000,
        "none+cutaway:85",
    ],
)
def test_a_weight_that_makes_no_sense_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(BadJob) as caught:
        parse_backing(text)
    assert "\n" not in str(caught.value)


def test_an_unknown_kind_names_the_nearest() -> None:
    with pytest.raises(UnknownBacking, match="mesh-cutaway"):
        parse_backing("mash-cutaway:50")


@pytest.mark.parametrize(
    ("text", "width", "height", "shape"),
    [
        ("130x180", 130, 180, "rectangle"),
        ("130 X 180 mm", 130, 180, "rectangle"),
        ("131.5x180", 131.5, 180, "rectangle"),
        ("o120x120", 120, 120, "oval"),
        ("O100x140", 100, 140, "oval"),
        ("4inx4in", 101.6, 101.6, "rectangle"),
        ("5x7in", 127, 177.8, "rectangle"),
        ("10cm x 10cm", 100, 100, "rectangle"),
        ("130\u00d7180", 130, 180, "rectangle"),
        ("round-120", 120, 120, "oval"),
        ("Round-120", 120, 120, "oval"),
    ],
)
def test_a_hoop_is_read(text: str, width: float, height: float, shape: str) -> None:
    found = hoop(text)
    assert (found.width_mm, found.height_mm, found.shape) == (
        pytest.approx(width),
        pytest.approx(height),
        shape,
    )


@pytest.mark.parametrize(
    "text", ["0x0", "0x100", "-5x100", "130x-180", "3x3", "5000x100", "9" * 400 + "x100"]
)
def test_an_impossible_hoop_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(BadJob) as caught:
        hoop(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "big", "130", "130x", "xx", "round-121"])
def test_an_unknown_hoop_says_what_is_known(text: str) -> None:
    with pytest.raises(UnknownHoop, match=r"did you mean|known:"):
        hoop(text)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_no_text_gets_past_the_error_tree(text: str) -> None:
    for read in (parse_backing, hoop):
        with contextlib.suppress(PrehoopError):
            assert read(text) is not None


@settings(deadline=None)
@given(st.floats(min_value=15, max_value=2000), st.floats(min_value=15, max_value=2000), st.booleans())
def test_a_size_is_read_back(width: float, height: float, oval: bool) -> None:
    width, height = round(width, 2), round(height, 2)
    found = hoop(f"{'o' if oval else ''}{width}x{height}")
    assert (found.width_mm, found.height_mm, found.shape == "oval") == (width, height, oval)
