"""Reading and writing stitch files.

:func:`read` turns a file of any known format into a :class:`~analyzer.design.Design`: told by its content
where the format has a signature, else by its extension; millimetres, y up; trims, stops and colours as the
file states them, and a note wherever it does not. :func:`write` puts a design into a file of the formats that
keep all of it, and reads it back before it does. :func:`known` lists the formats and what each can hold.
"""

from analyzer.formats.limits import ReadLimits, raised
from analyzer.formats.reading import read, read_bytes
from analyzer.formats.table import Format, known
from analyzer.formats.writing import Written, to_bytes, writable_format, write

__all__ = [
    "Format",
    "ReadLimits",
    "Written",
    "known",
    "raised",
    "read",
    "read_bytes",
    "to_bytes",
    "writable_format",
    "write",
]
