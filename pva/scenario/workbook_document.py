"""The written document while the cells of a form are put into it, and what could not be."""

from __future__ import annotations

from typing import Any

from pva.errors import Problem
from pva.scenario.places import Place, WrittenList, WrittenMap


class GrowingDocument:
    """Data with the place of every key, and the problems met on the way.

    Attributes
    ----------
    data : WrittenMap
    problems : list of Problem
    """

    def __init__(self):
        self.data = WrittenMap()
        self.problems: list[Problem] = []
        self._seen: dict[tuple, str] = {}

    def refuse(self, what: str, todo: str, at: Place, code: str, *, done: str = "") -> None:
        """Note a problem."""
        self.problems.append(Problem(what, todo, done=done, file=at.file, code=code))

    def look(self, path: tuple) -> Any:
        """What stands at a path; None where nothing does."""
        data: Any = self.data
        for part in path:
            try:
                data = data[part]
            except (KeyError, IndexError, TypeError):
                return None
        return data

    def inside(self, path: tuple, at: Place, kind: type) -> Any:
        """The container at a path, made where it is missing; None where something else stands."""
        data: Any = self.data
        for i, part in enumerate(path):
            last = i == len(path) - 1
            if isinstance(data, dict) and part not in data:
                data[part] = kind() if last else WrittenMap()
                data.places[part] = at
            data = data[part]
            if not isinstance(data, kind if last else dict | list):
                self._two_ways(path[:i + 1], at)
                return None
        return data

    def put(self, path: tuple, value: Any, at: Place) -> None:
        """Write a value; a second one at the same path is a problem."""
        if path in self._seen:
            self.refuse(f"the same is written a second time; first {self._seen[path]}",
                        "Keep one of the two.", at, "written-twice")
            return
        self._seen[path] = str(at.file).partition(", ")[2]
        inside = self.data if len(path) == 1 else self.inside(path[:-1], at, WrittenMap)
        if inside is None:
            return
        if isinstance(inside.get(path[-1]), dict | list):
            self._two_ways(path, at)
            return
        inside[path[-1]] = value
        inside.places[path[-1]] = at

    def _two_ways(self, path: tuple, at: Place) -> None:
        self.refuse(f"`{'.'.join(map(str, path))}` is written in two ways", "Keep one of the two.",
                    at, "written-twice")


def placed(data: Any, at: Place) -> Any:
    """Plain data with one place for all of it."""
    if isinstance(data, dict):
        return WrittenMap({k: placed(v, at) for k, v in data.items()}, dict.fromkeys(data, at))
    if isinstance(data, list):
        return WrittenList([placed(v, at) for v in data], [at] * len(data))
    return data
