"""The errors a user can meet, as one small tree.

::

    PrehoopError
    ├── UnreadableDesign   (also ValueError)    missing, empty, damaged beyond use, or no stitch file
    ├── UnwritableDesign   (also ValueError)    a design that a format cannot hold, or a place it cannot go
    ├── UnknownName        (also LookupError)   a name that is in none of the tables
    │   ├── UnknownGoods
    │   ├── UnknownBacking
    │   ├── UnknownTopping
    │   ├── UnknownThread
    │   ├── UnknownNeedle
    │   └── UnknownHoop
    ├── BadJob             (also ValueError)    settings that contradict each other or cannot be met
    ├── BadOrder           (also ValueError)    an order file that cannot be understood; names file and line
    ├── BadBook            (also ValueError)    a design book that cannot be opened, read or asked
    ├── BadRecords         (also ValueError)    records of sew-outs, or a measure, that cannot be understood
    ├── BadTable           (also ValueError)    a materials file that breaks its own rules
    └── NotConverged       (also ArithmeticError)   a solve that missed its stated tolerance

Every message says what is wrong and what to do, on one line.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping


class PrehoopError(Exception):
    """Root of every error that prehoop raises on purpose."""

    keys: tuple[str | int, ...] = ()  #: way to the key that is wrong in a file of the user's, where one is


class UnreadableDesign(PrehoopError, ValueError):
    """A design file that cannot be read, or that holds nothing to sew."""


class UnwritableDesign(PrehoopError, ValueError):
    """A design that the wanted format cannot hold, or a place that cannot be written to."""


def _words(text: str) -> set[str]:
    """Return the words of a name or title, of one number."""
    return {
        word.removesuffix("s") for word in re.findall(r"[a-z]{3,}", text.lower().replace("t-shirt", "tshirt"))
    }


class UnknownName(PrehoopError, LookupError):
    """A name that is not in its table; the message names the nearest known ones."""

    what = "name"

    def __init__(self, name: str, known: Iterable[str], titles: Mapping[str, str] | None = None) -> None:
        """Take the wrong name, those that are known, and what these are called in full."""
        self.name = name
        self.known = tuple(sorted(known))
        asked = _words(name)
        called = [
            one for one, title in sorted((titles or {}).items()) if asked & (_words(title) | _words(one))
        ]
        close = difflib.get_close_matches(name, self.known, n=3, cutoff=0.5)
        self.nearest = tuple(dict.fromkeys([*called, *close]))[:3] if called else tuple(close)
        near, all_known = " or ".join(self.nearest), ", ".join(self.known)
        advice = f"did you mean {near}?" if near else f"known: {all_known}"
        super().__init__(f"unknown {self.what} '{name}': {advice}")


class UnknownGoods(UnknownName):
    """A cloth that is not in the goods table."""

    what = "goods"


class UnknownBacking(UnknownName):
    """A backing kind that is not in the backings table."""

    what = "backing"


class UnknownTopping(UnknownName):
    """A topping that is not in the toppings table."""

    what = "topping"


class UnknownThread(UnknownName):
    """A thread that is not in the threads table."""

    what = "thread"


class UnknownNeedle(UnknownName):
    """A needle that is not in the needles table."""

    what = "needle"


class UnknownHoop(UnknownName):
    """A hoop that is neither in the hoops table nor a size such as 130x180 or o120x120."""

    what = "hoop"


class BadJob(PrehoopError, ValueError):
    """Settings that cannot be met, or that contradict each other."""


class BadOrder(PrehoopError, ValueError):
    """An order file, or a value in it, that cannot be understood."""


class BadBook(PrehoopError, ValueError):
    """A design book that cannot be opened or written, or a question to it that cannot be understood."""


class BadRecords(PrehoopError, ValueError):
    """Records of sew-outs, or a measure in them, that cannot be read or understood."""


class BadTable(PrehoopError, ValueError):
    """A materials file that breaks the rules of its own table."""


class NotConverged(PrehoopError, ArithmeticError):
    """An iterative solve that did not reach its tolerance within its limit."""
