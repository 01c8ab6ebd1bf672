"""First pass: is the scenario written as it must be? All problems of the pass together."""

from __future__ import annotations

import re
import typing
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import BaseModel, ValidationError

from pva.errors import FormError
from pva.files.near_names import did_you_mean, near_name
from pva.scenario.places import Problems, path_words
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_plan import MEASURES
from pva.scenario.spec_rates import RateSpec
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
        return ScenarioSpec.model_validate(_without_known_nulls(data, ()))
    except ValidationError as error:
        problems = Problems(data)
        found = error.errors(include_url=False)
        misspelt = {_misspelt(one) for one in found}
        for one in found:
            if one["type"] != "missing" or _path(one) not in misspelt:
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


def _without_known_nulls(data: Any, path: tuple) -> Any:
    """Keys with an empty value are not written; unknown ones stay, to be refused by name."""
    if isinstance(data, dict):
        return {k: _without_known_nulls(v, (*path, k)) for k, v in data.items()
                if v is not None or not _may_be_written(path, k)}
    if isinstance(data, list):
        return [_without_known_nulls(v, (*path, i)) for i, v in enumerate(data)]
    return data


def _may_be_written(path: tuple, key: Any) -> bool:
    blocks = _blocks_at(ScenarioSpec, path)
    if not blocks or _any_key_at(ScenarioSpec, path):
        return True
    return any(key == (info.alias or name) for b in blocks for name, info in b.model_fields.items())


def _path(error: dict) -> tuple:
    return tuple(p for p in error["loc"] if not str(p).startswith(_TAG) and p != "[key]")


def _misspelt(error: dict) -> tuple | None:
    """Path of the key that an unknown key was probably meant to be."""
    if error["type"] != "extra_forbidden":
        return None
    path = _path(error)
    near = near_name(path[-1], _allowed(path[:-1]))
    return (*path[:-1], near) if near else None


def _explain(problems: Problems, error: dict) -> None:
    path, kind = _path(error), error["type"]
    if kind in ("extra_forbidden", "invalid_key"):
        _unknown_key(problems, path, _misspelt(error))
    elif kind == "missing":
        _missing_key(problems, path)
    elif "[key]" in error["loc"]:
        problems.add(path, f"{{key}}: the key `{path[-1]}` is not {_needed(error)}",
                     f"Write {_needed(error)} as the key.", code="wrong-key")
    elif kind == "literal_error":
        _wrong_choice(problems, path, error)
    else:
        needed = _needed(error)
        problems.add(path, f"{{key}} is {_show(error['input'])}, where {needed} is needed",
                     error.get("ctx", {}).get("todo") or _example(needed), code="wrong-form")


def _wrong_choice(problems: Problems, path: tuple, error: dict) -> None:
    allowed = re.findall(r"'([^']*)'", error["ctx"]["expected"])
    words = ", ".join(f"`{word}`" for word in allowed)
    todo = did_you_mean(error["input"], allowed, f"Write one of {words}.")
    problems.add(path, f"{{key}} cannot be {_show(error['input'])}", todo, code="wrong-choice")


_EXAMPLES = {
    "a number": "Write it like 600 or 1e-5.",
    "a finite number": "Write it like 600 or 1e-5.",
    "a whole number": "Write it without decimals, like 12.",
    "`on` or `off`": "Write on, off, yes or no.",
    "some text": "Write some words.",
    "a list": "Put `- ` before each row, or write [ ] around them.",
    "a mapping of keys to values": "Write keys with their values, like `{key: value}`.",
}


def _example(needed: str) -> str:
    if needed in _EXAMPLES:
        return _EXAMPLES[needed]
    if "`value`" in needed:
        return "Write it like 0.9 or `{value: 0.9, se: 0.02}`."
    return "Correct it." if len(needed) > 40 else f"Write {needed}."


def _unknown_key(problems: Problems, path: tuple, meant: tuple | None) -> None:
    allowed = _allowed(path[:-1])
    owner = f"of `{_owner(problems, path)}`" if path[:-1] else "of a scenario"
    todo = f"Did you mean `{meant[-1]}`?" if meant else f"Keys allowed here: {', '.join(allowed)}."
    if str(path[-1]).isdigit():
        todo = ("If a decimal or thousands comma was meant, write a point for decimals and no "
                f"separator for thousands. {todo}")
    problems.add(path, f"`{path[-1]}` is not a key {owner}", todo, code="unknown-key")


def _missing_key(problems: Problems, path: tuple) -> None:
    where = f"`{_owner(problems, path)}`" if path[:-1] else "the scenario"
    info = _field(path)
    form = f": {info.json_schema_extra['form']}" if info else ""
    problems.add(
        path[:-1], f"the key `{path[-1]}` is missing from {where}",
        _WRITTEN.get(path[-1], f"Write `{path[-1]}{form}`."), code="missing-key",
        why=_WHY.get(path[-1]) or (info.description if info and info.description else ""),
    )


_WHY = {
    "census": "Animals counted before and after breeding differ by a year's young",
    "bad_years": "A plan without them looks safer than it is, so they cannot be left out by "
                 "oversight",
}
_WRITTEN = {  # keys that must be written, as a person would write them
    "census": "Write `census: before breeding` or `census: after breeding`.",
    "years": "Write it like `years: {first: 2027, last: 2057}`.",
    "bad_years": "Write it like `bad_years: [{name: flood, chance: 0.05, survival: 0.7}]`, or say "
                 "why there are none: `bad_years: {none: a dam keeps floods and droughts away}`.",
    "quasi_extinction": "Write it like `quasi_extinction: {adults_below: 50}`.",
    "runs": "Write it like `runs: {draws: 200, replicates: 50, seed: 1}`.",
    "measure": f"Write one of these, such as `measure: wild_adults`: {', '.join(MEASURES)}.",
}


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
        return _blocks_at(RateSpec, path[1:]) if _is_open(annotation) else []
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


def _any_key_at(annotation: Any, path: Sequence) -> bool:
    """Whether the mapping at `path` has keys of a person's own choice, such as stages or years."""
    if isinstance(annotation, type) and issubclass(annotation, Block):
        if not path:
            return _is_open(annotation)
        return any(_any_key_at(info.annotation, path[1:])
                   for name, info in annotation.model_fields.items()
                   if path[0] == (info.alias or name))
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is Annotated:
        return _any_key_at(inside[0], path)
    if origin is dict:
        return _any_key_at(inside[1], path[1:]) if path else True
    if origin in (list, tuple):
        return bool(path) and _any_key_at(inside[0], path[1:])
    return any(_any_key_at(part, path) for part in inside)


def _is_open(block: type[Block]) -> bool:
    return block.model_config.get("extra") == "allow"
