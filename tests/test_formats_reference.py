"""Every needle point against pyembroidery 1.5.1's own reading of the same bytes, on generated patterns."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
import pyembroidery
import pytest
from hostile_files import BY_THE_LIBRARY
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.design import Command
from analyzer.errors import UnreadableDesign
from analyzer.formats import known, read
from analyzer.formats.decoding import decode

WRITTEN = sorted(name for name in known() if name in BY_THE_LIBRARY and name != "PMV")
HEADER = b"LA:generated       \rST:      0\r\x1a".ljust(512)

steps = st.tuples(st.integers(-300, 300), st.integers(-300, 300))
commands = st.sampled_from(
    [pyembroidery.STITCH] * 8
    + [pyembroidery.JUMP, pyembroidery.TRIM, pyembroidery.COLOR_CHANGE, pyembroidery.STOP]
)
rows = st.lists(st.tuples(steps, commands), min_size=3, max_size=40)


# whatever is generated, there is a stitch to read: two penetrations with thread between them
FIRST = [((0, 0), pyembroidery.STITCH)]
LAST = [((5, 5), pyembroidery.STITCH), ((9, 0), pyembroidery.STITCH)]


def as_pattern(generated: list[tuple[tuple[int, int], int]]) -> pyembroidery.EmbPattern:
    made = pyembroidery.EmbPattern()
    for number in range(len(generated)):
        made.add_thread(
            {"hex": f"#{37 * number % 256:02x}40{91 * number % 256:02x}", "description": f"no {number}"}
        )
    x = y = 0
    for (dx, dy), command in [*FIRST, *generated, *LAST]:
        if command in (pyembroidery.STITCH, pyembroidery.JUMP):
            x, y = x + dx, y + dy
        made.add_stitch_absolute(command, x, y)
    made.end()
    return made


def needle_points(pattern: pyembroidery.EmbPattern) -> np.ndarray:
    """Return the reference: the rows that the library itself calls stitches, in mm and y up."""
    down = [(x / 10, -y / 10) for x, y, command in pattern.stitches if command & 0xFF == pyembroidery.STITCH]
    return np.array(down, dtype=float).reshape(-1, 2)


@pytest.mark.parametrize("name", WRITTEN)
@settings(max_examples=20, deadline=None)
@given(generated=rows)
def test_needle_points_are_those_of_the_library(
    name: str, generated: list[tuple[tuple[int, int], int]]
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"generated.{name.lower()}"
        pyembroidery.write(as_pattern(generated), str(path))
        expected = needle_points(pyembroidery.read(str(path)))
        found = read(path)
    assert found.format == name
    assert found.penetrations.shape == expected.shape
    assert np.allclose(found.penetrations, expected, atol=1e-9)


@pytest.mark.parametrize("name", WRITTEN)
@settings(max_examples=20, deadline=None)
@given(generated=rows)
def test_needle_points_are_those_that_were_written(
    name: str, generated: list[tuple[tuple[int, int], int]]
) -> None:
    if name == "XXX":  # the writer makes a long jump of a stitch of 12.4 mm, where it should split it
        generated = [((dx * 2 // 5, dy * 2 // 5), command) for (dx, dy), command in generated]
    # formats may add a penetration where the needle already is, after a jump: compared without repeats
    pattern = as_pattern(generated)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"generated.{name.lower()}"
        pyembroidery.write(pattern, str(path))
        found = read(path)
    expected, given_back = _distinct(needle_points(pattern)), _distinct(found.penetrations)
    if name in EXTRA_AT_LANDINGS:
        jumps = [(x / 10, -y / 10) for x, y, command in pattern.stitches if command == pyembroidery.JUMP]
        landings = np.array(jumps, dtype=float).reshape(-1, 2)
        given_back = _without_extra(given_back, expected, landings)
    assert given_back.shape == expected.shape
    assert np.allclose(given_back, expected, atol=ROUNDED_TO_MM.get(name, 1e-9))


# what a format cannot hold, or the library's writer does not keep
EXTRA_AT_LANDINGS = ("PEC", "PES")  # the writer puts the needle down where a jump ends
ROUNDED_TO_MM = {"VP3": 0.101}  # the writer rounds the middle of the design and the beginning of each block


def _without_extra(found: np.ndarray, expected: np.ndarray, landings: np.ndarray) -> np.ndarray:
    """Leave out the points of ``found`` that the next of ``expected`` is not and where a jump landed."""
    kept, wanted = [], 0
    for point in found:
        if wanted < len(expected) and np.allclose(point, expected[wanted], atol=1e-9):
            kept.append(point)
            wanted += 1
        elif not len(landings) or np.hypot(*(landings - point).T).min() > 1e-6:
            kept.append(point)  # no excuse for this one
    return np.array(kept).reshape(-1, 2)


def _distinct(points: np.ndarray) -> np.ndarray:
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.hypot(*np.diff(points, axis=0).T) > 1e-6
    return points[keep]


def test_the_comparison_notices_a_single_shifted_point() -> None:  # negative control of the two above
    pattern = as_pattern([((10, 0), pyembroidery.STITCH), ((0, 10), pyembroidery.STITCH)])
    expected = needle_points(pattern)
    pattern.stitches[1][0] += 1
    assert not np.allclose(needle_points(pattern), expected, atol=1e-9)


OURS = {
    pyembroidery.STITCH: Command.STITCH,
    pyembroidery.JUMP: Command.JUMP,
    pyembroidery.TRIM: Command.TRIM,
    pyembroidery.COLOR_CHANGE: Command.COLOUR_CHANGE,
    pyembroidery.SEQUIN_EJECT: Command.SEQUIN,
}


@settings(max_examples=150, deadline=None)
@given(
    records=st.lists(
        st.tuples(
            st.integers(0, 255),
            st.integers(0, 255),
            st.sampled_from([0x03, 0x27, 0x83, 0x83, 0x83, 0xC3, 0x43]),
        ),
        max_size=60,
    )
)
def test_trims_of_a_dst_are_where_the_library_sets_them(records: list[tuple[int, int, int]]) -> None:
    # the library's own count of three jumps, without its clipping, is the reference
    body = b"".join(bytes(record) for record in records)
    reference = pyembroidery.EmbPattern()
    pyembroidery.DstReader.read(io.BytesIO(HEADER + body), reference, {"trim_at": 3, "clipping": False})
    expected = [
        (x / 10, -y / 10, OURS[command & 0xFF])
        for x, y, command in reference.stitches
        if command & 0xFF in OURS
    ]
    found = decode(HEADER + body, "DST")
    assert found.kinds.tolist() == [kind for _, _, kind in expected]
    # where a trim is drawn has no meaning of its own; all that moves must agree
    moves = found.kinds != Command.TRIM
    assert np.allclose(found.points[moves], np.array([row[:2] for row in expected]).reshape(-1, 2)[moves])


@settings(max_examples=200, deadline=None)
@given(body=st.binary(max_size=600), name=st.sampled_from(["DST", "EXP"]))
def test_any_bytes_read_as_the_library_reads_them(body: bytes, name: str) -> None:
    reader = {"DST": pyembroidery.DstReader, "EXP": pyembroidery.ExpReader}[name]
    data = HEADER + body if name == "DST" else body
    reference = pyembroidery.EmbPattern()
    reader.read(io.BytesIO(data), reference, {"clipping": False})
    assert np.allclose(
        decode(data, name).points[decode(data, name).kinds == Command.STITCH], needle_points(reference)
    )


@pytest.mark.parametrize(
    "name", sorted(set(known()) - {"HUS"})
)  # HUS: a few damaged bytes can take gigabytes
def test_noise_in_any_format_gives_a_design_or_one_clear_error(tmp_path: Path, name: str) -> None:
    random = np.random.default_rng(7)
    for size in (1, 3, 40, 700):
        for _ in range(4):
            path = tmp_path / f"noise.{name.lower()}"
            path.write_bytes(random.integers(0, 256, size, dtype=np.uint8).tobytes())
            try:
                assert read(path).stitches >= 1
            except UnreadableDesign as error:
                assert str(error).startswith(f"noise.{name.lower()}: ")  # noqa: PT017 - either way is right
                assert "\n" not in str(error)  # noqa: PT017
