"""Where in the written document a rate comes from: its block, its file and its line."""

from __future__ import annotations

from typing import Any

from pva.scenario.places import NOWHERE, Place, place_of


def path_of(data: Any, key: str) -> tuple:
    """Path of the block that a rate was made from, as far as it is written.

    Parameters
    ----------
    data : WrittenMap
        The merged document.
    key : str
        Key of the rate, such as ``survival/adult @ Mill Run``.

    Returns
    -------
    tuple
        Keys and row numbers; empty where nothing of it is written.
    """
    path, _, site = key.partition(" @ ")
    group, _, rest = path.partition("/")
    at = _site(data, site)
    ways = {"survival": _rates, "growth": _rates, "recruitment": _recruitment, "hosts": _hosts,
            "start": _start, "releases": _release, "movement": _movement}
    found = ways[group](data, group, rest, at) if group in ways else ()
    if not found and group != "movement":
        found = _release_of_estimate(data, path)
    if not found and "matrix" in data:
        return ("matrix",)
    return found


def block_at(data: Any, path: tuple) -> Any:
    """What is written at a path."""
    for part in path:
        data = data[part]
    return data


def place_at(data: Any, path: tuple) -> Place:
    """File and line of a path."""
    return place_of(data, path) if path else NOWHERE


def _there(data: Any, *path: Any) -> tuple:
    """The path if something is written there, else nothing."""
    try:
        return path if block_at(data, path) is not None else ()
    except (KeyError, IndexError, TypeError):
        return ()


def _row(rows: Any, name: str) -> int | None:
    for i, row in enumerate(rows or ()):
        if isinstance(row, dict) and row.get("name") == name:
            return i
    return None


def _site(data: Any, name: str) -> tuple:
    """Path of a site's row; empty where there is none, or no site is meant."""
    i = _row(data.get("sites"), name)
    return () if i is None else ("sites", i)


def _rates(data: Any, group: str, rest: str, at: tuple) -> tuple:
    stage, _, to = rest.partition("/")
    for path in ((*at, group, rest), (*at, group, stage, to), (*at, group, stage)):
        if _there(data, *path):
            return path
    return ()


def _recruitment(data: Any, group: str, rest: str, at: tuple) -> tuple:
    name, _, target = rest.partition("/")
    for path in ((*at, group, name), (group, name)):
        if target and _there(data, *path, "calibrate", target):
            return (*path, "calibrate", target)
        if _there(data, *path):
            return path
    return ()


def _hosts(data: Any, group: str, rest: str, at: tuple) -> tuple:
    host, _, part = rest.rpartition("/")
    for path in ((*at, "recruitment", "hosts"), ("recruitment", "hosts")):
        rows = block_at(data, path) if _there(data, *path) else ()
        i = _row(rows, host)
        if i is not None and _there(data, *path, i, part):
            return (*path, i, part)
    for name in ("per_100m2", "then_per_100m2"):
        if at and _there(data, *at, "hosts", rest, name):
            return (*at, "hosts", rest, name)
    return ()


def _start(data: Any, group: str, stage: str, at: tuple) -> tuple:
    for top in ((*at, "start"), ("start",)):
        for path in ((*top, stage), top):
            if _there(data, *path):
                return path
    return ()


def _release(data: Any, group: str, rest: str, at: tuple) -> tuple:
    name, _, part = rest.rpartition("/")
    for i, row in enumerate(data.get("releases") or ()):
        own = row.get("name") or f"{row.get('stage')} at {row.get('site')}"
        if name in (own, row.get("stage")) and _there(data, "releases", i, part):
            return ("releases", i, part)
    return ()


def _release_of_estimate(data: Any, key: str) -> tuple:
    """A release whose first year takes the estimate of that key."""
    for i, row in enumerate(data.get("releases") or ()):
        written = row.get("first_year_survival")
        if isinstance(written, dict) and written.get("estimate") == key:
            return ("releases", i, "first_year_survival")
    return ()


def _movement(data: Any, group: str, rest: str, at: tuple) -> tuple:
    for i, row in enumerate(data.get("movement") or ()):
        if f"{row.get('stage')}/{row.get('from')}/{row.get('to')}" == rest:
            return ("movement", i, "share")
    return ()
