"""Checksum lists of capture stations: recognised by name, read in the forms that exist, and joined
to the files of a batch.

The forms: `<hex>  <path>` as the GNU tools write it (RFC 8493 section 2.1.3 is the same), with
their escapes; `SHA256 (<path>) = <hex>` of the BSD tools; columns in either order, parted by
blanks, tab, comma, semicolon or bar, quoted or not; one bare digest in a file beside its master.
Text is UTF-8 or UTF-16. A line that is none of these is told; nothing is skipped in silence but
blank lines, comments, rules and headings.

A wrong join does no harm: the digest is compared with the file's, and one that differs holds it.
"""

from __future__ import annotations

import posixpath
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from glassine.base.normal import nfc

LENGTHS = {"md5": 32, "sha1": 40, "sha256": 64, "sha512": 128}
_ALGORITHM_OF = {length: name for name, length in LENGTHS.items()}
# Digests that are not compared here. What their lists name counts as not listed.
_FOREIGN = ("sha224", "sha384", "sha3", "crc32", "xxh", "blake", "b2sum", "b3sum")
_SUFFIXES = {f".{name}": name for name in LENGTHS} | {
    ".sha": "", ".sfv": "crc32", ".mhl": "mhl", ".b2": "blake", ".b3": "blake", ".xxh": "xxh",
    ".xxh64": "xxh", ".xxh128": "xxh", ".sha224": "sha224", ".sha384": "sha384",
}  # fmt: skip
_TEXTS = (".txt", ".csv", ".tsv", ".lst", ".log", ".text")
_WORDS = (
    "manifest", "tagmanifest", "checksum", "checksums", "hashes", "hashlist", "digests", "fixity",
)  # fmt: skip
_HEADINGS = {
    "algorithm", "hash", "path", "file", "filename", "files", "name", "checksum", "checksums",
    "size", "bytes", "digest", "date", "time", "md5", "sha1", "sha256", "sha512", "sha", "of",
}  # fmt: skip
MAX_BYTES = 64 * 2**20
# A line longer than this names no path that a file system has.
_MAX_LINE = 16_384
_MAX_FIELDS = 12
_BLANK = " \t"
_AROUND = " \t;,|:=*\"'"
_HEX = re.compile("[0-9A-Fa-f]+")
_WORD = re.compile(r"""[^\s"'<>|;,=*:/\\()]+""")
_LINE_END = re.compile("\r\n|\n|\r")


@dataclass(frozen=True)
class Kind:
    """What the name of a checksum list says.

    algorithm: "" where the digests tell it. compared: whether its digests are compared here.
    single_file: the path of the file that it lies beside, "" where it lists many.
    """

    algorithm: str
    compared: bool
    single_file: str


@dataclass(frozen=True)
class Line:
    """One line: its digest, and what may be the path in it, the likeliest first."""

    number: int
    algorithm: str
    digest: str
    paths: tuple[str, ...]


@dataclass
class Parsed:
    """What a checksum list says. bad: lines (0: the whole) that cannot be read, and why."""

    lines: list[Line] = field(default_factory=list)
    bad: list[tuple[int, str]] = field(default_factory=list)


def kind_of(path: str) -> Kind | None:
    """Return what a file of this name lists, or None where its name is not that of a list."""
    name = unicodedata.normalize("NFKC", posixpath.basename(path)).casefold().strip()
    core = name
    while core.endswith(_TEXTS):
        core = core.rpartition(".")[0]
    stem, dot, ending = core.rpartition(".")
    suffix = f".{ending}" if dot else ""
    if suffix in _SUFFIXES and stem:
        algorithm = _SUFFIXES[suffix]
        return Kind(algorithm, algorithm in ("", *LENGTHS), _file_of_list(path, stem))
    if name == core and dot:  # some other ending: a picture, a table of its own kind
        return None
    squeezed = "".join(char for char in core if char.isalnum())
    foreign = next((word for word in _FOREIGN if word in squeezed), None)
    if foreign:
        return Kind(foreign, compared=False, single_file="")
    algorithm = next((word for word in ("sha512", "sha256", "sha1", "md5") if word in squeezed), "")
    if algorithm:
        return Kind(algorithm, compared=True, single_file="")
    letters = "".join(char for char in squeezed if char.isalpha())
    return Kind("", compared=True, single_file="") if letters in _WORDS else None


def resembles(path: str) -> bool:
    """Return whether a file of this name may once have been a checksum list (a backup of one)."""
    plain = "".join(char for char in posixpath.basename(path).casefold() if char.isalnum())
    return any(word in plain for word in ("sha256", "sha512", "md5", "manifest", "checksum"))


def holds_digests(data: bytes) -> bool:
    """Return whether bytes of a file of any name hold a digest that stands alone, as in a list."""
    text = data.replace(b"\0", b"").decode("latin-1")  # UTF-16 is ASCII with zeros between
    return any(
        run.end() - run.start() in _ALGORITHM_OF and _stands_alone(text, run.start(), run.end())
        for run in _HEX.finditer(text)
    )


def names_beside_digests(data: bytes, names: set[str]) -> bool:
    """Return whether a line with a digest also holds one of these file names (in small letters)."""
    text = data.replace(b"\0", b"").decode("utf-8", "replace").casefold()
    return any(
        not names.isdisjoint(_WORD.findall(line)) and holds_digests(line.encode())
        for line in _LINE_END.split(text)
    )


def _file_of_list(path: str, stem: str) -> str:
    """Return the path of the file that a list of this name (`x.tif.md5`, `x.md5`) lies beside."""
    name = posixpath.basename(path).strip()[: len(stem)]
    letters = "".join(char for char in stem if char.isalpha())
    if letters in _WORDS:
        return ""
    return posixpath.join(posixpath.dirname(path), name)


# --- the text of a list ------------------------------------------------------------------


def _wide(data: bytes) -> str | None:
    """Return the UTF-16 that the bytes are, by their mark or by their many zeros, or None."""
    if data.startswith(b"\xff\xfe"):
        return "utf-16"
    if data.startswith(b"\xfe\xff"):
        return "utf-16"
    start = data[:4096]
    even, odd = start[0::2].count(0), start[1::2].count(0)
    half = max(1, len(start) // 2)
    if odd > half * 0.4 and even < half * 0.1:
        return "utf-16-le"
    return "utf-16-be" if even > half * 0.4 and odd < half * 0.1 else None


def _lines(data: bytes) -> Iterator[tuple[int, list[str]]]:
    """Yield number and readings of each line: one, or two where its bytes are no UTF-8.

    Raises UnicodeDecodeError for UTF-16 that is none.
    """
    wide = _wide(data)
    if wide:
        for number, text in enumerate(_LINE_END.split(data.decode(wide).lstrip("\ufeff")), 1):
            yield number, [text]
        return
    for number, raw in enumerate(re.split(b"\r\n|\n|\r", data.removeprefix(b"\xef\xbb\xbf")), 1):
        try:
            yield number, [raw.decode("utf-8")]
        except UnicodeDecodeError:
            yield number, [raw.decode("utf-8", "backslashreplace"), _western(raw)]


def _western(raw: bytes) -> str:
    try:
        return raw.decode("cp1252")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _says_nothing(line: str) -> bool:
    """Return whether the line is blank, a comment, a rule, a heading or a tool's own remark."""
    text = line.strip()
    if not any(char.isalnum() for char in text) or text[0] in "#;%":
        return True
    if any(run.end() - run.start() in _ALGORITHM_OF for run in _HEX.finditer(text)):
        return False
    if text.startswith("//"):
        return True
    words = "".join(char if char.isalnum() else " " for char in text[:400]).casefold().split()
    return len(text) <= 400 and (words[0] == "certutil" or set(words) <= _HEADINGS)


def parse(data: bytes, kind: Kind) -> Parsed:
    """Return the lines of a checksum list."""
    parsed = Parsed()
    announced = ""  # "SHA256 hash of <path>:" stands a line above its digest
    try:
        for number, texts in _lines(data):
            if len(texts[0]) > _MAX_LINE:
                parsed.bad.append((number, f"it is longer than {_MAX_LINE} characters"))
                continue
            if _says_nothing(texts[0]):
                continue
            heading = _announced(texts[0])
            if heading:
                announced = heading
                continue
            _take(parsed, number, texts, kind, announced)
            announced = ""
    except UnicodeDecodeError:
        parsed.bad.append((0, "its text is cut off, or in no encoding that is known here"))
    return parsed


def _announced(line: str) -> str:
    """Return the path of a line "<algorithm> hash of <path>:", else nothing."""
    text = line.strip()
    start, middle, path = text.partition(" hash of ")
    plain = "".join(char for char in start.casefold() if char.isalnum())
    if not middle or not text.endswith(":") or plain not in LENGTHS:
        return ""
    return path[:-1].removeprefix("file ").strip()


def _take(parsed: Parsed, number: int, texts: list[str], kind: Kind, announced: str) -> None:
    lines = [line for line in (_line(number, text, kind) for text in texts) if line]
    if not lines:
        parsed.bad.append((number, "it is no checksum line"))
        return
    first = lines[0]
    paths = tuple(dict.fromkeys(path for line in lines for path in line.paths))
    paths = paths or tuple(filter(None, (announced or kind.single_file,)))
    if not paths:
        parsed.bad.append((number, "it names no file"))
        return
    parsed.lines.append(Line(number, first.algorithm, first.digest, paths))


def _line(number: int, text: str, kind: Kind) -> Line | None:
    """Return the line's digest and paths (none where it holds a digest alone), or None."""
    lengths = {LENGTHS[kind.algorithm]} if kind.algorithm in LENGTHS else set(_ALGORITHM_OF)
    digests = [
        run
        for run in _HEX.finditer(text)
        if run.end() - run.start() in lengths and _stands_alone(text, run.start(), run.end())
    ]
    if not digests:
        return None
    # A path may hold what looks like a digest: the digest stands at one end of the line.
    at_start = not text[: digests[0].start()].strip("\\ \t\"'")
    chosen = digests[0] if at_start or len(digests) == 1 else digests[-1]
    before, after = text[: chosen.start()], text[chosen.end() :]
    paths = [*_paths(after, before == "\\" and not after[:1].isalnum()), *_before(before)]
    digest = chosen[0].lower()
    return Line(number, _ALGORITHM_OF[len(digest)], digest, tuple(dict.fromkeys(paths)))


def _stands_alone(text: str, start: int, end: int) -> bool:
    before, after = text[start - 1 : start], text[end : end + 1]
    return not (before.isalnum() or after.isalnum() or before == "_" or after == "_")


def _paths(text: str, escaped: bool) -> list[str]:
    """Return what may be the path behind a digest: as it is, trimmed, or one of several columns."""
    exact = text[2:] if text[:2] in ("  ", " *") else text[1:] if text[:1] in _BLANK else text
    candidates = [exact, text.strip(_AROUND)]
    if escaped:
        candidates = [_unescaped(path) for path in candidates]
    return _named([*candidates, *_columns(text)])


def _before(text: str) -> list[str]:
    """Return what may be the path before a digest; of the BSD form, what its brackets hold."""
    trimmed = text.rstrip(" \t=")
    start, bracket, inner = trimmed.partition("(")
    if bracket and inner.endswith(")") and _is_algorithm(start):
        return [inner[:-1]]
    return _named([text.strip(_AROUND), *_columns(text)])


def _columns(text: str) -> list[str]:
    candidates = []
    for mark in ("\t", ";", "|", ","):
        fields = text.split(mark, _MAX_FIELDS)
        if len(fields) > 1:
            candidates += [field.strip(_AROUND) for field in fields]
    return sorted(dict.fromkeys(candidates), key=len, reverse=True)


def _named(texts: Iterable[str]) -> list[str]:
    return [text for text in texts if text.strip() and not _is_algorithm(text)]


def _is_algorithm(text: str) -> bool:
    plain = "".join(char for char in text[:40].casefold() if char.isalnum())
    return len(text) <= 40 and plain in {*LENGTHS, "sha2256", "sha2512"}


def _unescaped(path: str) -> str:
    """Return a path as it was before the GNU tools wrote backslash, line feed and return as two
    characters (GNU coreutils manual, "cksum output modes")."""
    pieces = path.split("\\\\")
    return "\\".join(piece.replace("\\n", "\n").replace("\\r", "\r") for piece in pieces)


# --- the files of a batch ----------------------------------------------------------------


def _folded(path: str) -> str:
    return nfc(path).casefold()


class Files:
    """The files of a batch, looked up by what a list calls them."""

    def __init__(self, paths: Iterable[str]) -> None:
        self._exact = set(paths)
        self._folded: dict[str, list[str]] = {}
        self._names: dict[str, list[str]] = {}
        self._stems: dict[str, list[str]] = {}
        for path in sorted(self._exact):
            self._stems.setdefault(posixpath.splitext(path)[0], []).append(path)
            self._folded.setdefault(_folded(path), []).append(path)
            self._names.setdefault(_folded(posixpath.basename(path)), []).append(path)

    def exact(self, named: str, folder: str) -> str | None:
        """Return the file that has this very path, from the batch or from the list's folder."""
        for way in (named, named.replace("\\", "/")):
            plain = posixpath.normpath(way) if way else way
            for path in (way, plain, posixpath.join(folder, plain)):
                if path in self._exact:
                    return path
        return None

    def alike(self, named: str, folder: str) -> list[str]:
        """Return the files that the path may mean: the longest end of it that a file has as its
        path (letters' case and normal form aside), else the files of that name in any folder."""
        parts = [part for part in named.replace("\\", "/").split("/") if part not in ("", ".")]
        parts = parts[-40:]
        for start in range(len(parts)):
            tail = _folded("/".join(parts[start:]))
            paths = self._folded.get(tail) or self._folded.get(_folded(folder) + "/" + tail)
            if paths:
                return paths
        return self._names.get(_folded(parts[-1]), []) if parts else []

    def of_stem(self, stem: str) -> str | None:
        """Return the one file of the path `stem`, or of that path and any ending."""
        if stem in self._exact:
            return stem
        paths = self._stems.get(stem, [])
        return paths[0] if len(paths) == 1 else None


@dataclass
class Joined:
    """A checksum list joined to the files of a batch.

    expected: {path: (algorithm, digest)}; missing: paths listed that no file has; conflicting:
    files listed with several digests; bad: as in `Parsed`.
    """

    expected: dict[str, tuple[str, str]] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    conflicting: dict[str, list[int]] = field(default_factory=dict)
    bad: list[tuple[int, str]] = field(default_factory=list)


def join(path: str, parsed: Parsed, kind: Kind, files: Files) -> Joined:
    """Return what the list at `path` says of the files of its batch."""
    joined = Joined(bad=list(parsed.bad))
    folder = posixpath.dirname(path)
    numbers: dict[str, int] = {}

    def note(file: str, line: Line) -> None:
        first_digest = joined.expected.setdefault(file, (line.algorithm, line.digest))
        if first_digest != (line.algorithm, line.digest):
            joined.conflicting.setdefault(file, [numbers[file]]).append(line.number)
        numbers.setdefault(file, line.number)

    loose = []
    for line in parsed.lines:
        named = next((file for way in line.paths if (file := files.exact(way, folder))), None)
        if named is None:
            loose.append(line)
        else:
            note(named, line)
    exact = set(joined.expected)
    for line in loose:
        named = _alike(line, kind, folder, files, exact)
        if named is None:
            joined.missing.append(line.paths[0].strip())
        else:
            note(named, line)
    joined.missing = [_from_batch(path, folder, joined) for path in joined.missing]
    for file in joined.conflicting:
        del joined.expected[file]
    return joined


def _from_batch(path: str, folder: str, joined: Joined) -> str:
    """Return the path of a file that is not here, from the batch folder on: where a list in a
    folder names only files of that folder, it names this one from there too."""
    plain = path.replace("\\", "/").removeprefix("./")
    own = f"{folder}/" if folder else ""
    inside = bool(joined.expected) and all(file.startswith(own) for file in joined.expected)
    elsewhere = plain.startswith(("/", own)) if own else True
    if elsewhere or not inside or ":" in plain or ".." in plain.split("/"):
        return path
    return own + plain


def _alike(line: Line, kind: Kind, folder: str, files: Files, exact: set[str]) -> str | None:
    """Return the one file that a line means which has no such path, or None."""
    for way in line.paths:
        alike = [file for file in files.alike(way, folder) if file not in exact]
        if len(alike) == 1:
            return alike[0]
    if kind.single_file and line.paths == (kind.single_file,):
        return files.of_stem(kind.single_file)
    return None


def plain_list(data: bytes, algorithm: str) -> tuple[dict[str, str], list[tuple[int, str]]]:
    """Return {path: hex digest} of a list whose files are not at hand, and its bad lines.

    A path listed with two digests is a bad line.
    """
    parsed = parse(data, Kind(algorithm, compared=True, single_file=""))
    listed: dict[str, str] = {}
    bad = list(parsed.bad)
    for line in parsed.lines:
        name = line.paths[0].strip(_BLANK).removeprefix("./")
        if listed.setdefault(name, line.digest) != line.digest:
            bad.append((line.number, f"{name} is listed twice with different digests"))
    return listed, sorted(bad)
