"""From a check to what people and programs read: a screen of text, the JSON document, cloth maps.

This room computes nothing: it says what the other rooms found. The document's types
(:mod:`analyzer.report.schema`) are its JSON schema, and ``check-schema.json`` beside them is that schema as a
file.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from analyzer.report.fill_in import document
from analyzer.report.result import Check, check
from analyzer.report.schema import Document, encode, json_schema

if TYPE_CHECKING:
    from analyzer.report.cloth_maps import cloth_map, map_names, maps
    from analyzer.report.terminal import text

__all__ = [
    "Check",
    "Document",
    "check",
    "cloth_map",
    "document",
    "encode",
    "json_schema",
    "map_names",
    "maps",
    "text",
]

# pictures and screens bring matplotlib and rich with them, which a caller who wants neither need not wait for
_LATE = {
    "cloth_map": "analyzer.report.cloth_maps",
    "map_names": "analyzer.report.cloth_maps",
    "maps": "analyzer.report.cloth_maps",
    "text": "analyzer.report.terminal",
}


def __getattr__(name: str) -> object:
    if name not in _LATE:
        raise AttributeError(f"module 'analyzer.report' has no attribute '{name}'")
    return getattr(import_module(_LATE[name]), name)
