"""Schemas of written files for editors, made from the forms that read them.

An editor that knows the schema offers keys, shows their words and marks what is wrong while a
person types. The schema says what a single file can tell; what words mean together is checked by
`pva check` only.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from typing import Any

DIALECT = "https://json-schema.org/draft/2020-12/schema"
NUMBER_TEXT = r"^\s*[-+]?(\d[\d_]*(\.\d*)?|\.\d+)([eE][-+]?\d+)?\s*$"
SWITCHES = ["on", "off", "yes", "no", "true", "false"]
SWITCH = {"enum": [True, False, *SWITCHES, *(word.title() for word in SWITCHES)]}
NOTHING = {"type": "null"}
_INSIDE = ("items", "additionalProperties", "propertyNames")
_SEVERAL = ("anyOf", "prefixItems")


def walk(schema: Any) -> Iterator[dict]:
    """Every part of a schema that is a schema itself, innermost last."""
    if not isinstance(schema, dict):
        return
    yield schema
    for name in ("properties", "$defs"):
        for part in (schema.get(name) or {}).values():
            yield from walk(part)
    for name in _INSIDE:
        yield from walk(schema.get(name))
    for name in _SEVERAL:
        for part in schema.get(name) or ():
            yield from walk(part)


def tidied(raw: dict, scalar: Callable[[dict], None]) -> dict:
    """A schema of pydantic brought to what people write.

    Parameters
    ----------
    raw : dict
        As `model_json_schema` gives it.
    scalar : callable
        Changes one part in place: how numbers, switches and words may be written.

    Returns
    -------
    dict
        A copy: no made-up titles, no discriminators, choices as ``anyOf``.
    """
    schema = copy.deepcopy(raw)
    for part in walk(schema):
        if isinstance(part.get("title"), str):
            part.pop("title")
        part.pop("discriminator", None)
        if "oneOf" in part:
            part["anyOf"] = part.pop("oneOf")
        if "default" in part and part["default"] is None:
            part.pop("default")
    for part in list(walk(schema)):
        scalar(part)
    return schema


def allow_nothing(part: dict) -> dict:
    """The same, or an empty value: a key without a value is not written."""
    if not part or NOTHING in part.get("anyOf", ()):
        return part
    words = {k: part[k] for k in ("description", "default") if k in part}
    inside = {k: v for k, v in part.items() if k not in words}
    choices = inside.pop("anyOf", None)
    if choices is not None and not inside:
        return {**words, "anyOf": [*choices, NOTHING]}
    return {**words, "anyOf": [{**inside, **({"anyOf": choices} if choices else {})}, NOTHING]}


def schema_text(schema: dict) -> str:
    """The schema as a file holds it."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
