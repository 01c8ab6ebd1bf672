"""Dates as people write them. The order of day and month is asked for, never guessed."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day first", "month first", "year first"
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
UNREADABLE, IMPOSSIBLE, AMBIGUOUS = "date-unreadable", "date-impossible", "date-ambiguous"

_MONTHS = ("january february march april may june july august september october november "
           "december").split()
_TIME = r"(?:[T ]+\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[ap]m)?(?:Z|[+-]\d{2}:?\d{2})?)?"
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})" + _TIME, re.IGNORECASE)
_COMPACT = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_NUMBERS = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})" + _TIME, re.IGNORECASE)
_DAY_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-./ ]*([a-z]{3,9})\.?[-/ ,]*(\d{4}|\d{2})"
                       + _TIME, re.IGNORECASE)
_NAME_DAY = re.compile(r"([a-z]{3,9})\.? *(\d{1,2})(?:st|nd|rd|th)?,? +(\d{4})" + _TIME,
                       re.IGNORECASE)
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?")
_FIRST_YEAR, _LAST_YEAR = 1700, 2200  # dates are kept in nanoseconds, up to 2262
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
    if found := _ISO.fullmatch(text) or _COMPACT.fullmatch(text):
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
    readings = [_made(year, second, first), _made(year, first, second)]
    if len(parts[2]) == 2 and len(parts[0]) == 2:
        readings.append(_made(_full_year(parts[0]), second, int(parts[2])))
    dates = {reading.date for reading in readings if reading.date}
    if len(dates) > 1:
        return ReadDate(None, AMBIGUOUS)
    return ReadDate(dates.pop()) if dates else readings[0]


def is_of_numbers(text: str) -> bool:
    """Whether a date is written as three numbers with the year at the end or in two digits."""
    return _NUMBERS.fullmatch(" ".join(text.split())) is not None


def two_readings(text: str) -> tuple[dt.date, dt.date]:
    """The first two days that an ambiguous date may mean."""
    read = [read_date(text, order).date for order in ORDERS]
    first, second, *_ = dict.fromkeys(date for date in read if date is not None)
    return first, second


def order_of(text: str) -> str:
    """The order that a date of numbers is written in, where only one can be meant; else nothing."""
    found = _NUMBERS.fullmatch(" ".join(text.split()))
    if not found or read_date(text).date is None:
        return ""
    orders = [order for order in ORDERS if read_date(text, order).date == read_date(text).date]
    return orders[0] if len(orders) == 1 or YEAR_FIRST in orders and len(found[3]) == 4 else ""


def _named(day: int, month: str, year: str) -> ReadDate:
    if (written := month.lower()) == "sept":
        written = "sep"
    number = next((i for i, name in enumerate(_MONTHS, 1) if name.startswith(written)), 0)
    return _made(_full_year(year), number, day) if number else ReadDate(None, UNREADABLE)


def _full_year(text: str) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return year + (1900 if year >= 70 else 2000)


def _made(year: int, month: int, day: int) -> ReadDate:
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        return ReadDate(None, IMPOSSIBLE)
    try:
        return ReadDate(dt.date(year, month, day))
    except ValueError:
        return ReadDate(None, IMPOSSIBLE)
