"""Documents and tables with one thing wrong: what a slip of the hand, or an evil one, would do."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator

WORDS = ("", " ", "adult", "juvenile", "river", "all", "none", "off", "yes", "1e-5", "1,5", "0x10",
         "NaN", "inf", "-", "2026-05-01", "*", "../x", "é", "a\nb", "{x}", "%s", "<b>", "=1+1",
         "value", "survival/adult", "x" * 300)
NUMBERS = (0, 1, -1, 0.5, 1.0, 1e-12, -0.0, 2, 7, 100, 2025, 2026, 2050, 1e6, 1e9, 1e12, 1e300,
           float("inf"), float("nan"), 2**63, 10**30)


def paths(data: object, path: tuple = ()) -> Iterator[tuple]:
    """Path of every value inside a document."""
    inner = data.items() if isinstance(data, dict) else (
        enumerate(data) if isinstance(data, list) else ())
    for key, value in inner:
        yield (*path, key)
        yield from paths(value, (*path, key))


def at(data: object, path: tuple) -> object:
    for part in path:
        data = data[part]
    return data


def any_value(chance: random.Random) -> object:
    """A value of any kind."""
    kind = chance.randrange(8)
    if kind < 2:
        return chance.choice(WORDS)
    if kind < 4:
        return chance.choice(NUMBERS)
    return (None, True, [], {}, [any_number(chance), chance.choice(WORDS)],
            {chance.choice(WORDS): any_number(chance)}, [[1, 2], [3]])[chance.randrange(7)]


def any_number(chance: random.Random) -> float:
    return chance.choice(NUMBERS) if chance.random() < 0.5 else round(chance.uniform(-2, 2), 3)


def mutated(document: dict, chance: random.Random) -> tuple[dict, str]:
    """A copy with one value dropped, doubled, retyped, moved, swapped or renamed; what was done."""
    document = copy.deepcopy(document)
    path = chance.choice(list(paths(document)))
    block, key = at(document, path[:-1]), path[-1]
    way = chance.choice(("drop", "double", "retype", "number", "swap", "rename", "text", "move"))
    if way == "drop":
        del block[key]
    elif way == "double" and isinstance(block, list):
        block.insert(key, copy.deepcopy(block[key]))
    elif way == "swap":
        other = chance.choice(list(paths(document)))
        held = copy.deepcopy(at(document, other))
        if other[:len(path)] != path and path[:len(other)] != other:
            at(document, other[:-1])[other[-1]] = copy.deepcopy(block[key])
        block[key] = held
    elif way == "rename" and isinstance(block, dict):
        name = str(key)
        block[name[1:] + name[:1] if chance.random() < 0.5 else chance.choice(WORDS)] = (
            block.pop(key))
    elif way == "move" and isinstance(block, dict):
        document[key] = block.pop(key)
    elif way == "text":
        block[key] = str(block[key])
    elif way == "number":
        block[key] = any_number(chance)
    else:
        block[key] = any_value(chance)
    return document, f"{way} {'.'.join(map(str, path))}"


def marked(document: dict, chance: random.Random) -> tuple[dict, float | str, tuple]:
    """A copy with one number or text replaced by one that stands nowhere else, and which."""
    document = copy.deepcopy(document)
    leaves = [p for p in paths(document) if isinstance(at(document, p), int | float | str)
              and not isinstance(at(document, p), bool)]
    path = chance.choice(leaves)
    before = at(document, path)
    if isinstance(before, str):
        mark: float | str = f"mark{chance.randrange(10**6)}"
    elif isinstance(before, int) and abs(before) > 1:
        mark = before + chance.randrange(1, 9)
    else:
        mark = round(before * chance.uniform(0.97, 1.03) + 1e-7 * chance.randrange(1, 9), 12)
    at(document, path[:-1])[path[-1]] = mark
    return document, mark, path


def holds(data: object, mark: float | str) -> bool:
    """Whether a value, or a text in which it stands, is anywhere in a document."""
    if isinstance(data, dict):
        return any(holds(k, mark) or holds(v, mark) for k, v in data.items())
    if isinstance(data, list | tuple):
        return any(holds(one, mark) for one in data)
    if isinstance(mark, str):
        return mark in str(data)
    return isinstance(data, int | float) and abs(data - mark) <= 1e-9 * max(abs(mark), 1e-300)
