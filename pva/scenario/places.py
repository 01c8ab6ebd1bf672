"""Written data that remember where every key stands, also after files have been merged."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from pva.errors import Problem


class Place(NamedTuple):
    """File, line and column, counted from 1; all None where data did not come from a file."""

    file: str | None = None
    line: int | None = None
    column: int | None = None


NOWHERE = Place()


class WrittenMap(dict):
    """A mapping whose keys have places."""

    def __init__(self, data=(), places: dict | None = None):
        super().__init__(data)
        self.places: dict[Any, Place] = dict(places or {})


class WrittenList(list):
    """A list whose rows have places."""

    def __init__(self, data=(), places: list[Place] | None = None):
        super().__init__(data)
        self.places: list[Place] = list(places or [NOWHERE] * len(self))


def with_places(data: Any, positions: Any = None, path: tuple = ()) -> Any:
    """Copy plain data into data with places.

    Parameters
    ----------
    data : plain data
        As `pva.files.read_yaml` returns it.
    positions : pva.files.Positions or None
        None for data that did not come from a file.
    """

    def place(key: Any) -> Place:
        if positions is None:
            return NOWHERE
        return Place(positions.file, *positions.of((*path, key)))

    if isinstance(data, dict):
        inside = {k: with_places(v, positions, (*path, k)) for k, v in data.items()}
        return WrittenMap(inside, {k: place(k) for k in data})
    if isinstance(data, list | tuple):
        rows = [with_places(v, positions, (*path, i)) for i, v in enumerate(data)]
        return WrittenList(rows, [place(i) for i in range(len(rows))])
    return data


def plain(data: Any) -> Any:
    """Copy of the data as ordinary dicts and lists."""
    if isinstance(data, dict):
        return {k: plain(v) for k, v in data.items()}
    if isinstance(data, list | tuple):
        return [plain(v) for v in data]
    return data


def place_of(data: Any, path: Sequence) -> Place:
    """Where the key at `path` stands; its nearest parent if the key is absent."""
    found = Place(_file(data))
    for part in path:
        if isinstance(data, WrittenMap) and part in data:
            found = data.places.get(part, NOWHERE)
        elif isinstance(data, WrittenList) and isinstance(part, int) and part < len(data):
            found = data.places[part]
        else:
            break
        data = data[part]
    return found


def _file(data: Any) -> str | None:
    """File of the document: that of its title, which the last file of a chain usually writes."""
    if not isinstance(data, WrittenMap) or not data.places:
        return None
    return data.places.get("title", next(iter(data.places.values()))).file


def path_words(data: Any, path: Sequence) -> str:
    """The path as people say it: ``releases.subadults.number``, rows by name or number."""
    words = []
    for part in path:
        row = data[part] if isinstance(data, list) and _has_row(data, part) else None
        if isinstance(part, int) and isinstance(data, list):
            name = row.get("name") if isinstance(row, dict) else None
            words.append(name if isinstance(name, str) else f"row {part + 1}")
        else:
            words.append(str(part))
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            data = None
    return ".".join(words)


def _has_row(data: list, part: Any) -> bool:
    return isinstance(part, int) and part < len(data)


class Problems:
    """Collects what is wrong in written data, with its place.

    Parameters
    ----------
    data : WrittenMap
        The data that paths lead into.
    """

    def __init__(self, data: Any):
        self.data = data
        self.found: list[Problem] = []

    def add(self, path: Sequence, what: str, todo: str, *, code: str, why: str = "") -> None:
        """Add a problem at a path; ``{key}`` in `what` stands for the path in words."""
        place = place_of(self.data, path)
        what = what.replace("{key}", f"`{path_words(self.data, path)}`")
        problem = Problem(what, todo, why=why, code=code, file=place.file, line=place.line,
                          column=place.column)
        if problem not in self.found:
            self.found.append(problem)

    def in_order(self) -> list[Problem]:
        """Problems in the order of their place."""
        return sorted(self.found, key=lambda p: (p.file or "", p.line or 0, p.column or 0))

    def __bool__(self) -> bool:
        return bool(self.found)


def percent_meant(number: float) -> str:
    """Words for a share that was written in percent, or nothing."""
    return f" If {number:g} % is meant, write {number / 100:g}." if 2 <= number <= 100 else ""
