"""Numbers and phrases as the page prints them; nothing is ever printed that is not a number."""

from __future__ import annotations

import math
import re

from pva.results.wording import animals as animals_rounded
from pva.results.wording import chance_ends, chance_words, in_ten

_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
NOTHING = "\N{EN DASH}"


def known(value) -> bool:
    """Whether there is a finite number."""
    return value is not None and math.isfinite(value)


def count(value) -> str:
    """Animals, rounded so that nobody reads more into them than they hold."""
    if not known(value):
        return NOTHING
    return animals_rounded(value) if value == 0 or abs(value) >= 10 else f"{value:.2g}"


def exact(value) -> str:
    """A whole number, every digit."""
    return f"{value:,.0f}" if known(value) else NOTHING


def percent(value, total: int | None = None) -> str:
    """A chance in percent."""
    if not known(value):
        return NOTHING
    return chance_words(float(value), total)


def percent_range(low, high) -> str:
    """Two chances, "66 to 70 %"."""
    if not (known(low) and known(high)):
        return NOTHING
    first, last = chance_ends(float(low), float(high))
    return f"{first} %" if first == last else f"{first} to {last} %"


def count_range(low, high) -> str:
    """Two numbers of animals; an end that is not bounded is said so."""
    if not known(low):
        return NOTHING
    if not known(high):
        return f"{count(low)} or more"
    first, last = count(low), count(high)
    return first if first == last else f"{first} to {last}"


def whole(value) -> str:
    """A number of animals to stock: rounded up to a whole one, then as `count`."""
    return count(math.ceil(value - 1e-9)) if known(value) else NOTHING


def rate(value, digits: int = 3) -> str:
    """A rate to three significant figures."""
    if not known(value):
        return NOTHING
    if value != 0 and (abs(value) < 1e-3 or abs(value) >= 1e5):
        head, _, power = f"{value:.{digits - 1}e}".partition("e")
        head = head.rstrip("0").rstrip(".") if "." in head else head
        return f"{head} \N{MULTIPLICATION SIGN} 10{str(int(power)).translate(_RAISED)}"
    return f"{value:.{digits}g}" if abs(value) < 1000 else f"{float(f'{value:.{digits}g}'):,.0f}"


def rate_range(low, high) -> str:
    """Two rates."""
    return f"{rate(low)} to {rate(high)}" if known(low) and known(high) else NOTHING


def share(value) -> str:
    """A chance as a number with three decimals, for tables of estimates."""
    return f"{value:.3f}" if known(value) else NOTHING


def interval(low, high, say=rate) -> str:
    """Two ends; "up to" where only the upper one is known."""
    if known(low) and known(high):
        return f"{say(low)} to {say(high)}"
    return f"up to {say(high)}" if known(high) else NOTHING


def signed(value, digits: int = 2) -> str:
    """A difference with its sign (a true minus)."""
    if not known(value):
        return NOTHING
    size = abs(value)
    text = f"{size:.0f}" if size >= 10 ** digits else f"{size:.{digits}g}"
    sign = "+" if value > 0 else "\N{MINUS SIGN}"
    return text if float(text) == 0 else sign + text


def tenths(value) -> str:
    """ "about 8 in 10"."""
    return in_ten(float(value)) if known(value) else NOTHING


def coarse(text: str) -> str:
    """Text with every number of three or more decimals, as positions have, cut to one decimal."""
    return re.sub(r"-?\d{1,3}\.\d{3,}", lambda m: f"{float(m.group()):.1f}", text)


def squared(text: str) -> str:
    """Square metres as they are written by hand."""
    return re.sub(r"\bm2\b", "m\N{SUPERSCRIPT TWO}", text)


def sentence(text: str) -> str:
    """Text with a capital first letter and a full stop."""
    text = text.strip()
    if not text:
        return text
    text = text[0].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else text + "."
