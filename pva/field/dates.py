"""Dates as people write them. The order of day and month is asked for, never guessed."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day first", "month first", "year first"
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
UNREADABLE, IMPOSSIBLE, AMBIGUOUS = "date-unreadable", "date-impossible", "date-ambiguous"

_MONTHS = {name: i for i, name in enumerate(
    "jan feb mar apr may jun jul aug sep oct nov dec".split(), 1)}
_TIME = r"(?:[T ]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[ap]m)?(?:Z|[+-]\d{2}:?\d{2})?)?"
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})" + _TIME, re.IGNORECASE)
_NUMBERS = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})" + _TIME, re.IGNORECASE)
_DAY_NAME = re.compile(r"(\d{1,2})[-./ ]*([a-z]{3,9})\.?[-/ ,]*(\d{4}|\d{2})" + _TIME,
                       re.IGNORECASE)
_NAME_DAY = re.compile(r"([a-z]{3,9})\.? *(\d{1,2})(?:st|nd|rd|th)?,? +(\d{4})" + _TIME,
                       re.IGNORECASE)
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?")
_FIRST_SERIAL, _LAST_SERIAL = 18264, 73050  # 1950 to 2099, counted from 1900


@dataclass(frozen=True)
class ReadDate:
    """A date, or the reason code why there is none."""

    date: dt.date | None
    fault: str = ""
    serial: bool = False


def read_date(text: str, order: str | None = None, *, base_1904: bool = False) -> ReadDate:
    """Read one date.

    Parameters
    ----------
    text : str
        Date as written, not blank; a time of day behind it is ignored.
    order : {'day first', 'month first', 'year first'}, optional
        How dates of numbers are meant. Without it, a date that can be read two ways is ambiguous.
    base_1904 : bool
        Day numbers of a spreadsheet count from 1904 instead of 1900.

    Returns
    -------
    ReadDate
        Two-digit years from 70 on lie in the 1900s, the others in the 2000s.
    """
    text = " ".join(text.split())
    if found := _ISO.fullmatch(text):
        return _made(int(found[1]), int(found[2]), int(found[3]))
    if found := _NUMBERS.fullmatch(text):
        return _from_numbers([found[1], found[2], found[3]], order)
    if found := _DAY_NAME.fullmatch(text):
        return _named(int(found[1]), found[2], found[3])
    if found := _NAME_DAY.fullmatch(text):
        return _named(int(found[2]), found[1], found[3])
    found = _SERIAL.fullmatch(text)
    if found and _FIRST_SERIAL <= int(found[1]) <= _LAST_SERIAL:
        start = dt.date(1904, 1, 1) if base_1904 else dt.date(1899, 12, 30)
        return ReadDate(start + dt.timedelta(days=int(found[1])), serial=True)
    return ReadDate(None, UNREADABLE)


def _from_numbers(parts: list[str], order: str | None) -> ReadDate:
    if order == YEAR_FIRST and len(parts[2]) == 2:
        return _made(_full_year(parts[0]), int(parts[1]), int(parts[2]))
    first, second, year = int(parts[0]), int(parts[1]), _full_year(parts[2])
    if order == DAY_FIRST:
        return _made(year, second, first)
    if order == MONTH_FIRST:
        return _made(year, first, second)
    day_first, month_first = _made(year, second, first), _made(year, first, second)
    if day_first.date and month_first.date and day_first.date != month_first.date:
        return ReadDate(None, AMBIGUOUS)
    return day_first if day_first.date else month_first


def _named(day: int, month: str, year: str) -> ReadDate:
    number = _MONTHS.get(month[:3].lower())
    return _made(_full_year(year), number, day) if number else ReadDate(None, UNREADABLE)


def _full_year(text: str) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return year + (1900 if year >= 70 else 2000)


def _made(year: int, month: int, day: int) -> ReadDate:
    try:
        return ReadDate(dt.date(year, month, day))
    except ValueError:
        return ReadDate(None, IMPOSSIBLE)
