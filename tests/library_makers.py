"""Made designs for the design book: many shapes, each in several variants."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from analyzer.design import Command, Design, Thread
from analyzer.formats import to_bytes, writable_format
from analyzer.library.measuring import look_at
from analyzer.library.types import Asked, Record


def made(seed: int, stitches: int = 700) -> Design:
    """Return one design: a few shapes of rows, outlines and columns, drawn from ``seed``."""
    rng = np.random.default_rng(seed)
    points: list[np.ndarray] = []
    kinds: list[np.ndarray] = []
    colours = int(rng.integers(1, 4))
    for block in range(colours):
        for _ in range(int(rng.integers(1, 4))):
            path = _shape(rng, stitches // 4)
            if points:
                halt = Command.COLOUR_CHANGE if block and len(points) % 2 else Command.TRIM
                points.append(path[:1])
                kinds.append(np.array([halt]))
            points.append(path)
            kinds.append(np.full(len(path), Command.STITCH))
    threads = tuple(Thread(f"#{rng.integers(0, 0xFFFFFF):06x}", None) for _ in range(8))
    return Design.from_commands(np.round(np.concatenate(points), 1), np.concatenate(kinds), threads=threads)


def _shape(rng: np.random.Generator, stitches: int) -> np.ndarray:
    """Return the path of one shape: a filled blob with lobes, a wavy column, or a line."""
    centre = rng.uniform(-25.0, 25.0, 2)
    kind = rng.integers(0, 3)
    if kind == 0:
        lobes, depth, size = rng.integers(2, 7), rng.uniform(0.0, 0.5), rng.uniform(6.0, 18.0)
        squash = rng.uniform(0.5, 1.0)
        turn = rng.uniform(0.0, np.pi)
        around = np.linspace(0.0, 2 * np.pi, 180)
        edge = size * (1.0 + depth * np.cos(lobes * around))
        outline = np.stack([edge * np.cos(around), squash * edge * np.sin(around)], axis=1)
        rows = []
        for number, y in enumerate(
            np.linspace(outline[:, 1].min(), outline[:, 1].max(), max(8, stitches // 6))
        ):
            inside = outline[np.abs(outline[:, 1] - y) < 1.5][:, 0]
            if inside.size < 2:
                continue
            x = np.linspace(inside.min(), inside.max(), 5)
            rows.append(np.stack([x[:: -1 if number % 2 else 1], np.full(5, y)], axis=1))
        path = np.concatenate(rows)
        back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        return path @ back + centre
    along = np.linspace(0.0, 1.0, stitches)
    bend = rng.uniform(-20.0, 20.0, (3, 2))
    path = centre + along[:, None] * bend[0] + np.sin(np.pi * along)[:, None] * bend[1]
    path = path + np.sin(3 * np.pi * along)[:, None] * bend[2] * 0.4
    if kind == 1:
        side = np.gradient(path, axis=0)
        side = np.stack([-side[:, 1], side[:, 0]], axis=1) / np.maximum(np.hypot(*side.T), 1e-9)[:, None]
        width = rng.uniform(1.0, 4.0)
        return path + np.where(np.arange(stitches) % 2, 0.5, -0.5)[:, None] * width * side
    return path[:: max(1, stitches // 60)]


def variants(design: Design, seed: int) -> list[Design]:
    """Return five variants: resized, turned, mirrored, colours in another order, other trims."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0.3, 6.0)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return [
        moved(design, np.eye(2) * rng.uniform(0.7, 1.4)),
        moved(design, matrix),
        moved(design, np.diag([-1.0, 1.0])),
        reordered(design),
        retrimmed(design),
    ]


def moved(design: Design, matrix: np.ndarray) -> Design:
    """Return a design whose places are turned, scaled or mirrored, on the lattice of 0.1 mm."""
    return rebuilt(design, np.round(design.points @ matrix.T, 1), design.kinds)


def reordered(design: Design) -> Design:
    """Return a design whose colour blocks are sewn in the opposite order."""
    cuts = np.flatnonzero(design.kinds == Command.COLOUR_CHANGE)
    parts = [p for p in np.split(np.arange(len(design.kinds)), cuts) if p.size]
    points, kinds = [], []
    for part in parts[::-1]:
        begins = int(design.kinds[part[0]] == Command.COLOUR_CHANGE)
        points += [design.points[part[:1]], design.points[part[begins:]]]
        kinds += [np.array([Command.COLOUR_CHANGE]), design.kinds[part[begins:]]]
    return rebuilt(design, np.concatenate(points), np.concatenate(kinds))


def retrimmed(design: Design) -> Design:
    """Return a design whose trims are jumps instead."""
    kinds = design.kinds.copy()
    kinds[kinds == Command.TRIM] = Command.JUMP
    return rebuilt(design, design.points, kinds)


def rebuilt(design: Design, points: np.ndarray, kinds: np.ndarray) -> Design:
    """Return a design of other commands and the same threads."""
    made_anew = Design.from_commands(points, kinds, threads=design.threads)
    return dataclasses.replace(made_anew, name=design.name)


def write_files(folder: Path, count: int, first: int = 0, ending: str = "exp") -> list[Path]:
    """Write so many made designs and return their files."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for seed in range(first, first + count):
        path = folder / f"design-{seed:05d}.{ending}"
        content, _ = to_bytes(made(seed, 120), writable_format(path), path.name)
        path.write_bytes(content)
        written.append(path)
    return written


class Here:
    """Looks at designs in this process: quick to start, for tests of everything but processes."""

    room = 4

    def __init__(self) -> None:
        self.done: list[tuple[int, Record]] = []
        self.seen: list[str] = []

    def give(self, ticket: int, name: str, content: bytes, asked: Asked) -> None:
        """Look at one design."""
        self.seen.append(name)
        self.done.append((ticket, look_at(name, content, asked)))

    def take(self, *, wait: bool) -> list[tuple[int, Record]]:
        """Return what is finished."""
        done, self.done = self.done, []
        return done

    def close(self) -> None:
        """Nothing is held."""
