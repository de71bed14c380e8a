"""Reading stitch files.

:func:`read` turns a file of any known format into a :class:`~analyzer.design.Design`: told by its content
where the format has a signature, else by its extension; millimetres, y up; trims, stops and colours as the
file states them, and a note wherever it does not. :func:`known` lists the formats and what each can hold.
"""

from analyzer.formats.limits import ReadLimits, raised
from analyzer.formats.reading import read
from analyzer.formats.table import Format, known

__all__ = ["Format", "ReadLimits", "known", "raised", "read"]
