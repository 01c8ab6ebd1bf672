"""Numbers, switches and texts as people write them, and how each key describes itself."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

_NUMBER = re.compile(r"[-+]?(\d[\d_]*(\.\d*)?|\.\d+)([eE][-+]?\d+)?\Z")
_SWITCHES = {"on": True, "yes": True, "true": True, "off": False, "no": False, "false": False}


def to_number(value: Any) -> float:
    """A finite number, also where YAML left it as text (``1e-5``)."""
    if isinstance(value, str) and _NUMBER.match(value.strip()):
        value = float(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PydanticCustomError("form", "{needed}", {"needed": "a number"})
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise PydanticCustomError("form", "{needed}", {"needed": "a finite number"})
    return number


def to_whole(value: Any) -> int:
    """A whole number."""
    try:
        number = to_number(value)
    except PydanticCustomError:
        number = math.nan
    if not math.isfinite(number) or number != int(number):
        raise PydanticCustomError("form", "{needed}", {"needed": "a whole number"})
    return value if isinstance(value, int) else int(number)


def to_switch(value: Any) -> bool:
    """``on`` or ``off``, and their other spellings."""
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().lower() in _SWITCHES:
        return _SWITCHES[value.strip().lower()]
    raise PydanticCustomError("form", "{needed}", {"needed": "`on` or `off`"})


def to_text(value: Any) -> str:
    """Text; a bare number or switch needs quotes, because YAML would change its looks."""
    if isinstance(value, str):
        if value.strip():
            return value.strip()
        raise PydanticCustomError("form", "{needed}", {"needed": "some text"})
    needed = "text in quotes" if isinstance(value, bool | int | float) else "text"
    raise PydanticCustomError("form", "{needed}", {"needed": needed})


def to_where(value: Any) -> str | int | tuple[str, ...]:
    """``river``, ``each site``, a number of sites, a site, or a list of sites to be summed."""
    if isinstance(value, list | tuple) and value:
        return tuple(to_text(v) for v in value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return to_whole(value)
    if isinstance(value, str) and value.strip():
        return value.strip()
    needed = "`river`, `each site`, a number of sites, or a list of sites"
    raise PydanticCustomError("form", "{needed}", {"needed": needed})


Number = Annotated[float, BeforeValidator(to_number)]
Whole = Annotated[int, BeforeValidator(to_whole)]
Switch = Annotated[bool, BeforeValidator(to_switch)]
Text = Annotated[str, BeforeValidator(to_text)]
Where = Annotated[Any, BeforeValidator(to_where)]


def key(
    description: str,
    *,
    form: str,
    default: Any = None,
    default_words: str = "",
    low: float | None = None,
    high: float | None = None,
    kind: str | None = None,
    required: bool = False,
    alias: str | None = None,
    twin_only: bool = False,
    partly: bool = False,
    count: bool = False,
) -> Any:
    """Describe one key of the written form.

    Parameters
    ----------
    description : str
        Plain words for the reader of the reference.
    form : str
        How the value is written.
    default, default_words : object, str
        Value used when the key is absent, and its words where the value alone does not say it.
    low, high : float or None
        Range of a plain number, ends included.
    kind : {'probability', 'positive', None}
        Kind of rate, where the value is a RATE.
    required : bool
        Whether the key must be written.
    alias : str or None
        Key in the file where it is a reserved word of Python.
    twin_only : bool
        Written by the resolved twin, not meant to be typed.
    partly : bool
        Must be written at top level, but not where a site changes a part of the block.
    count : bool
        A number of animals.
    """
    extra = {
        "form": form, "default_words": default_words, "low": low, "high": high, "kind": kind,
        "twin_only": twin_only, "partly": partly, "count": count,
    }
    return Field(
        ... if required else default, description=description, alias=alias, json_schema_extra=extra
    )


class Block(BaseModel):
    """One block of the written form: unknown keys refused, nothing changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def wrote(self, *names: str) -> bool:
        """Whether any of these keys is written with a value."""
        return any(getattr(self, n) is not None for n in names if n in self.model_fields_set)
