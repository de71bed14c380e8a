"""Questions to the design book in words of its own: ``stitches > 5000 and jersey.outcome = 'rework'``.

A question is parsed here and becomes SQL in which every value is bound; no text of the user's reaches the
database.

::

    question   := part ("or" part)*
    part       := term ("and" term)*
    term       := "not" term | "(" question ")" | test
    test       := column (= | != | < | <= | > | >= | ~) value | column "in" "(" value ("," value)* ")"
                | column "is" ["not"] "unknown"
    column     := name | GOODS "." name          jersey.outcome, jersey.gap_mm, jersey.finding, finding, fault
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from analyzer.errors import BadBook
from analyzer.plan import OUTCOMES

#: what can be asked of a file or its design -> its expression in SQL
COLUMNS: Mapping[str, str] = {
    "name": "f.name", "path": "f.path", "root": "f.root", "sha256": "f.sha256", "size": "f.size",
    "status": "d.status", "reason": "d.reason", "format": "d.format", "stitches": "d.stitches",
    "colours": "d.colours", "jumps": "d.jumps", "trims": "d.trims", "stops": "d.stops",
    "width_mm": "d.width_mm", "height_mm": "d.height_mm", "thread_m": "d.thread_m", "bobbin_m": "d.bobbin_m",
    "minutes": "d.minutes", "stitched_mm2": "d.stitched_mm2", "coverage": "d.coverage",
    "density_max": "d.density_max", "regions": "d.regions", "fills": "d.fills", "satins": "d.satins",
    "runs": "d.runs", "lettering_mm": "d.lettering_mm", "appliques": "d.appliques", "voids": "d.voids",
}  # fmt: skip
#: what can be asked of a design on one goods
VERDICTS: Mapping[str, str] = {
    "outcome": "outcome", "chance": "chance", "decided_by": "decided_by", "gap_mm": "worst_gap_mm",
    "gap_low_mm": "gap_low_mm", "gap_high_mm": "gap_high_mm", "pucker_mm": "pucker_mm", "stack": "stack",
    "enough": "enough", "backing": "backing", "backing_g_m2": "backing_g_m2", "layers": "layers",
}  # fmt: skip
_LISTS = ("finding", "fault", "caution", "note", "thread", "rgb")
_TOKEN = re.compile(
    r"\s*(?:(?P<text>'(?:[^']|'')*'|\"(?:[^\"]|\"\")*\")|(?P<number>[-+]?\d+(?:\.\d*)?|[-+]?\.\d+)"
    r"|(?P<word>[A-Za-z_][\w-]*(?:\.[A-Za-z_]\w*)?)|(?P<sign><=|>=|!=|<>|=|<|>|~|\(|\)|,))"
)
#: columns that hold one of a few words
_WORDS: Mapping[str, tuple[str, ...]] = {
    "outcome": OUTCOMES,
    "status": ("read", "damaged", "unreadable"),
}
_MOST = 4000  #: letters of a question
_DEEP = 60


@dataclass(frozen=True, slots=True)
class Where:
    """A condition in SQL, with the values that are bound in it."""

    sql: str
    values: tuple[object, ...]
    goods: tuple[str, ...] = ()  #: that are asked of


@dataclass(slots=True)
class _Reader:
    """Tokens of one question and how far they are read; lives inside one call."""

    text: str
    tokens: list[tuple[str, str, int]]
    at: int = 0
    deep: int = 0
    values: list[object] = field(default_factory=list)
    goods: list[str] = field(default_factory=list)

    def peek(self) -> str:
        return self.tokens[self.at][1].lower() if self.at < len(self.tokens) else ""

    def next(self, what: str) -> tuple[str, str, int]:
        if self.at >= len(self.tokens):
            raise BadBook(f"the question ends too soon: {what} is missing")
        self.at += 1
        return self.tokens[self.at - 1]

    def wrong(self, message: str, place: int) -> BadBook:
        return BadBook(f"{message} (at letter {place + 1} of the question)")


def where(question: str) -> Where:
    """Return the condition that a question stands for.

    Raises:
        BadBook: it cannot be understood; the message says where and what is known.

    """
    if len(question) > _MOST:
        raise BadBook(f"the question is longer than {_MOST:,} letters")
    reader = _Reader(question, _tokens(question))
    sql = _either(reader)
    if reader.at < len(reader.tokens):
        _, token, place = reader.tokens[reader.at]
        raise reader.wrong(f"'{token}' is not expected here; join tests with and, or", place)
    return Where(sql, tuple(reader.values), tuple(dict.fromkeys(reader.goods)))


def sort_by(column: str) -> Where:
    """Return what to sort by: a column, with a minus in front for the largest first.

    Raises:
        BadBook: there is no such column.

    """
    falling = column.startswith("-")
    reader = _Reader(column, [])
    expression = _value_of(reader, column.lstrip("-"), 0)
    order = "DESC" if falling else "ASC"
    return Where(
        f"({expression}) IS NULL, ({expression}) {order}", tuple(reader.values) * 2, tuple(reader.goods)
    )


def _tokens(question: str) -> list[tuple[str, str, int]]:
    tokens, at = [], 0
    text = question.rstrip()
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None or found.end() == at:
            raise BadBook(
                f"'{text[at : at + 12].strip()}' cannot be understood (at letter {at + 1} of the question)"
            )
        kind = str(found.lastgroup)
        tokens.append((kind, found[kind], found.start(kind)))
        at = found.end()
    if not tokens:
        raise BadBook(
            "the question is empty; write for example stitches > 5000 and jersey.outcome = 'rework'"
        )
    return tokens


def _either(reader: _Reader) -> str:
    parts = [_both(reader)]
    while reader.peek() == "or":
        reader.next("a test")
        parts.append(_both(reader))
    return parts[0] if len(parts) == 1 else "(" + " OR ".join(parts) + ")"


def _both(reader: _Reader) -> str:
    parts = [_term(reader)]
    while reader.peek() == "and":
        reader.next("a test")
        parts.append(_term(reader))
    return parts[0] if len(parts) == 1 else "(" + " AND ".join(parts) + ")"


def _term(reader: _Reader) -> str:
    reader.deep += 1
    if reader.deep > _DEEP:
        raise BadBook("the question is nested too deeply")
    if reader.peek() == "not":
        reader.next("a test")
        sql = f"NOT COALESCE({_term(reader)}, 0)"
    elif reader.peek() == "(":
        reader.next("a test")
        sql = f"({_either(reader)})"
        _, token, place = reader.next("a closing bracket")
        if token != ")":
            raise reader.wrong(f"a closing bracket is expected, not '{token}'", place)
    else:
        sql = _test(reader)
    reader.deep -= 1
    return sql


def _test(reader: _Reader) -> str:
    kind, column, place = reader.next("a column")
    if kind != "word":
        raise reader.wrong(f"a column is expected, not '{column}'", place)
    _, sign, sign_place = reader.next(f"a comparison after {column}")
    sign = sign.lower()
    goods, _, name = column.rpartition(".")
    if name.lower() in _LISTS:
        return _listed(reader, goods, name.lower(), sign, sign_place)
    expression = _value_of(reader, column, place)
    if sign == "is":
        negated = reader.peek() == "not"
        if negated:
            reader.next("unknown")
        _, word, word_place = reader.next("unknown")
        if word.lower() != "unknown":
            raise reader.wrong(f"'unknown' is expected after is, not '{word}'", word_place)
        return f"({expression}) IS {'NOT ' if negated else ''}NULL"
    given = len(reader.values)
    compared = _compared(reader, sign, sign_place)
    known = _WORDS.get(name.lower(), ())
    for value in reader.values[given:] if known and sign != "~" else ():
        if value not in known:
            raise reader.wrong(f"{name.lower()} is never '{value}', but {' or '.join(known)}", sign_place)
    return f"({expression}) {compared}"


def _compared(reader: _Reader, sign: str, place: int) -> str:
    """Return the comparison that ``sign`` begins, its value bound."""
    if sign == "in":
        return f"IN ({', '.join('?' * len(_values(reader)))})"
    if sign == "~":
        value = str(_value(reader))
        reader.values.append("%" + re.sub(r"([%_\\])", r"\\\1", value) + "%")
        return "LIKE ? ESCAPE '\\'"
    if sign not in ("=", "!=", "<>", "<", "<=", ">", ">="):
        raise reader.wrong(f"a comparison is expected (= != < <= > >= ~ in, is unknown), not '{sign}'", place)
    reader.values.append(_value(reader))
    return f"{'!=' if sign == '<>' else sign} ?"


def _values(reader: _Reader) -> list[object]:
    _, token, place = reader.next("an opening bracket")
    if token != "(":
        raise reader.wrong(f"an opening bracket is expected after in, not '{token}'", place)
    found = [_value(reader)]
    while (mark := reader.next("a closing bracket"))[1] == ",":
        found.append(_value(reader))
    if mark[1] != ")":
        raise reader.wrong(f"a comma or a closing bracket is expected, not '{mark[1]}'", mark[2])
    reader.values += found
    return found


def _value(reader: _Reader) -> object:
    kind, token, place = reader.next("a value")
    if kind == "text":
        return token[1:-1].replace(token[0] * 2, token[0])
    if kind == "number":
        return float(token) if "." in token else int(token)
    if kind == "word":
        return token  # a bare word is a text: outcome = rework
    raise reader.wrong(f"a value is expected, not '{token}'", place)


def _value_of(reader: _Reader, column: str, place: int) -> str:
    """Return the expression of a column; the goods in it is bound."""
    goods, _, name = column.rpartition(".")
    known: Mapping[str, str] = VERDICTS if goods else COLUMNS
    if name.lower() not in known:
        if not goods and name.lower() in VERDICTS:
            raise reader.wrong(f"'{name}' depends on the goods: write for example jersey.{name}", place)
        nearest = difflib.get_close_matches(name.lower(), (*known, *_LISTS), n=1, cutoff=0.5)
        advice = f"did you mean {nearest[0]}?" if nearest else f"known: {', '.join((*known, *_LISTS))}"
        raise reader.wrong(f"there is no column '{column}': {advice}", place)
    if not goods:
        return known[name.lower()]
    reader.goods.append(goods.lower())
    reader.values.append(goods.lower())
    return f"SELECT v.{known[name.lower()]} FROM verdicts v WHERE v.sha256 = d.sha256 AND v.goods = ?"


def _listed(reader: _Reader, goods: str, name: str, sign: str, place: int) -> str:
    """Return whether one of a design's findings or threads fits."""
    if name in ("thread", "rgb"):
        inner, table = ("t.name" if name == "thread" else "t.rgb"), "threads t"
        begin = f"EXISTS (SELECT 1 FROM {table} WHERE t.sha256 = d.sha256 AND "
    else:
        inner, table = "n.name", "findings n"
        begin = f"EXISTS (SELECT 1 FROM {table} WHERE n.sha256 = d.sha256 AND "
        if goods:
            reader.goods.append(goods.lower())
            reader.values.append(goods.lower())
            begin += "n.goods IN ('', ?) AND "
        if name != "finding":
            begin += f"n.level = '{name}' AND "
    negated = sign in ("!=", "<>")
    test = f"{begin}{inner} {_compared(reader, '=' if negated else sign, place)})"
    return f"NOT {test}" if negated else test
