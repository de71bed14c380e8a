"""Array types that pass between rooms, and the one way to freeze them."""

from __future__ import annotations

from typing import Any, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int32]
Bytes: TypeAlias = npt.NDArray[np.uint8]
Bools: TypeAlias = npt.NDArray[np.bool_]

_Array = TypeVar("_Array", bound=npt.NDArray[Any])


def box_of(*points: Floats) -> tuple[Floats, Floats]:
    """Return the lower left and the upper right corner, (2,) each, of the box around points (k, 2).

    Column by column: numpy is slow along the long side of a narrow array.
    """
    low, high = (
        np.array([pick([pick(each[:, axis]) for each in points]) for axis in (0, 1)])
        for pick in (np.min, np.max)
    )
    return low, high


def distinct(values: _Array) -> _Array:
    """Return the different ``values`` (k,) in rising order.

    Sorted and compared: of whole numbers ``np.unique`` builds a table first, a hundred times as slow.
    """
    ordered = np.sort(values)
    kept = np.ones(ordered.size, dtype=np.bool_)
    np.not_equal(ordered[1:], ordered[:-1], out=kept[1:])
    return ordered[kept]  # type: ignore[return-value]


def parts(
    one: npt.NDArray[np.int64], two: npt.NDArray[np.int64], nodes: int
) -> tuple[int, npt.NDArray[np.int64]]:
    """Return how many parts edges between nodes ``one`` and ``two`` (e,) make of them, and which, (nodes,).

    Parts are numbered in the order of their first nodes. The matrix is put together here: scipy would sort
    it, sum it and change its types, which takes four times as long as finding the parts.
    """
    order = np.argsort(one, kind="stable")
    rows = np.zeros(nodes + 1, dtype=np.int32)
    np.cumsum(np.bincount(one, minlength=nodes), out=rows[1:])
    columns = two[order].astype(np.int32)
    graph = csr_array((np.ones(columns.size), columns, rows), shape=(nodes, nodes))
    count, label = connected_components(graph, directed=False)
    return int(count), label.astype(np.int64)


def frozen(array: _Array) -> _Array:
    """Return ``array`` made read-only (contiguous; copied only when it is a view of a writable array)."""
    owned = np.ascontiguousarray(array)
    if owned.base is not None and owned.flags.writeable:
        owned = owned.copy()
    owned.setflags(write=False)
    return owned  # type: ignore[return-value]
