"""What one file or site writes over another: only what is written is replaced.

Mappings are merged key by key; lists row by row where all rows have a name, else whole; anything
else replaces what stood there. A key that excludes another (an interval and a standard error) takes
its place, and an empty value (null) takes a key away.
"""

from __future__ import annotations

from typing import Any

from pva.scenario.places import NOWHERE, Place, WrittenList, WrittenMap
from pva.scenario.spec_rates import RATE_KEYS

_TARGETS = frozenset({"recruits_per_adult", "growth_rate", "glochidia_per_host"})
_EXCLUDE_ANYWHERE = (
    ({"se"}, {"interval"}),
    ({"at_least"}, {"at_most"}),
    ({"in"}, {"in_years", "of_years", "running"}),
    ({"half_density"}, {"scale"}),
    ({"per_100m2"}, {"until", "blocked", "then_per_100m2", "ramp_years"}),
    *((frozenset({t}), _TARGETS - {t}) for t in _TARGETS),
)
_RECRUITMENT = [
    ({"per_adult"}, {"gravid", "glochidia", "fertilised", "attachment", "settlement", "hosts"}),
]
_EXCLUDE_IN = {
    (): [({"stages"}, {"matrix", "year_sd"})],
    ("stages",): [({"years"}, {"length_mm"})],
    ("bad_years",): [({"chance"}, {"years"})],
    ("goals",): [({"of_years"}, {"running"})],
    ("solve",): [({"options"}, {"releases"})],
    ("limits", "ceiling"): [({"adults"}, {"animals"})],
    ("sites", "limits", "ceiling"): [({"adults"}, {"animals"})],
    ("recruitment",): _RECRUITMENT,
    ("sites", "recruitment"): _RECRUITMENT,
}
_RATE_LAW = {"value", "se", "interval", "distribution", "year_sd", "by_year"}


def merge(under: Any, over: Any, path: tuple = ()) -> Any:
    """Write `over` over `under`.

    Parameters
    ----------
    under, over : WrittenMap, WrittenList or plain value
    path : tuple of str
        Names of the keys above, without rows; decides which keys exclude each other.

    Returns
    -------
    The same kinds, new objects; inputs are left as they were.
    """
    if isinstance(over, dict) and isinstance(under, dict):
        if not _same_form(under, over, path):
            return over
        return _merge_maps(under, over, path)
    if isinstance(over, dict) and _is_number(under) and _only_rate_keys(over):
        return _merge_maps(WrittenMap({"value": under}), over, path)
    if isinstance(over, list) and isinstance(under, list) and _named(over) and _named(under):
        return _merge_rows(under, over, path)
    return over


def merge_at_site(under: Any, over: Any, path: tuple = ()) -> Any:
    """Write what a site says over what stands at top level: a bare number replaces `value`."""
    if _is_number(over) and isinstance(under, dict) and _only_rate_keys(under):
        over = WrittenMap({"value": over})
    if isinstance(over, dict) and isinstance(under, dict) and not _only_rate_keys(over):
        if not _same_form(under, over, path):
            return over
        base = without_excluded(under, over, path)
        for key, value in over.items():
            base[key] = merge_at_site(base[key], value, (*path, key)) if key in base else value
            base.places[key] = _place(over, key)
        return base
    if isinstance(over, list) and isinstance(under, list) and _named(over) and _named(under):
        return _merge_rows(under, over, path, merge_at_site)
    return merge(under, over, path)


def _merge_maps(under: dict, over: dict, path: tuple) -> WrittenMap:
    result = without_excluded(under, over, path)
    for key, value in over.items():
        if value is None:
            if key not in result:  # kept, so that an unknown key is told and not swallowed
                result[key], result.places[key] = None, _place(over, key)
                continue
            result.pop(key)
            result.places.pop(key, None)
            continue
        result[key] = merge(result[key], value, (*path, key)) if key in result else value
        if key == "number" and "first" not in over and _is_number(value):
            result[key] = _same_years(under.get(key), value)
        result.places[key] = _place(over, key)
    return result


def _same_years(under: Any, number: Any) -> Any:
    """A bare number written over numbers by year holds in each of these years."""
    return WrittenMap(dict.fromkeys(under, number)) if isinstance(under, dict) else number


def _merge_rows(under: list, over: list, path: tuple, how=merge) -> WrittenList:
    rows, places = list(under), list(getattr(under, "places", [NOWHERE] * len(under)))
    index = {row["name"]: i for i, row in enumerate(rows)}
    for i, row in enumerate(over):
        at = index.get(row["name"])
        if at is None:
            index[row["name"]] = len(rows)
            rows.append(row)
            places.append(_place(over, i))
        else:
            rows[at] = how(rows[at], row, path)
    return WrittenList(rows, places)


def without_excluded(under: dict, over: dict, path: tuple) -> WrittenMap:
    """Copy of `under` without the keys that those of `over` exclude."""
    gone = set()
    for these, those in (*_EXCLUDE_ANYWHERE, *_EXCLUDE_IN.get(path, ())):
        if these & over.keys():
            gone |= set(those)
        if those & over.keys() and not these & over.keys():
            gone |= set(these)
    if isinstance(over.get("number"), dict):
        gone |= {"first", "last", "interval"}
    if path == () and "matrix" in over:
        gone |= {"survival", "growth", "recruitment"}
    if _only_rate_keys(under):
        gone |= _rate_parts_replaced(under, over)
    gone -= over.keys()
    places = getattr(under, "places", {})
    return WrittenMap(
        {k: v for k, v in under.items() if k not in gone},
        {k: v for k, v in places.items() if k not in gone},
    )


def _rate_parts_replaced(under: dict, over: dict) -> set[str]:
    """Parts of a RATE that no longer hold once `over` is written."""
    gone: set[str] = set()
    if {"estimate", "published"} & over.keys() and "link" not in over:
        gone |= set(RATE_KEYS)
    if _RATE_LAW & over.keys():
        gone |= {"link", "draw"}
        if "link" in under:
            gone |= {"estimate"}
    if {"value", "by_year"} & over.keys():
        gone |= {"source"}
    if "value" in over and "value" not in under:
        gone |= {"by_year"}
    return gone


def _same_form(under: dict, over: dict, path: tuple) -> bool:
    """Whether two mappings say the same kind of thing, so that they can be merged."""
    if path[-1:] == ("source",):
        return False
    if path[-1:] == ("start",):
        return _start_form(under) == _start_form(over)
    if path == ("bad_years",):
        return ("none" in under) == ("none" in over)
    if "calibrate" in under or "calibrate" in over:
        return "calibrate" in under and "calibrate" in over
    if "at_1_mm" in under or "at_1_mm" in over:
        return not (_only_rate_keys(under) or _only_rate_keys(over))
    if path[:1] == ("growth",) or path[:2] == ("sites", "growth"):
        if path[-1] != "growth":
            return _only_rate_keys(under) == _only_rate_keys(over)
    return True


def _start_form(start: dict) -> str:
    for word in ("estimate", "project_from", "animals"):
        if word in start:
            return word
    return "stages"


def _only_rate_keys(data: Any) -> bool:
    return isinstance(data, dict) and bool(data) and all(k in RATE_KEYS for k in data)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _place(data: Any, key: Any) -> Place:
    if isinstance(data, WrittenMap):
        return data.places.get(key, NOWHERE)
    return data.places[key] if isinstance(data, WrittenList) else NOWHERE


def _named(rows: list) -> bool:
    return bool(rows) and all(isinstance(r, dict) and isinstance(r.get("name"), str) for r in rows)
