"""Rules that tell items by the names at hand: patterns derived from names and catalogue numbers.

A name is taken apart into letters, digits and marks. Names of one shape have one rule. Which part
of them is the item, a column of the catalogue decides: the stretch whose texts stand there, as
written or but for marks, leading zeros and case. Pure computations; nothing is decided here, the
rules are proposed to a person.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from glassine.base import naming, parts

_TOKEN = re.compile(r"[^\W\d_]+|[0-9]+|[\W_]+|\d")
_ZEROS = re.compile(r"(?<![0-9])0+(?=[0-9])")
_ANY_MARK = re.compile(r"[\W_]")
# Longer names are of no use here, and their stretches many.
_MOST_TOKENS = 24
_MOST_SHAPES = 8
_SHARE = 0.5
# Digits from which a number is taken to have always as many: years, days, filled numbers.
_FILLED = 4
# Words for what of an object a capture shows.
PART_WORDS = parts.SIDES | parts.EMULSION | parts.BASE | parts.OBJECT | {
    "sleeve", "envelope", "print", "label"
}  # fmt: skip
_MOST_PARTS = 8
# With a number right behind it such a word may tell a capture made again: no part is made of it.
_AGAIN_WORDS = frozenset({"v", "r", "ver", "version", "take", "retake", "copy"})


@dataclass(frozen=True)
class SameNumber:
    """What makes no difference between two spellings of a number, as `naming.same_number` says."""

    marks: str = ""
    leading_zeros: bool = False
    case: bool = False

    def key(self, text: str) -> str:
        plain = text.strip()
        if self.marks:
            plain = re.sub(f"[{re.escape(self.marks)}]", "-", plain)
        if self.leading_zeros:
            plain = _ZEROS.sub("", plain)
        return plain.casefold() if self.case else plain

    def as_setting(self) -> dict[str, str | bool]:
        stated: dict[str, str | bool] = {}
        if self.marks:
            stated["marks"] = self.marks
        if self.leading_zeros:
            stated["leading_zeros"] = True
        if self.case:
            stated["case"] = True
        return stated


@dataclass(frozen=True)
class Rule:
    """A rule for names of one shape.

    pattern: of the file name, or the path. item: template of the id, where the pattern has none.
    column: of the catalogue, in which the items stand. same_number: how they are compared. fits:
    how many names have an item that stands there; of: how many names have the shape; items: how
    many items they are; length: characters of a name that tell the item.
    """

    pattern: str
    item: str | None
    column: str | None
    same_number: SameNumber
    fits: int
    of: int
    items: int
    length: int


@dataclass(frozen=True)
class _Name:
    """A name without its ending, taken apart. kinds: L, D or the mark itself, one a token."""

    texts: tuple[str, ...]
    kinds: tuple[str, ...]
    ending: str


@dataclass
class _Shape:
    """The names that have one shape. values: the texts of each token."""

    names: list[_Name]
    values: list[list[str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.values = [
            list(column) for column in zip(*(name.texts for name in self.names), strict=True)
        ]

    @property
    def kinds(self) -> tuple[str, ...]:
        return self.names[0].kinds


def _apart(text: str) -> _Name:
    name = PurePosixPath(text)
    stem = text[: len(text) - len(name.suffix)]
    texts = tuple(_TOKEN.findall(stem))
    kinds = tuple("D" if each.isdecimal() else "L" if each.isalpha() else each for each in texts)
    return _Name(texts, kinds, name.suffix)


def shapes(names: Iterable[str]) -> list[_Shape]:
    """Return the most frequent shapes of names, that of most names first."""
    groups: dict[tuple[str, ...], list[_Name]] = {}
    for text in names:
        name = _apart(text)
        if 0 < len(name.texts) <= _MOST_TOKENS:
            groups.setdefault(name.kinds, []).append(name)
    ordered = sorted(groups.values(), key=len, reverse=True)
    return [_Shape(group) for group in ordered[:_MOST_SHAPES]]


def rules(names: Sequence[str], columns: Mapping[str, Iterable[str]]) -> list[Rule]:
    """Return a rule for each shape of names that one was found for, all by one column.

    names: file names, or paths in the batch. columns: {column of the catalogue: its cells}; where
    there is no catalogue, what precedes words for parts is the item. A capture made again needs no
    rule: its mark is understood behind that of the former one, and is no number of a sequence.
    """
    found_shapes = shapes(_first_captures(names))
    if not columns:
        return [rule for shape in found_shapes if (rule := _by_structure(shape))]
    stretches = [(shape, list(_stretches(shape))) for shape in found_shapes]
    best: list[Rule] = []
    for name, cells in columns.items():
        column = _Column.of(name, cells)
        found = [rule for shape, some in stretches if (rule := _by_numbers(shape, some, column))]
        if _worth(found) > _worth(best):
            best = found
    return best


def _first_captures(names: Sequence[str]) -> list[str]:
    """Return the names but those that stand there without their mark of a capture made again."""
    known = {name.casefold() for name in names}
    return [
        name
        for name in names
        if (former := naming.without_mark(name)) is None or former[0].casefold() not in known
    ]


@dataclass(frozen=True)
class _Column:
    """A column of the catalogue: its cells, and them as `_loose` makes them."""

    name: str
    numbers: frozenset[str]
    loose: frozenset[str]

    @classmethod
    def of(cls, name: str, cells: Iterable[str]) -> _Column:
        numbers = frozenset(cell.strip() for cell in cells if cell.strip())
        return cls(name, numbers, frozenset(map(_loose, numbers)))


@dataclass(frozen=True)
class _Stretch:
    """What stands in each name of a shape from one token to another; loose: as `_loose` has it."""

    first: int
    last: int
    texts: list[str]
    loose: list[str]


def _loose(text: str) -> str:
    """Return what is the same for two spellings of a number under the loosest rules."""
    return _ANY_MARK.sub("-", _ZEROS.sub("", text.strip())).casefold()


def _worth(found: list[Rule]) -> tuple[int, int, int, int]:
    exact = sum(rule.fits for rule in found if rule.same_number == SameNumber())
    return (
        sum(rule.fits for rule in found),
        sum(rule.items for rule in found),
        exact,
        sum(rule.length for rule in found),
    )


def _stretches(shape: _Shape) -> Iterable[_Stretch]:
    places = [place for place, kind in enumerate(shape.kinds) if kind in ("L", "D")]
    for first in places:
        for last in places:
            if first <= last:
                texts = ["".join(name.texts[first : last + 1]) for name in shape.names]
                yield _Stretch(first, last, texts, [_loose(text) for text in texts])


def _by_numbers(shape: _Shape, stretches: list[_Stretch], column: _Column) -> Rule | None:
    """Return the rule under which most names of a shape have a number of the column."""
    best: tuple[tuple[int, int, int], Rule] | None = None
    for stretch in stretches:
        texts = stretch.texts
        if sum(text in column.loose for text in stretch.loose) < _SHARE * len(texts):
            continue
        pattern = _pattern(shape, stretch.first, stretch.last)
        if pattern is None:
            continue
        fits, same_number = _least_rules(texts, column.numbers)
        items = len(set(texts))
        length = len(texts[0])
        rule = Rule(*pattern, column.name, same_number, fits, len(texts), items, length)
        # Of two stretches that fit as well, the one that tells more items apart, then the longer.
        worth = (fits, items, stretch.last - stretch.first)
        if best is None or worth > best[0]:
            best = worth, rule
    return best[1] if best else None


def _least_rules(texts: list[str], numbers: frozenset[str]) -> tuple[int, SameNumber]:
    """Return how many texts are numbers, and the fewest rules under which so many are."""
    marks = _marks_between(texts, numbers)
    ladder = [
        SameNumber(),
        SameNumber(leading_zeros=True),
        SameNumber(case=True),
        SameNumber(marks),
        SameNumber(marks, leading_zeros=True),
        SameNumber(marks, case=True),
        SameNumber(marks, leading_zeros=True, case=True),
    ]
    best = (0, ladder[0])
    for rung in ladder:
        keys = {rung.key(number) for number in numbers}
        fits = sum(rung.key(text) in keys for text in texts)
        if fits > best[0]:
            best = (fits, rung)
    return best


def _marks_between(texts: list[str], numbers: frozenset[str]) -> str:
    used = {mark for text in [*texts, *numbers] for mark in text if not mark.isalnum()}
    return "".join(sorted(used))


def _by_structure(shape: _Shape) -> Rule | None:
    """Return a rule by the shape alone: all that stands before words for parts is the item."""
    last = len(shape.kinds) - 1
    while last > 0 and _is_part(shape, last):
        last -= 2
    while last > 0 and shape.kinds[last] not in ("L", "D"):
        last -= 1
    pattern = _pattern(shape, 0, last)
    if pattern is None or shape.kinds[0] not in ("L", "D"):
        return None
    items = {"".join(name.texts[: last + 1]) for name in shape.names}
    count = len(shape.names)
    return Rule(*pattern, None, SameNumber(), count, count, len(items), 0)


# --- patterns ----------------------------------------------------------------------------


def _is_part(shape: _Shape, place: int) -> bool:
    values = set(shape.values[place])
    return shape.kinds[place] == "L" and {value.casefold() for value in values} <= PART_WORDS


def _tells_again(shape: _Shape, place: int) -> bool:
    values = {value.casefold() for value in shape.values[place]}
    return "".join(shape.kinds[place : place + 2]) == "LD" and values <= _AGAIN_WORDS


def _piece(shape: _Shape, place: int) -> str:
    """Return the expression that fits the token of each name at a place."""
    values = set(shape.values[place])
    if shape.kinds[place] == "D":
        lengths = {len(value) for value in values}
        length = lengths.pop()
        # Numbers without zeros before them grow longer in the next batch.
        filled = length >= _FILLED or any(value.startswith("0") for value in values)
        return f"[0-9]{{{length}}}" if filled and not lengths else "[0-9]+"
    if len(values) == 1:
        return re.escape(values.pop())
    if all(value.isascii() for value in values):
        return "[A-Za-z]+"
    return r"[^\W\d_]+"


def _ending(shape: _Shape) -> str:
    endings = sorted({re.escape(name.ending) for name in shape.names})
    return endings[0] if len(endings) == 1 else f"(?:{'|'.join(endings)})"


def _tail(shape: _Shape, after: int) -> str | None:
    """Return the expression for what follows the item, with its part and sequence; None where
    something there differs and says nothing that is known."""
    text = ""
    named: set[str] = set()
    taken: set[int] = set()
    for place in range(after, len(shape.kinds)):
        values = set(shape.values[place])
        if _tells_again(shape, place):
            return None
        folded = {value.casefold() for value in values}
        if place in taken:
            continue
        if shape.kinds[place] == "D" and "sequence" not in named:
            letter = _frame_letter(shape, place + 1)
            text += f"(?P<sequence>[0-9]+{letter})"
            taken |= {place + 1} if letter else set()
            named.add("sequence")
        elif (
            "part" not in named
            and not _is_letter_between(shape, place)
            and (
                _is_part(shape, place)
                or (shape.kinds[place] == "L" and 1 < len(folded) <= _MOST_PARTS)
            )
        ):
            text += f"(?P<part>{'|'.join(sorted(re.escape(value) for value in values))})"
            named.add("part")
        elif len(values) == 1:
            text += re.escape(values.pop())
        elif len(folded) == 1:
            text += f"(?:{'|'.join(sorted(map(re.escape, values)))})"
        else:
            return None
    return text


def _is_letter_between(shape: _Shape, place: int) -> bool:
    """Return whether a token is one letter right between numbers, as in R012F05: it tells what the
    next number counts, and no part."""
    around = shape.kinds[place - 1 : place + 2]
    letters = {value.casefold() for value in shape.values[place]}
    return (
        "".join(around) == "DLD" and all(len(each) == 1 for each in letters) and len(letters) == 1
    )


def _frame_letter(shape: _Shape, place: int) -> str:
    """Return the expression for the letter right behind a number, where it is that of a frame
    between two others (12A), else nothing."""
    if place >= len(shape.kinds) or shape.kinds[place] != "L":
        return ""
    values = set(shape.values[place])
    return "[Aa]" if values <= {"A", "a"} else ""


def _pattern(shape: _Shape, first: int, last: int) -> tuple[str, str | None] | None:
    """Return the pattern of a shape whose tokens `first` to `last` are the item, and the template
    of the id where a folder's mark lies within; None where there is no such pattern."""
    tail = _tail(shape, last + 1)
    if tail is None:
        return None
    head = "".join(_piece(shape, place) for place in range(first))
    groups: list[str] = [""]
    marks: list[str] = []
    for place in range(first, last + 1):
        if "/" in shape.kinds[place]:
            marks.append(re.escape(shape.kinds[place]))
            groups.append("")
        else:
            groups[-1] += _piece(shape, place)
    if not marks:
        return f"{head}(?P<item>{groups[0]}){tail}{_ending(shape)}", None
    names = [f"n{number}" for number in range(1, len(groups) + 1)]
    inner = f"(?P<{names[0]}>{groups[0]})"
    for name, mark, group in zip(names[1:], marks, groups[1:], strict=True):
        inner += f"{mark}(?P<{name}>{group})"
    template = "-".join(f"{{{name}}}" for name in names)
    return f"{head}{inner}{tail}{_ending(shape)}", template


_TAIL_PART = re.compile(r"(?P<mark>\\?.)\(\?P<part>(?P<words>[^()]*)\)")
_TAIL_SEQUENCE = re.compile(r"(?P<mark>\\?.)\(\?P<sequence>\[0-9\]\+\)")


def joined(found: Sequence[Rule]) -> list[str]:
    """Return the patterns of rules, in one where they differ only in whether a part and a sequence
    follow the item."""
    stems: dict[tuple[str, str], list[str]] = {}
    for rule in found:
        head, _, rest = rule.pattern.partition(")")
        ending = re.search(r"(?:\\\.[A-Za-z]+|\(\?:[^()]*\))\Z", rest)
        cut = ending.start() if ending else len(rest)
        stems.setdefault((head, rest[cut:]), []).append(rest[:cut])
    patterns = []
    for (head, end), tails in stems.items():
        one = _optional(tails) if len(tails) > 1 else None
        if one is not None:
            patterns.append(f"{head}){one}{end}")
        else:
            patterns += [f"{head}){tail}{end}" for tail in tails]
    return patterns


def _optional(tails: list[str]) -> str | None:
    """Return one tail that fits all of these, each a part and a sequence, in this order, or none
    of them; None where they are others."""
    parts: set[str] = set()
    marks: dict[str, set[str]] = {"part": set(), "sequence": set()}
    for tail in tails:
        rest = tail
        part = _TAIL_PART.match(rest)
        if part:
            parts.update(part["words"].split("|"))
            marks["part"].add(part["mark"])
            rest = rest[part.end() :]
        sequence = _TAIL_SEQUENCE.match(rest)
        if sequence:
            marks["sequence"].add(sequence["mark"])
            rest = rest[sequence.end() :]
        if rest:
            return None
    if any(len(each) > 1 for each in marks.values()):
        return None
    whole = ""
    if parts:
        whole += f"(?:{marks['part'].pop()}(?P<part>{'|'.join(sorted(parts))}))?"
    if marks["sequence"]:
        whole += f"(?:{marks['sequence'].pop()}(?P<sequence>[0-9]+))?"
    return whole
