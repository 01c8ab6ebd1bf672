"""Changing single keys of a written scenario, named by path."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pva.errors import FormError, Problem
from pva.scenario.merging import merge, without_excluded
from pva.scenario.places import WrittenList, WrittenMap, with_places
from pva.scenario.resolve_rates import nearest
from pva.scenario.resolve_sites import ONLY_SITE

KeyPath = str | Sequence


def changed(data: WrittenMap, changes: Mapping[KeyPath, Any]) -> WrittenMap:
    """Written data with some keys changed, as an extending file would change them.

    Parameters
    ----------
    data : WrittenMap
    changes : mapping of path to value
        Paths as dotted text (``releases.subadults.number``) or as sequences of keys; rows of lists
        by name, or by number from 0 where they have none. Names may hold dots.

    Returns
    -------
    WrittenMap
        New data; the input is left as it was.

    Raises
    ------
    FormError
        If a path names a row that does not exist.
    """
    for path, value in changes.items():
        parts = _parts(data, path)
        data = _set(data, parts, with_places(value), (), ())
    return data


def _parts(data: Any, path: KeyPath) -> list:
    """Keys of a path; dots inside a name are told from dots between keys by what is written."""
    if not isinstance(path, str):
        return list(path)
    words, parts = path.split("."), []
    while words:
        size = _longest(data, words)
        part: Any = ".".join(words[:size])
        words = words[size:]
        if isinstance(data, dict) and part not in data and part.lstrip("-").isdigit():
            part = int(part) if int(part) in data or all(isinstance(k, int) for k in data) else part
        parts.append(part)
        data = _step(data, part)
    return parts


def _longest(data: Any, words: list[str]) -> int:
    for size in range(len(words), 0, -1):
        if _step(data, ".".join(words[:size])) is not None:
            return size
    return 1


def _step(data: Any, part: Any) -> Any:
    if isinstance(data, list):
        index = _row(data, part)
        return None if index is None else data[index]
    return data.get(part) if isinstance(data, dict) else None


def _row(rows: list, part: Any) -> int | None:
    for i, row in enumerate(rows):
        if isinstance(row, dict) and part in (row.get("name"), _release_name(row)):
            return i
    if isinstance(part, str) and part.isdigit():
        part = int(part)
    if isinstance(part, int) and not isinstance(part, bool) and 0 <= part < len(rows):
        return part
    return None


def _release_name(row: dict) -> str | None:
    """What a release without a name is called."""
    if "name" in row or "stage" not in row or "number" not in row:
        return None
    return f"{row['stage']} at {row.get('site') or ONLY_SITE}"


def _set(data: Any, path: list, value: Any, context: tuple, done: tuple) -> Any:
    if not path:
        return value if data is None else merge(data, value, context)
    part, rest = path[0], path[1:]
    if isinstance(data, list):
        index = _row(data, part)
        if index is None:
            names = [r["name"] for r in data if isinstance(r, dict) and "name" in r]
            where = ".".join(map(str, done))
            raise FormError(Problem(f"`{where}` has no row called `{part}`",
                                    nearest(str(part), names), code="unknown-row"))
        rows = WrittenList(data, getattr(data, "places", None))
        rows[index] = _set(data[index], rest, value, context, (*done, part))
        return rows
    if data is None:
        data = WrittenMap()
    elif not isinstance(data, dict):
        data = WrittenMap({"value": data})  # a bare number is the value of a RATE
    below = data.get(part)
    if not rest:
        return merge(data, WrittenMap({part: value}), context)
    inner = _set(below, rest, value, (*context, part), (*done, part))
    result = without_excluded(data, {part: inner}, context)
    result[part] = inner
    return result


