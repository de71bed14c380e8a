"""Array types that pass between rooms, and the one way to freeze them."""

from __future__ import annotations

from typing import Any, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int32]
Bytes: TypeAlias = npt.NDArray[np.uint8]
Bools: TypeAlias = npt.NDArray[np.bool_]

_Array = TypeVar("_Array", bound=npt.NDArray[Any])


def distinct(values: _Array) -> _Array:
    """Return the different ``values`` (k,) in rising order.

    Sorted and compared: of whole numbers ``np.unique`` builds a table first, a hundred times as slow.
    """
    ordered = np.sort(values)
    kept = np.ones(ordered.size, dtype=np.bool_)
    np.not_equal(ordered[1:], ordered[:-1], out=kept[1:])
    return ordered[kept]  # type: ignore[return-value]


def frozen(array: _Array) -> _Array:
    """Return ``array`` made read-only (contiguous; copied only when it is a view of a writable array)."""
    owned = np.ascontiguousarray(array)
    if owned.base is not None and owned.flags.writeable:
        owned = owned.copy()
    owned.setflags(write=False)
    return owned  # type: ignore[return-value]
