"""The schema of scenario files for editors, made from the written form."""

from __future__ import annotations

import copy
import json
from typing import Any

from pva.files.json_schema import (
    DIALECT,
    NOTHING,
    NUMBER_TEXT,
    SWITCH,
    allow_nothing,
    tidied,
    walk,
)
from pva.scenario.spec import ScenarioSpec
from pva.sources import KINDS

SCENARIO_SCHEMA = "scenario.schema.json"
_NUMBER = {"type": ["number", "string"], "pattern": NUMBER_TEXT}
_WHERE = [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 1},
          {"type": "array", "items": {"type": "string"}, "minItems": 1}]
_STRIKES = [{"enum": ["together", "separately"]}, {**_NUMBER, "minimum": 0, "maximum": 1}]
_SOURCE = {"type": "object", "minProperties": 1, "maxProperties": 1,
           "propertyNames": {"enum": list(KINDS)},
           "additionalProperties": {"type": ["string", "null"]}}
_EXTRAS = ("form", "default_words", "low", "high", "kind", "twin_only", "partly", "count")
_RATE, _CHANCE = "RateSpec", "ChanceOfSpec"


def scenario_schema() -> dict[str, Any]:
    """The schema of a scenario file.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. A file that extends another may hold any part of a scenario;
        one that stands alone must hold what is required.
    """
    schema = tidied(ScenarioSpec.model_json_schema(by_alias=True), _scalar)
    parts = schema.pop("$defs")
    parts["ScenarioSpec"] = schema
    for part in list(walk({"$defs": parts})):
        for name, inside in (part.get("properties") or {}).items():
            part["properties"][name] = _described(name, inside, name in part.get("required", ()))
    parts[_RATE], parts[_CHANCE] = _rate(parts[_RATE], False), _rate(parts[_RATE], True)
    return {
        "$schema": DIALECT, "title": "Scenario of the package pva",
        "description": "A written question: the life of the animal, sites, releases, goals.",
        "type": "object",
        "if": {"required": ["extends"], "properties": {"extends": {"type": "string"}}},
        "then": {"$ref": "#/$defs/ScenarioSpec-changed"},
        "else": {"$ref": "#/$defs/ScenarioSpec"},
        "$defs": parts | _changed(parts),
    }


def _scalar(part: dict) -> None:
    """Numbers may be text such as 1e-5, switches words, and no text is empty."""
    kind = part.get("type")
    if kind == "number":
        part |= _NUMBER
    elif kind == "boolean":
        part.pop("type")
        part |= SWITCH
    elif kind == "string" and "enum" not in part and "const" not in part:
        part["minLength"] = 1


def _described(name: str, part: dict, required: bool) -> dict:
    """One key with its words, its range and its form."""
    said = {k: part.pop(k, None) for k in _EXTRAS}
    if name == "where":
        part["anyOf"] = _WHERE
    if name == "strikes":
        part["anyOf"] = _STRIKES
    if name == "source" and said["form"] == "{kind: words}":
        part["anyOf"] = [_SOURCE]
    if said["kind"] == "probability":
        part = json.loads(json.dumps(part).replace(f'"#/$defs/{_RATE}"', f'"#/$defs/{_CHANCE}"'))
    for word, limit in (("minimum", said["low"]), ("maximum", said["high"])):
        if limit is not None:
            for inside in walk(part):
                if "number" in inside.get("type", ()) or inside.get("type") == "integer":
                    inside[word] = limit
    part["description"] = _words(part.get("description", ""), said)
    return part if required else allow_nothing(part)


def _words(description: str, said: dict) -> str:
    words = [description, f"Written as: {said['form']}."]
    if said["default_words"]:
        words.append(f"Default: {said['default_words']}.")
    if said["twin_only"]:
        words.append("Written by `pva show --twin`; not meant to be typed.")
    return " ".join(words)


def _rate(block: dict, chance: bool) -> dict:
    """RATE: a bare number or the block; a chance lies from 0 to 1."""
    from pva.lifehistory.catalogue import entries

    block = copy.deepcopy(block)
    limits = {"minimum": 0, "maximum": 1} if chance else {"minimum": 0}
    for name in ("value", "interval", "by_year"):
        for inside in walk(block["properties"][name]):
            if "number" in inside.get("type", ()):
                inside |= limits
    block["properties"]["published"]["anyOf"] = [
        {"enum": [e.key for e in entries() if e.may_stand]}, NOTHING]
    return {"description": block.pop("description"), "anyOf": [{**_NUMBER, **limits}, block]}


def _changed(parts: dict) -> dict:
    """The same parts with nothing required, for files that extend another one."""
    text = json.dumps(parts)
    for name in parts:
        text = text.replace(f'"#/$defs/{name}"', f'"#/$defs/{name}-changed"')
    changed = json.loads(text)
    for part in walk({"$defs": changed}):
        part.pop("required", None)
        for name, inside in (part.get("properties") or {}).items():
            part["properties"][name] = allow_nothing(inside)
    return {f"{name}-changed": part for name, part in changed.items()}
