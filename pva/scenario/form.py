"""First pass: is the scenario written as it must be? All problems of the pass together."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import BaseModel, ValidationError

from pva.errors import FormError
from pva.scenario.places import Problems, path_words, place_of
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_types import Block

_TAG = "‹"


def check_form(data: Any) -> ScenarioSpec:
    """Check keys, types and what is required.

    Parameters
    ----------
    data : WrittenMap
        The merged document.

    Returns
    -------
    ScenarioSpec

    Raises
    ------
    FormError
        With every problem of form, in the order of the file.
    """
    try:
        return ScenarioSpec.model_validate(without_nulls(data))
    except ValidationError as error:
        problems = Problems(data)
        for one in error.errors(include_url=False):
            _explain(problems, one)
        raise FormError(problems.in_order()) from None
    except RecursionError:
        problems = Problems(data)
        problems.add((), "the file is nested too deeply", "Write it with fewer levels.",
                     code="too-deep")
        raise FormError(problems.found) from None


def without_nulls(data: Any) -> Any:
    """Copy in which keys with an empty value are not written."""
    if isinstance(data, dict):
        return {k: without_nulls(v) for k, v in data.items() if v is not None}
    return [without_nulls(v) for v in data] if isinstance(data, list) else data


def _explain(problems: Problems, error: dict) -> None:
    path = tuple(p for p in error["loc"] if not str(p).startswith(_TAG) and p != "[key]")
    kind = error["type"]
    if kind == "extra_forbidden":
        _unknown_key(problems, path)
    elif kind == "missing":
        _missing_key(problems, path)
    elif "[key]" in error["loc"]:
        problems.add(
            path, f"{{key}}: the key `{path[-1]}` is not {_needed(error)}",
            f"Write {_needed(error)} as the key.", code="wrong-key",
        )
    else:
        problems.add(
            path, f"{{key}} is {_show(error['input'])}, where {_needed(error)} is needed",
            f"Write {_needed(error)}.", code="wrong-form",
        )


def _unknown_key(problems: Problems, path: tuple) -> None:
    allowed = _allowed(path[:-1])
    near = difflib.get_close_matches(str(path[-1]), allowed, n=1, cutoff=0.6)
    owner = f"of `{_owner(problems, path)}`" if path[:-1] else "of a scenario"
    todo = f"Did you mean `{near[0]}`?" if near else f"Keys allowed here: {', '.join(allowed)}."
    problems.add(path, f"`{path[-1]}` is not a key {owner}", todo, code="unknown-key")


def _missing_key(problems: Problems, path: tuple) -> None:
    at = path[:-1]
    where = f"`{_owner(problems, path)}`" if at else "the scenario"
    if place_of(problems.data, path).file is None and at == ():
        top = getattr(problems.data, "places", {})
        at = (next(iter(top)),) if top else ()
    info = _field(path)
    form = f", written as {info.json_schema_extra['form']}" if info else ""
    problems.add(
        at, f"the key `{path[-1]}` is missing from {where}", f"Write `{path[-1]}`{form}.",
        code="missing-key",
        why=info.description if info and info.description else "",
    )


def _owner(problems: Problems, path: tuple) -> str:
    return path_words(problems.data, path[:-1])


_WORDS = {
    "dict_type": "a mapping of keys to values", "model_type": "a mapping of keys to values",
    "model_attributes_type": "a mapping of keys to values",
    "list_type": "a list", "tuple_type": "a list of two", "string_type": "text",
    "union_tag_not_found": "another form", "union_tag_invalid": "another form",
}


def _needed(error: dict) -> str:
    kind, context = error["type"], error.get("ctx", {})
    if kind == "form":
        return str(context["needed"])
    if kind == "literal_error":
        return "one of " + context["expected"].replace("'", "`")
    if kind in ("too_long", "too_short"):
        return f"a list of {context.get('max_length') or context.get('min_length')}"
    return _WORDS.get(kind, "another form")


def _show(value: Any) -> str:
    if isinstance(value, BaseModel):
        return "a mapping"
    if isinstance(value, dict):
        return "a mapping of keys" if value else "an empty mapping"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "on" if value else "off"
    text = str(value)
    return f"`{text if len(text) <= 60 else text[:57] + '...'}`"


def _allowed(path: Sequence) -> list[str]:
    """Keys a person may write in the block at `path`."""
    blocks = _blocks_at(ScenarioSpec, path)
    return [
        info.alias or name
        for block in blocks
        for name, info in block.model_fields.items()
        if not info.json_schema_extra["twin_only"]
    ]


def _field(path: tuple) -> Any:
    for block in _blocks_at(ScenarioSpec, path[:-1]):
        for name, info in block.model_fields.items():
            if path[-1] == (info.alias or name):
                return info
    return None


def _blocks_at(annotation: Any, path: Sequence) -> list[type[Block]]:
    if isinstance(annotation, type) and issubclass(annotation, Block):
        if not path:
            return [annotation]
        for name, info in annotation.model_fields.items():
            if path[0] == (info.alias or name):
                return _blocks_at(info.annotation, path[1:])
        return []
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is Annotated:
        return _blocks_at(inside[0], path)
    if origin in (list, tuple) and path:
        return _blocks_at(inside[0], path[1:])
    if origin is dict and path:
        return _blocks_at(inside[1], path[1:])
    if origin in (list, tuple, dict):
        return []
    return [b for part in inside for b in _blocks_at(part, path)]
