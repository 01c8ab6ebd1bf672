"""YAML read into plain data, with the line and column of every key."""

from __future__ import annotations

import copy
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pva.errors import FormError, Problem
from pva.files.ordinary import why_unreadable

MOST_YAML_BYTES = 10_000_000
_PACKED = b"PK\x03\x04"  # how every XLSX begins
MOST_YAML_VALUES = 200_000
MOST_YAML_DEPTH = 40
MOST_DIGITS = 1000  # of a whole number written with base 2, 8 or 16
_DIGITS = re.compile(r"[+-]?\d+")
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_DIGITS_ON = re.compile(r"\d+(\.\d*)?([eE][+-]?\d+)?")


@dataclass(frozen=True)
class Positions:
    """Where every key and value of a YAML file stands.

    Parameters
    ----------
    file : str
        Name of the file, as given.
    keys, values : dict
        From a path (tuple of keys and list indices) to (line, column), both from 1.
    """

    file: str
    keys: dict[tuple, tuple[int, int]]
    values: dict[tuple, tuple[int, int]]

    def of(self, path: Sequence) -> tuple[int, int]:
        """Line and column of the key (or list item) at `path`; of its nearest parent if absent."""
        path = tuple(path)
        while path not in self.keys and path:
            path = path[:-1]
        return self.keys.get(path, (1, 1))

    def of_value(self, path: Sequence) -> tuple[int, int]:
        """Line and column where the value at `path` begins; of its nearest parent if absent."""
        path = tuple(path)
        return self.values[path] if path in self.values else self.of(path)

    def problem(self, path: Sequence, what: str, todo: str, **words: str) -> Problem:
        """Make a `Problem` that points at the key at `path`."""
        line, column = self.of(path)
        return Problem(what, todo, file=self.file, line=line, column=column, **words)


def read_yaml(path: str | os.PathLike) -> tuple[dict, Positions]:
    """Read one YAML 1.2 document into plain Python data, with the place of every key.

    Only plain values are read (mappings, lists, text, whole numbers, numbers, true/false, null);
    dates stay text, and so do ``on``, ``off``, ``yes``, ``no``.

    Parameters
    ----------
    path : path
        File to read: UTF-8, at most 10 MB.

    Returns
    -------
    data : dict
        The document, which must be a mapping.
    positions : Positions
        Line and column of every key and value.

    Raises
    ------
    FormError
        Missing or unreadable file, broken syntax, duplicate keys, references that expand without
        end, or nesting deeper than 40.
    """
    data, positions = _kept_document(_yaml_text(Path(path)), str(path))
    return copy.deepcopy(data), positions  # whoever reads it again must not meet what one changed


def parse_value(text: str) -> Any:
    """One value as it would stand behind a key: a number, a word, or a block in braces or brackets.

    Raises
    ------
    FormError
        If it is not valid there.
    """
    return _document(f"value: {text}", f"the value `{text}`")[0]["value"]


def _document(text: str, file: str) -> tuple[dict, Positions]:
    from ruamel.yaml.error import YAMLError

    from pva.files.yaml_composing import TooLarge, compose

    try:
        node = compose(text, most_nodes=MOST_YAML_VALUES, most_depth=MOST_YAML_DEPTH)
    except TooLarge as error:
        place = (error.mark.line + 1, error.mark.column + 1)
        raise FormError(_too_deep(file, *place) if error.deep else _too_many(file, *place)
                        ) from None
    except (YAMLError, ValueError) as error:
        raise FormError(_yaml_problem(file, error)) from None
    if node is None:
        raise FormError(Problem("the file is empty", "Write the study or scenario into it.",
                                file=file, code="file-empty"))
    if node.tag != "tag:yaml.org,2002:map":
        raise FormError(Problem("the file must hold keys with values, such as `title: ...`",
                                "Begin the file with a key.", file=file, line=1, column=1,
                                code="not-a-mapping"))
    reader = _NodeReader(file)
    data = reader.plain(node, ())
    if reader.problems:
        raise FormError(reader.problems)
    return data, Positions(file, reader.keys, reader.values)


_kept_document = lru_cache(maxsize=4)(_document)  # a run reads its estimates three times


def _yaml_text(path: Path) -> str:
    against = why_unreadable(path, most_bytes=MOST_YAML_BYTES,
                             folder_todo="Name the YAML file in it.",
                             size_todo="Keep tables in CSV files, not in this one.")
    if against is not None:
        raise FormError(against)
    content = path.read_bytes()
    if content.startswith(_PACKED):
        raise FormError(Problem(
            "this is a workbook or another packed file, not a text file",
            "Name the YAML file. A spreadsheet form becomes a scenario with `pva form FILE.xlsx`; "
            "tables are named under `tables` of study.yaml.", file=str(path), code="not-a-text"))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormError(Problem(f"byte {error.start + 1} of the file is not UTF-8 text",
                                "Save the file as UTF-8.", file=str(path),
                                code="not-utf8")) from None


def _too_deep(file: str, line: int | None, column: int | None) -> Problem:
    return Problem(f"values are nested more than {MOST_YAML_DEPTH} deep", "Write the file flatter.",
                   file=file, line=line, column=column, code="nested-too-deep")


def _too_many(file: str, line: int, column: int) -> Problem:
    return Problem(f"the file holds over {MOST_YAML_VALUES:,} keys and values",
                   "Keep tables in CSV files, and write fewer rows in this one.", file=file,
                   line=line, column=column, code="yaml-too-many-values")


def _yaml_problem(file: str, error: Exception) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    said = getattr(error, "problem", None) or str(error).splitlines()[0]
    line, column = (mark.line + 1, mark.column + 1) if mark else (None, None)
    what, todo = next(((what, todo) for mark_of, what, todo in _PLAIN_SYNTAX if mark_of in said),
                      (said, "Look at this line and the one above it: indent with spaces (no "
                       "tabs), one space after each colon, and quote text that holds a colon or a "
                       "bracket."))
    return Problem(f"the file is not valid YAML: {what}", todo, file=file, line=line,
                   column=column, code="yaml-syntax")


# the reader's words for the slips that people make most, with what they are and what to do
_PLAIN_SYNTAX = (
    ("'\\t'", "a tab stands where only spaces may",
     "Replace it by spaces, so that the line begins in the same column as those beside it."),
    ("mapping values are not allowed", "a colon followed by a space stands where no key can be",
     "Put text that holds a colon between quotation marks, like `title: \"First: the dam\"`. A key "
     "must begin in the same column as the keys beside it, and have its colon."),
    ("expected <block end>", "this line begins in another column than the lines it belongs to",
     "Let keys that stand side by side begin in the same column, and indent with spaces."),
    ("expected ',' or '}'", "a brace `{` is not closed, or a comma is missing before this place",
     "Put a comma between the keys within the braces, and `}` after the last."),
    ("expected ',' or ']'", "a bracket `[` is not closed, or a comma is missing before this place",
     "Put a comma between the values within the brackets, and `]` after the last."),
)


class _NodeReader:
    """Turns composed YAML nodes into plain data and remembers where they stood."""

    def __init__(self, file: str):
        self.file = file
        self.keys: dict[tuple, tuple[int, int]] = {}
        self.values: dict[tuple, tuple[int, int]] = {}
        self.problems: list[Problem] = []
        self.count = 0

    def plain(self, node: Any, path: tuple) -> Any:
        self.count += 1
        mark = node.start_mark
        place = (mark.line + 1, mark.column + 1)
        if self.count > MOST_YAML_VALUES:
            raise FormError(Problem(f"the file holds over {MOST_YAML_VALUES:,} values once its "
                                    "references (&name, *name) are followed",
                                    "Write the values out, or keep them in a table.",
                                    file=self.file, line=place[0], code="yaml-too-many-values"))
        if len(path) > MOST_YAML_DEPTH:
            raise FormError(_too_deep(self.file, *place))
        self.keys.setdefault(path, place)
        self.values.setdefault(path, place)
        kind = node.tag.rpartition(":")[2] if node.tag.startswith("tag:yaml.org,2002:") else None
        if kind == "map":
            return self._mapping(node, path)
        if kind == "seq":
            return [self.plain(item, (*path, i)) for i, item in enumerate(node.value)]
        return self._scalar(kind, node, place)

    def _mapping(self, node: Any, path: tuple) -> dict:
        data: dict = {}
        before = None
        for key_node, value_node in node.value:
            if self._comma_in_number(before, key_node, value_node):
                continue
            before = key_node, value_node
            place = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            if not isinstance(key_node.value, str):
                self._refuse(place, "a key must be one word or number", "Write a plain key.",
                             "key-not-plain")
                continue
            kind = key_node.tag.rpartition(":")[2]
            if kind == "merge":
                self._refuse(place, "`<<` is not read here",
                             "Write the keys out, or use `extends` in a scenario.", "merge-key")
                continue
            key = self._scalar(kind, key_node, place)
            if key in data:
                self._refuse(place, f"the key `{key}` stands twice (first in line "
                             f"{self.keys[(*path, key)][0]})", "Keep one of the two.",
                             "duplicate-key")
                continue
            self.keys.setdefault((*path, key), place)
            data[key] = self.plain(value_node, (*path, key))
        return data

    def _comma_in_number(self, before: tuple | None, key_node: Any, value_node: Any) -> bool:
        """Refuse digits alone between commas of { }: YAML reads ``{value: 0,6}`` as two keys."""
        digits, place = key_node.value, key_node.start_mark
        if not (isinstance(digits, str) and _DIGITS_ON.fullmatch(digits)):
            return False
        if value_node.value != "" or value_node.style or value_node.start_mark.index > (
                key_node.end_mark.index):
            return False
        what = f"`{digits}` stands alone between the braces, where a key belongs"
        todo = ("A decimal or thousands comma was probably meant, but within braces a comma ends "
                "a value: write a point for decimals and no separator for thousands.")
        name, number = ("", None) if before is None else (before[0].value, before[1].value)
        if isinstance(number, str) and _DIGITS.fullmatch(number):
            what = f"`{name}: {number},{digits}` is read as {number} and a key `{digits}`"
            thousands = f" or {number}{digits}" if re.fullmatch(r"\d{3}\b.*", digits) else ""
            decimals = f"{number}.{digits}" if digits.isdigit() else ""
            words = f"{decimals}{thousands}".removeprefix(" or ")
            todo += f" Here: {words}." if words else ""
        self._refuse((place.line + 1, place.column + 1), what, todo, "comma-in-number")
        return True

    def _scalar(self, kind: str | None, node: Any, place: tuple[int, int]) -> Any:
        text = node.value
        try:
            if kind in ("str", "timestamp", "value"):
                return self._printable(text, place)
            if kind == "null":
                return None
            if kind == "bool":
                return text.lower() == "true"
            if kind == "int":
                return _whole_number(text)
            if kind == "float":
                return _number(text)
        except ValueError:
            return text
        self._refuse(place, f"the type mark `{node.tag}` is not read", "Remove it: only plain "
                     "text, numbers, lists and keys are allowed.", "yaml-type-mark")
        return None

    def _printable(self, text: str, place: tuple[int, int]) -> str:
        sign = _UNPRINTABLE.search(text)
        if sign:
            self._refuse(place, f"the text holds the sign \\u{ord(sign[0]):04x}, which cannot be "
                         "printed", "Take it out.", "sign-unprintable")
        return text

    def _refuse(self, place: tuple[int, int], what: str, todo: str, code: str) -> None:
        self.problems.append(Problem(what, todo, file=self.file, line=place[0], column=place[1],
                                     code=code))


def _whole_number(text: str) -> int:
    digits = text.replace("_", "")
    if digits.lstrip("+-")[:2].lower() in ("0x", "0o", "0b"):
        if len(digits) > MOST_DIGITS:
            raise ValueError(text)  # such a number could not even be printed in decimals
        return int(digits, 0)
    return int(digits)


def _number(text: str) -> float:
    plain = text.replace("_", "").lower()
    return float(plain.replace(".inf", "inf").replace(".nan", "nan"))
