"""One value of a scenario as one cell of the spreadsheet form, and back."""

from __future__ import annotations

import re
from typing import Any

from pydantic_core import PydanticCustomError

from pva.scenario.spec_types import to_number, to_switch, to_whole
from pva.scenario.workbook_layout import LIST, NUMBER, PAIR, SWITCH, TABLE, TEXT, WHOLE

NOTHING = object()  # a value that fits into no cell of its kind
_WHOLE_TEXT = re.compile(r"-?\d+")
_NEEDED = {NUMBER: "a number", WHOLE: "a whole number", PAIR: "a number", SWITCH: "`on` or `off`",
           TABLE: "a number, or entries such as `2027: 100; 2028: 50`",
           LIST: "a list parted by semicolons, such as `2030; 2040`"}
_PERCENT = re.compile(r"(\d+(?:[.,]\d+)?)\s*%")
_COMMA = re.compile(r"-?\d*,\d+")
_GROUPED = re.compile(r"\d{1,3}(?:[ \u00a0\u202f']\d{3})+")
_YEARS_WITH_COMMAS = re.compile(r"\[?\s*\d{4}(?:\s*,\s*\d{4})+\s*\]?")


def to_cell(value: Any, kind: str) -> Any:
    """What the form shows for a value; NOTHING where it cannot be shown in one cell."""
    if kind == TEXT:
        return value if isinstance(value, str | int | float) and not isinstance(
            value, bool) else NOTHING
    if kind in (NUMBER, WHOLE, PAIR):
        return _number(value)
    if kind == SWITCH:
        try:
            return "on" if to_switch(value) else "off"
        except PydanticCustomError:
            return NOTHING
    if kind == LIST:
        return _list(value)
    return _table(value)


def from_cell(text: str, kind: str) -> Any:
    """The value that a cell means.

    Raises
    ------
    ValueError
        With what is needed there.
    """
    try:
        if kind in (NUMBER, PAIR):
            return to_number(text)
        if kind == WHOLE:
            return to_whole(text)
        if kind == SWITCH:
            return to_switch(text)
    except PydanticCustomError:
        raise ValueError(_NEEDED[kind]) from None
    if kind == LIST:
        return _items(text)
    if kind == TABLE:
        return _entries(text)
    return text


def advice(text: str, kind: str) -> str:
    """What to do about a cell that `from_cell` refused."""
    if kind in (NUMBER, PAIR, WHOLE):
        percent = _PERCENT.fullmatch(text)
        if percent:
            share = float(percent[1].replace(",", ".")) / 100
            return f"Write it as a share: {share:.6g}."
        if _COMMA.fullmatch(text):
            return f"Write a point for decimals: {text.replace(',', '.')}."
        if _GROUPED.fullmatch(text):
            return f"Write it without separators: {re.sub(r'[^0-9]', '', text)}."
    return "Correct the cell."


def _number(value: Any) -> Any:
    try:
        number = to_number(value)
    except PydanticCustomError:
        return NOTHING
    return value if isinstance(value, int) else number


def _list(value: Any) -> Any:
    if isinstance(value, list | tuple):
        words = [str(v) for v in value]
        if not words or any(";" in w for w in words) or any(
                isinstance(v, bool | dict | list) for v in value):
            return NOTHING
        return "; ".join(words) + (";" if len(words) == 1 else "")
    if isinstance(value, str):
        return NOTHING if ";" in value or _WHOLE_TEXT.fullmatch(value) else value
    return _number(value)


def _items(text: str) -> Any:
    if _YEARS_WITH_COMMAS.fullmatch(text):
        raise ValueError(_NEEDED[LIST])
    if ";" in text:
        return [word.strip() for word in text.split(";") if word.strip()]
    return int(text) if _WHOLE_TEXT.fullmatch(text) else text


def _table(value: Any) -> Any:
    if not isinstance(value, dict):
        return _number(value)
    entries = [(str(k), _number(v)) for k, v in value.items()]
    if not entries or any(v is NOTHING or set(k) & set(";:") for k, v in entries):
        return NOTHING
    return "; ".join(f"{k}: {v!r}" for k, v in entries)


def _entries(text: str) -> Any:
    try:
        return to_number(text)
    except PydanticCustomError:
        pass
    found: dict[Any, Any] = {}
    for entry in text.split(";"):
        key, colon, number = (part.strip() for part in entry.partition(":"))
        if not (key or number):
            continue
        name: Any = int(key) if _WHOLE_TEXT.fullmatch(key) else key
        if name in found:
            raise ValueError("each key once")
        try:
            found[name] = to_number(number)
        except PydanticCustomError:
            raise ValueError(_NEEDED[TABLE]) from None
    if not found:
        raise ValueError(_NEEDED[TABLE])
    return found
