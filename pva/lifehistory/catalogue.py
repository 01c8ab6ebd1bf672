"""The catalogue of published life-history values: look one up by key, with its citation.

Ranges are judgements over several published values and may stand where a scenario has no
measurement; values are single published figures. A key of low confidence is never a default.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import Any

from pva.errors import MeaningError, Problem
from pva.files import parse_value, shipped
from pva.sources import Source

CATALOGUE = "shared/life_history.yaml"
STATUSES = ("read", "derived", "memory")
CONFIDENCES = ("high", "medium", "low")
# what a place in a scenario may be given; places not named here take any key
PLACES = {
    "survival": ("adult_survival", "juvenile_survival", "first_year_survival",
                 "survival_from_maximum_age", "survival_from_age_1_share"),
    "first_year_survival": ("first_year_survival", "adult_survival", "juvenile_survival",
                            "relocation_survival"),
    "gravid": ("gravid_share",),
    "females": ("female_share",),
    "glochidia": ("fecundity", "fecundity_span", "fecundity_mean_over_life"),
    "attachment": ("attachment",),
    "suitability": ("metamorphosis",),
    "settlement": ("settlement",),
    "per_100m2": ("host_density",),
    "start": ("census_size", "sustainable_size", "last_population"),
    # nothing in the catalogue is any of these
    "growth": (), "per_adult": (), "contact": (), "capacity": (),
}
_LOW = "write a value of your own with `source: {assumed: reason}`"


@dataclass(frozen=True)
class Published:
    """One entry of the catalogue.

    Parameters
    ----------
    key : str
        Such as ``gravid_share`` or ``fecundity/lampsilis``.
    value : float or None
        Best value in `unit`; None where only a range was published.
    interval : tuple of float or None
        (low, high): the 95 % interval where `interval_is` says so, else the range reported or
        offered. Of the bounded laws it holds the bounds.
    unit : str
    distribution : str or None
        Suggested law of what is not known; None = the default of the kind of rate.
    citation : str
        The source in short; `references` has it in full.
    status : {'read', 'derived', 'memory'}
        Seen in the text cited; arithmetic or judgement; recalled only.
    confidence : {'high', 'medium', 'low'}
    se : float or None
        Standard error where one was published.
    interval_is : str
    is_published : bool
        False where nobody published a value for the wild and the range is a judgement alone.
    is_range : bool
        Whether the entry is a judgement over several values.
    by_key : bool
        False where the entry is for display only, whatever its confidence.
    at_least, at_most : float or None
        The bound, where a bound is all that was published.
    species, water, n, method : str
        Where a single figure comes from, as far as the text seen tells; else empty.
    notes : str
    references : tuple of str
    """

    key: str
    value: float | None
    interval: tuple[float, float] | None
    unit: str
    distribution: str | None
    citation: str
    status: str
    confidence: str
    se: float | None = None
    interval_is: str = "range"
    is_published: bool = True
    is_range: bool = False
    by_key: bool = True
    at_least: float | None = None
    at_most: float | None = None
    species: str = ""
    water: str = ""
    n: str = ""
    method: str = ""
    notes: str = ""
    references: tuple[str, ...] = ()

    @property
    def source(self) -> Source:
        """Provenance of the value; a judgement without any published value counts as assumed."""
        if not self.is_published:
            return Source("assumed", f"{self.key}: no published value; {self.notes}")
        weak = "; too weak to stand as a default" if self.confidence == "low" else ""
        return Source("published", f"{self.key}: {self.citation}{weak}", self.status)

    @property
    def origin(self) -> str:
        """Species, water, number and method in one line; empty for a judgement."""
        number = f"n = {self.n}" if self.n.isdigit() else self.n
        return "; ".join(part for part in (self.species, self.water, number, self.method) if part)

    @property
    def figure(self) -> str:
        """Value and interval or bound in words, without the unit."""
        parts = [] if self.value is None else [_digits(self.value)]
        if self.interval is not None:
            span = " to ".join(map(_digits, self.interval))
            span = f"95 % interval {span}" if self.interval_is.startswith("95") else span
            parts.append(f"({span})" if parts else span)
        parts += [f"{words} {_digits(bound)}" for words, bound in
                  (("above", self.at_least), ("below", self.at_most)) if bound is not None]
        return " ".join(parts)

    @property
    def may_stand(self) -> bool:
        """Whether a scenario may take the entry by its key."""
        return _refusal(self) is None


def _digits(value: float) -> str:
    """All digits entered, thousands apart; small shares as powers of ten."""
    return f"{value:,.10g}" if value == 0 or abs(value) >= 1e-4 else f"{value:g}"


def lookup(key: str, *, place: Sequence = ()) -> Published:
    """Entry that may stand for a rate in a scenario.

    Parameters
    ----------
    key : str
        Key of the catalogue; spaces and capitals do not matter.
    place : sequence
        Names of the keys under which the scenario asks, such as ``("survival", "adult")``; a
        mortality is not handed out as a survival.

    Returns
    -------
    Published
        With a value, an interval, or both.

    Raises
    ------
    MeaningError
        Unknown key; nothing published; low confidence; a bound only; not per year; another
        quantity than the place asks for.
    """
    plain = _plain(key)
    entry = _found(plain)
    if entry is None:
        raise MeaningError(_unknown(key, plain))
    problem = _refusal(entry) or _other_quantity(entry, place)
    if problem is not None:
        raise MeaningError(problem)
    return entry


def named(key: str) -> Published | None:
    """The entry of a key, to be shown: it may be one that must not stand for a rate; or None."""
    return _found(_plain(key))


def entries() -> list[Published]:
    """All ranges and values, in the order of the file."""
    return [_found(key) for key in _keys()]


def not_found() -> dict[str, str]:
    """What was looked for in the literature and not found: key to remark."""
    return {key: row.get("notes", "") for key, row in
            ((key, _row("unknown", key)) for key in _written()["unknown"])}


def cite(text: str) -> Source:
    """Source of a value of one's own, as in ``source: {published: juvenile_survival}``.

    Parameters
    ----------
    text : str
        A key of the catalogue, or a citation in free words.

    Returns
    -------
    Source
        ``assumed`` where the key names something for which nothing was published.

    Raises
    ------
    MeaningError
        A single word that is no key but nearly one.
    """
    plain = _plain(text)
    entry = _found(plain)
    if entry is not None:
        return entry.source
    if plain in not_found() or (" " not in text.strip() and _nearest(plain)):
        raise MeaningError(_unknown(text, plain))
    return Source("published", text)


def _refusal(entry: Published) -> Problem | None:
    """Why the entry may not stand for a rate anywhere."""
    if entry.confidence == "low":
        return _too_weak(entry)
    if not entry.by_key:
        return _recalled_only(entry)
    if entry.value is None and entry.interval is None:
        return _bound_only(entry)
    if entry.unit.startswith(("over ", "per visit")):
        return _not_yearly(entry)
    return None


def _other_quantity(entry: Published, place: Sequence) -> Problem | None:
    asked = next((name for name in reversed(place) if name in PLACES), None)
    if asked is None or entry.key.partition("/")[0] in PLACES[asked]:
        return None
    keys = " or ".join(f"`{name}`" for name in PLACES[asked])
    return Problem(
        f"`{entry.key}` is another quantity than `{asked}` asks for",
        f"Take a key that begins with {keys}, or {_LOW}." if keys else
        f"The catalogue has nothing of the kind: measure it, or {_LOW}.",
        code="published-other-quantity",
    )


def _plain(key: str) -> str:
    return str(key).strip().lower().replace(" ", "_")


@cache
def _written() -> dict[str, dict[str, str]]:
    """Text of every entry, by section and key; the file is ours, so its lines are known.

    Few entries are asked for at a time, and reading all of them would take most of a short run.
    """
    text = shipped(CATALOGUE).read_text(encoding="utf-8")
    parts = re.split(r"^(\w+):\n", text, flags=re.MULTILINE)
    return {name: dict(re.findall(r"^  (\S+):((?: .*)?\n(?: {4}.*\n)*)", body, re.MULTILINE))
            for name, body in zip(parts[1::2], parts[2::2], strict=True)}


@cache
def _row(section: str, key: str) -> Any:
    return parse_value(_written()[section][key])


@cache
def _found(key: str) -> Published | None:
    for section in ("ranges", "values"):
        if key in _written()[section]:
            return _entry(key, _row(section, key), is_range=section == "ranges")
    return None


def _keys() -> list[str]:
    return [*_written()["ranges"], *_written()["values"]]


def _entry(key: str, row: dict, *, is_range: bool) -> Published:
    names = [row["citation"]] if "citation" in row else []
    names += [_row("values", basis)["citation"] for basis in row.get("basis", ())]
    references = tuple(dict.fromkeys(_row("citations", name) for name in names))
    short = "; ".join(_short(reference) for reference in references)
    return Published(
        key=key,
        value=None if row.get("value") is None else float(row["value"]),
        interval=tuple(float(end) for end in row["interval"]) if "interval" in row else None,
        unit=row.get("unit", ""),
        distribution=row.get("distribution"),
        citation=f"a judgement over {short}" if is_range and "citation" not in row else short,
        status=row["status"],
        confidence=row["confidence"],
        se=row.get("se"),
        interval_is=row.get("interval_is", "range"),
        is_published=row.get("published", True),
        is_range=is_range,
        by_key=row.get("by_key", True),
        at_least=row.get("at_least"),
        at_most=row.get("at_most"),
        **{name: str(row.get(name, "")) for name in ("species", "water", "n", "method")},
        notes=row.get("notes", ""),
        references=references,
    )


def _short(reference: str) -> str:
    """Authors and year, where the reference begins with them; else the whole of it."""
    match = re.match(r"[^0-9]+ (?:19|20)\d\d(?=,|$| \(authors from)", reference)
    return match.group(0) if match else reference


def _nearest(plain: str) -> list[str]:
    return get_close_matches(plain, _keys(), n=3, cutoff=0.6)


def _unknown(key: str, plain: str) -> Problem:
    remark = not_found().get(plain)
    if remark is not None:
        return Problem(
            f"`{key}` was looked for in the literature and not found ({remark})",
            f"Measure it, or {_LOW}.",
            code="published-not-found",
        )
    near = _nearest(plain)
    named = " or ".join(f"`{name}`" for name in near)
    return Problem(
        f"the catalogue of published values has no `{key}`",
        f"Did you mean {named}?" if near else "Choose a key of the catalogue, or " + _LOW + ".",
        code="published-key-unknown",
    )


def _too_weak(entry: Published) -> Problem:
    if not entry.is_published:
        return Problem(
            f"`{entry.key}` has no published value: calibrate or mark assumed",
            f"Calibrate it where the scenario allows, or {_LOW}.",
            why=f"{entry.notes}; a guess must not pass for a published number",
            code="published-value-missing",
        )
    return Problem(
        f"`{entry.key}` is too weak a value to be taken by key (confidence low)",
        f"Ask for local data, or {_LOW}.",
        why=f"It rests on {entry.citation}" + (f": {entry.notes}" if entry.notes else ""),
        code="published-value-weak",
    )


def _recalled_only(entry: Published) -> Problem:
    return Problem(
        f"`{entry.key}` is recalled, and no text seen gives this step for mussels in the wild",
        f"Calibrate it where the scenario allows, or {_LOW}.",
        why=f"It rests on {entry.citation}: {entry.notes}",
        code="published-value-recalled",
    )


def _bound_only(entry: Published) -> Problem:
    return Problem(
        f"`{entry.key}` gives only a bound ({entry.notes})",
        f"Take another key, or {_LOW}.",
        why="A bound is neither a best value nor an interval",
        code="published-bound-only",
    )


def _not_yearly(entry: Published) -> Problem:
    return Problem(
        f"`{entry.key}` is a share {entry.unit}, not a yearly rate",
        f"Take another key, or {_LOW}.",
        why=entry.notes,
        code="published-not-yearly",
    )
