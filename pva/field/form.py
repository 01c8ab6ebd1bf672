"""Turns what pydantic finds wrong in a written form into problems with file, line and advice."""

from __future__ import annotations

import typing
from collections.abc import Iterator

from pydantic import BaseModel, ConfigDict, ValidationError

from pva.errors import Problem
from pva.files import Positions
from pva.files.near_names import did_you_mean


class Form(BaseModel):
    """Base of every written form: unknown keys are refused, numbers may stand for text."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True,
                              coerce_numbers_to_str=True, allow_inf_nan=False)


def form_problems(error: ValidationError, form: type[BaseModel], positions: Positions
                  ) -> list[Problem]:
    """All problems of one validation, each with its line and, for unknown keys, a neighbour."""
    problems = []
    for found in error.errors():
        path = tuple(p for p in found["loc"] if p != "[key]")
        problems.append(_problem(found, path, form, positions))
    return sorted(problems, key=lambda p: (p.line or 0, p.column or 0))


def nearest(word: str, allowed: typing.Iterable[str]) -> str:
    """Advice for a word that is not allowed: the nearest allowed one, else all of them."""
    allowed = [str(a) for a in allowed]
    return did_you_mean(word, allowed, f"Allowed are {', '.join(allowed)}.")


def _problem(found: dict, path: tuple, form: type[BaseModel], positions: Positions) -> Problem:
    kind, where = found["type"], ".".join(str(p) for p in path)
    line, column = positions.of(path)
    place = {"file": positions.file, "line": line, "column": column}
    key = path[-1] if path else ""
    if kind == "extra_forbidden":
        allowed = _allowed_keys(form, path[:-1])
        return Problem(f"there is no key `{key}` here", nearest(key, allowed), code="unknown-key",
                       **place)
    if kind == "missing":
        return Problem(f"the key `{where}` is missing", "Write it.", code="missing-key", **place)
    said = found.get("ctx", {}).get("error")
    what = str(said) if said is not None else f"{found['msg'][0].lower()}{found['msg'][1:]}"
    return Problem(f"`{where}` cannot be {_as_written(found.get('input'))}: {what}",
                   "Correct the value.", code="wrong-value", **place)


def _as_written(value: object) -> str:
    text = "empty" if value is None else repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _allowed_keys(form: type[BaseModel], path: tuple) -> list[str]:
    for step in path:
        if isinstance(step, int):
            continue
        inner = [m for f in [_field(form, step)] if f is not None for m in _forms(f.annotation)]
        if inner:
            form = inner[0]
    return [f.alias or name for name, f in form.model_fields.items()]


def _field(form: type[BaseModel], key: object):
    for name, field in form.model_fields.items():
        if key in (name, field.alias):
            return field
    return None


def _forms(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in typing.get_args(annotation):
        yield from _forms(part)
