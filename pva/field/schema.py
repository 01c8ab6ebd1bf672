"""The schema of study.yaml for editors, made from the written form and the words about its keys."""

from __future__ import annotations

import typing
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from pva.field.spec import KINDS, StudySpec
from pva.field.study import DIFFERS_BY
from pva.field.words import STUDY_WORDS
from pva.files.json_schema import DIALECT, SWITCH, allow_nothing, tidied, walk

STUDY_SCHEMA = "study.schema.json"
_TEXT = ["string", "number", "boolean"]
_ONE_OR_MORE = ("differs_by", "species", "also_called", "test_tags", "bad_years", "compare",
                "transects")
_BARE = {"ShareSpec": "number", "DonorSpec": "string", "CheckDataSpec": "string",
         "SensitivitySpec": "boolean", "ColumnSource": ["string", "number"],
         "ColumnPart": ["string", "number"]}  # what may stand in place of the block


def study_schema() -> dict[str, Any]:
    """The schema of study.yaml.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.
    """
    schema = tidied(StudySpec.model_json_schema(by_alias=True), _scalar)
    parts = schema.pop("$defs")
    parts["StudySpec"] = schema
    words = _words_by_form()
    for name, part in parts.items():
        for key, inside in (part.get("properties") or {}).items():
            described = {**inside, "description": words[name, key]}
            part["properties"][key] = _as_written(name, key, described,
                                                  key in part.get("required", ()))
    for name, kind in _BARE.items():
        parts[name] = {"anyOf": [{"type": kind}, parts[name]]}
    return {"$schema": DIALECT, "title": "Study of the package pva", **parts.pop("StudySpec"),
            "$defs": parts}


def _scalar(part: dict) -> None:
    kind = part.get("type")
    for ours, theirs in (("ge", "minimum"), ("le", "maximum")):
        if ours in part:
            part[theirs] = part.pop(ours)
    if kind == "string" and "enum" not in part:
        part["type"] = _TEXT
    elif kind == "boolean":
        part.pop("type")
        part |= SWITCH


def _as_written(form: str, key: str, part: dict, required: bool) -> dict:
    """What a person may write behind one key."""
    words = part["description"]
    if key == "differs_by":
        allowed = DIFFERS_BY[form.removesuffix("Spec").lower()]
        part = {"type": "array", "items": {"enum": list(allowed)}}
    if key in _ONE_OR_MORE and part.get("type") == "array":
        part = {"description": words, "anyOf": [part["items"], {
            "type": "array", "items": part["items"]}]}
    if key == "header_row":
        part = {"description": words, "anyOf": [*part["anyOf"], {"const": "none"}]}
    if (form, key) == ("VisitsSpec", "from"):
        part = {"description": words, "anyOf": [{"type": "string"}, *part["anyOf"]]}
    if key == "is":
        part = {"description": words, "enum": list(KINDS)}
    for inside in walk(part):
        inside.pop("ge", None)
    return part if required else allow_nothing(part)


def _words_by_form() -> dict[tuple[str, str], str]:
    """Words about each key, by the name of the form it stands in."""
    words: dict[tuple[str, str], str] = {}
    for form, key, path in _keys(StudySpec, ""):
        words.setdefault((form, key), STUDY_WORDS[path])
    return words


def _keys(form: type[BaseModel], prefix: str) -> Iterator[tuple[str, str, str]]:
    for name, info in form.model_fields.items():
        key = info.alias or name
        yield form.__name__, key, prefix + key
        for inner, ending in _forms_in(info.annotation, ""):
            yield from _keys(inner, f"{prefix}{key}{ending}.")


def _forms_in(annotation: Any, ending: str) -> Iterator[tuple[type[BaseModel], str]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation, ending
    ending += {list: "[]", dict: ".NAME"}.get(typing.get_origin(annotation), "")
    for part in typing.get_args(annotation):
        yield from _forms_in(part, ending)
