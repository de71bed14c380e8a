"""The design's derived arrays, against counts done by hand in each test."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.design import Command, Design, Thread

S, J, T, C, H, Q = (
    Command.STITCH,
    Command.JUMP,
    Command.TRIM,
    Command.COLOUR_CHANGE,
    Command.STOP,
    Command.SEQUIN,
)


def design(*rows: tuple[float, float, Command], threads: tuple[Thread, ...] = ()) -> Design:
    points = np.array([row[:2] for row in rows], dtype=float)
    return Design.from_commands(points, np.array([row[2] for row in rows], dtype=np.uint8), threads=threads)


def test_a_long_move_split_by_the_format_is_one_stitch_where_the_needle_lands() -> None:
    # by hand: 10 + 10 + 10 mm in a straight line, the needle down at both ends only
    found = design((0, 0, S), (10, 0, J), (20, 0, J), (30, 0, S))
    assert found.penetrations.tolist() == [[0, 0], [30, 0]]
    assert found.lengths_mm.tolist() == [0.0, 30.0]
    assert found.joined.tolist() == [False, True]
    assert found.jumped.tolist() == [False, True]
    assert found.stitches == 1


def test_a_trim_cuts_the_thread_and_a_jump_does_not() -> None:
    found = design((0, 0, S), (1, 0, S), (1, 0, T), (5, 0, S), (6, 0, J), (7, 0, S))
    assert found.joined.tolist() == [False, True, False, True]
    assert found.jumped.tolist() == [False, False, False, True]
    assert found.lengths_mm.tolist() == [0, 1, 0, 2]


def test_a_stop_neither_cuts_the_thread_nor_changes_the_colour() -> None:
    found = design((0, 0, S), (1, 0, S), (1, 0, H), (2, 0, S))
    assert found.joined.tolist() == [False, True, True]
    assert found.colour.tolist() == [0, 0, 0]


def test_a_sequin_is_no_penetration() -> None:
    assert len(design((0, 0, S), (1, 0, Q), (2, 0, S)).penetrations) == 2


def test_each_colour_block_keeps_its_own_thread_and_empty_blocks_vanish() -> None:
    red, none, blue = Thread("#ff0000"), Thread("#00ff00"), Thread("#0000ff")
    found = design(
        (0, 0, S), (1, 0, S), (1, 0, C), (1, 0, C), (2, 0, S), (3, 0, S), threads=(red, none, blue)
    )
    assert found.threads == (red, blue)
    assert found.colour.tolist() == [0, 0, 1, 1]
    assert found.joined.tolist() == [False, True, False, True]


def test_threads_that_the_file_does_not_name_are_empty_and_not_invented() -> None:
    found = design((0, 0, S), (1, 0, C), (2, 0, S))
    assert found.threads == (Thread(None, None, None), Thread(None, None, None))


def test_size_is_over_the_penetrations_and_not_over_the_jumps() -> None:
    found = design((-90, 0, J), (1, 2, S), (4, 8, S), (99, 99, J))
    assert found.bounds_mm == (1, 2, 4, 8)
    assert found.size_mm == (3, 6)


def test_the_arrays_are_read_only() -> None:
    found = design((0, 0, S), (1, 0, S))
    for array in (found.points, found.kinds, found.penetrations, found.joined, found.jumped, found.colour):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
