"""A grid over scenario keys: what is varied, over which values, and how both are written."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pva.errors import FormError, MeaningError, Problem, PvaError
from pva.files import parse_value
from pva.scenario.changes import KeyPath
from pva.scenario.rates_used import every_rate, only_interval_counts
from pva.scenario.scenario import Scenario

NUMBER = "number"  # animals per release year of the rows that `pva stock` varies
EVERY = "*"
MOST_POINTS = 10_000
_STEPS = re.compile(r"\s*(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s*")


@dataclass(frozen=True)
class Axis:
    """One thing that is varied.

    Parameters
    ----------
    key : str
        As asked for: a dotted path of keys and names, in which ``*`` stands for every row or name,
        or ``number``.
    values : tuple
        Numbers, words or whole blocks.
    paths : tuple of str or tuple
        Paths of the keys that get the value; empty for ``number``.
    """

    key: str
    values: tuple
    paths: tuple[KeyPath, ...]

    @property
    def name(self) -> str:
        """Name of the dimension."""
        return dimension(self.key)

    @property
    def numeric(self) -> bool:
        """Whether every value is a number."""
        return all(isinstance(v, int | float) and not isinstance(v, bool) for v in self.values)

    @property
    def labels(self) -> list:
        """Values as coordinates: numbers, else text."""
        return [float(v) for v in self.values] if self.numeric else [_text(v) for v in self.values]


def dimension(key: str) -> str:
    """Name of a key's dimension; a file keeps `/` for itself."""
    return key.replace("/", "|")


Point = Sequence[tuple[Axis, Any]]

_NAMED = {"survival": "survival of {}", "growth": "growth of {}", "start": "{} at the start",
          "matrix": "matrix, {}", "runs": "runs, {}"}


def key_words(key: str) -> str:
    """A key as a reader says it: "survival of adult", "drum per 100 m2, every site"."""
    if key == NUMBER:
        return "animals a year"
    words = [w for w in key.removesuffix(".value").split(".")]
    place = ""
    if words[0] in ("sites", "releases", "collections", "goals") and len(words) > 1:
        kind = words[0].removesuffix("s")
        place = f", every {kind}" if words[1] == EVERY else f", {words[1]}"
        words = words[2:] if len(words) > 2 else [kind]
    if words[0] == "hosts" and len(words) > 1:
        words = words[1:]
    if words[0] in _NAMED and len(words) > 1:
        text = _NAMED[words[0]].format(", ".join(words[1:]))
    else:
        text = " ".join(words) if words[-1] == "per_100m2" else ", ".join(words)
    return text.replace("per_100m2", "per 100 m2").replace("_", " ") + place


def axes_of(scenario: Scenario, vary: Mapping[str, Sequence]) -> tuple[Axis, ...]:
    """The axes of a grid, each value tried for form and meaning before anything is run.

    Parameters
    ----------
    scenario : Scenario
    vary : mapping of key to values

    Returns
    -------
    tuple of Axis

    Raises
    ------
    FormError, MeaningError
        If a key or value does not fit, or the grid is empty or too large.
    """
    _check_size(vary)
    axes = tuple(Axis(key, tuple(values), _paths(scenario, key)) for key, values in vary.items())
    _try_values(scenario, axes)
    return axes


def _try_values(scenario, axes):
    """Every value once, the rest as written; all problems are raised together."""
    problems = []
    for axis in axes:
        idle: set[str] = set()
        for value in axis.values:
            try:
                idle |= _idle(scenario, changed(scenario, [(axis, value)]))
            except PvaError as error:
                problems += [replace(p, what=f"with `{axis.key}` = {value}: {p.what}",
                                     done="nothing was run") for p in error.problems]
        if idle:
            problems.append(_moves_nothing(axis, sorted(idle)))
        if axis.key == NUMBER and not (axis.numeric and min(axis.values) >= 0):
            given = ", ".join(_text(v) for v in axis.values)
            problems.append(Problem(f"`{NUMBER}` is animals per release year; not every one of "
                                    f"{given} is a number of 0 or more", "Write numbers.",
                                    code="value-outside"))
    if problems:
        raise MeaningError(problems)


def _idle(scenario, other) -> set[str]:
    """Rates whose best value was changed and their interval not: draws stay as they were."""
    before = {r.key: r for r in every_rate(scenario.resolved)}
    return {r.key for r in every_rate(other.resolved)
            if r.key in before and only_interval_counts(r) and other.resolved.chance.unknown
            and r.value != before[r.key].value and r.interval == before[r.key].interval}


def _moves_nothing(axis, names):
    rate = axis.key.removesuffix(".value")
    return Problem(
        f"`{axis.key}` would change nothing: what is not known of {', '.join(names)} is written as "
        "an interval, and runs draw from the interval, whatever the best value",
        f"Vary `{rate}` over whole rates, such as {{value: {_text(axis.values[0])}, se: 0.01}}, or "
        "over bare numbers, which are then known exactly and alike in every year.",
        done="nothing was run", code="value-moves-nothing")


def _check_size(vary):
    problems = [Problem(f"no values are given for `{key}`", "Write at least one, such as 1, 2, 5.",
                        code="no-values") for key, values in vary.items() if not len(values)]
    problems += [Problem(f"a value of `{key}` is given twice", "Write every value once.",
                         code="value-twice") for key, values in vary.items()
                 if len({_text(v) for v in values}) < len(values)]
    points = math.prod(len(values) for values in vary.values())
    if not vary:
        problems.append(Problem("nothing is varied", "Name at least one key and its values, such "
                                "as --vary number=0,100,200.", code="no-values"))
    if points > MOST_POINTS:
        problems.append(Problem(f"the grid has {points:,} points, more than {MOST_POINTS:,}",
                                "Take fewer values; a coarse grid shows where a fine one is "
                                "worth it.", code="grid-too-large"))
    if problems:
        raise FormError(problems)


def changed(scenario: Scenario, point: Point) -> Scenario:
    """The scenario at a point of the grid; ``number`` changes releases and not the scenario."""
    changes = {path: value for axis, value in point for path in axis.paths}
    return scenario.with_changes(changes) if changes else scenario


def points(axes: Sequence[Axis]) -> Iterator[tuple[tuple[int, ...], Point]]:
    """Every point: its place in the grid and the value of every axis."""
    for place in itertools.product(*(range(len(a.values)) for a in axes)):
        yield place, tuple((a, a.values[i]) for a, i in zip(axes, place, strict=True))


def _paths(scenario: Scenario, key: str) -> tuple[KeyPath, ...]:
    """Paths a key stands for; ``*`` is every row of a list, or every name of a block."""
    if key == NUMBER:
        return ()
    if EVERY not in key.split("."):
        return (key,)
    return tuple(_expanded(scenario.written, key.split("."), (), key))


def _expanded(data, words, done, key):
    if EVERY not in words:
        yield (*done, *words)
        return
    place = words.index(EVERY)
    inner = data
    for word in words[:place]:
        inner = _step(inner, word)
    names = _names(inner)
    if not names:
        where = ".".join([*map(str, done), *words[:place]])
        raise FormError(Problem(f"`{key}`: there is nothing under `{where}` that `*` could stand "
                                "for", "Name a list of rows or a block of names before the `*`.",
                                code="unknown-key"))
    for name in names:
        yield from _expanded(_step(inner, name), words[place + 1:],
                             (*done, *words[:place], name), key)


def _step(data, word):
    if isinstance(data, list):
        rows = [r for i, r in enumerate(data) if word in (_row_name(r, i), str(i))]
        return rows[0] if rows else None
    return data.get(word) if isinstance(data, dict) else None


def _names(data):
    if isinstance(data, list):
        return [_row_name(row, i) for i, row in enumerate(data)]
    return list(data) if isinstance(data, dict) else []


def _row_name(row, index):
    return row["name"] if isinstance(row, dict) and "name" in row else index


def read_vary(text: str) -> tuple[str, list]:
    """A key and its values from ``KEY=VALUES``.

    Values are separated by commas, or written as ``0 to 600 by 100``; a value may be a number, a
    word, or a block in braces or brackets.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of (str, list)

    Raises
    ------
    FormError
        If it cannot be read so.
    """
    key, sign, values = text.partition("=")
    if not sign or not key.strip():
        raise FormError(Problem(f"`{text}` does not say what is varied over what",
                                "Write KEY=VALUES, such as number=0,100,200 or "
                                "\"survival.adult.value=0.90 to 0.96 by 0.01\".",
                                code="vary-form"))
    steps = _STEPS.fullmatch(values)
    if steps:
        return key.strip(), _stepped(text, *steps.groups())
    return key.strip(), [parse_value(v) for v in _split(values)]


def _stepped(text, first, last, step):
    try:
        first, last, step = float(first), float(last), float(step)
    except ValueError:
        step = 0.0
    if step == 0 or not math.isfinite(step) or (last - first) / step < 0:
        raise FormError(Problem(f"`{text}`: the steps lead nowhere",
                                "Write three numbers, such as 0 to 600 by 100.", code="vary-form"))
    count = int(math.floor((last - first) / step + 1e-6)) + 1
    if count > MOST_POINTS:
        raise FormError(Problem(f"`{text}` means {count:,} values", "Take larger steps.",
                                code="grid-too-large"))
    values = [round(first + i * step, 12) for i in range(count)]
    return [int(v) if v.is_integer() else v for v in values]


def _split(text):
    """Parts between commas that stand outside braces and brackets."""
    parts, depth = [""], 0
    for sign in text:
        depth += (sign in "{[") - (sign in "}]")
        if sign == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += sign
    return [p.strip() for p in parts if p.strip()]


def _text(value):
    """A value as it is typed behind --vary."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k}: {_text(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_text, value)) + "]"
    return str(value)
