"""Numbers said so that nobody reads more into them than they hold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from pva.files.number_runs import runs_of

HEARD_TITLE = "Survival under other readings of tags that were only heard"
HEARD_COLUMNS = ("If all heard-only animals were dead by then", "If all were alive",
                 "Not counted (used)", "Lowest to highest")
LIFT_WORDS = {
    "hosts": "with host fish in plenty",
    "space": "with unlimited space",
    "survival": "with half of the yearly deaths avoided",
    "bad years": "without bad years",
    "number stocked": "with ten times the largest number",
}
BIND_WORDS = {
    "hosts": "the host fish bind",
    "space": "space binds",
    "survival": "survival binds",
    "bad years": "bad years bind",
    "number stocked": "the largest number tried binds",
}
YEARS_ALIKE = ("An estimated 0 does not say that years are alike: few intervals cannot tell. Used "
               "as it stands, risk is understated; write a spread by judgement in the scenario "
               "(year_sd).")


def heard_words(*, corrected: bool) -> str:
    """What the readings of heard-only tags are, and why they may cross."""
    lost = ("All three are corrected for tag loss. " if corrected else
            "None of the three is corrected for tag loss. ")
    return lost + ("These are readings, not bounds: they may cross, because each also moves deaths "
                   "between the first months after release and later.")


def chance_words(chance: float, total: int | None = None) -> str:
    """A chance as a person says it: whole percents, tenths below 5 %, never a bare 0 or 100 %.

    Parameters
    ----------
    chance : float
        0 to 1.
    total : int or None
        Independent runs behind it; with it, "never seen" becomes "below 3 / total".
    """
    if total and chance <= 0:
        return f"below {_percent(1 - 0.05 ** (1 / total))}"
    if total and chance >= 1:
        return f"above {_percent(0.05 ** (1 / total))}"
    if chance in (0.0, 1.0):
        return f"{100 * chance:.0f} %"
    return _percent(chance)


def chance_between(chance: float, low: float, high: float) -> str:
    """A chance in words; one never seen, or never missed, by the end of its interval."""
    if chance <= 0 < high:
        return f"below {chance_words(high)}"
    if chance >= 1 > low:
        return f"above {chance_words(low)}"
    return chance_words(chance)


def _percent(chance):
    percent = 100 * chance
    if 5 <= percent <= 95:
        return f"{percent:.0f} %"
    if percent < 5:
        return f"{percent:.1f} %" if percent >= 0.1 else f"{_significant(percent, 1)} %"
    rest = 100 - percent
    return f"{percent:.1f} %" if rest >= 0.1 or rest == 0 else f"{100 - _round(rest, 1)} %"


def chance_ends(low: float, high: float) -> tuple[str, str]:
    """Ends of an interval without the sign: "66", "70"; an end that is not 0 or 100 never says so.

    An end below 0.05 % or above 99.95 % prints as the digits that tell it from 0 and 100; what is
    off by less than a millionth is 0 or 100.
    """
    return _end(low), _end(high)


def _end(chance):
    return f"{100 * round(chance):.0f}" if abs(chance - round(chance)) < 1e-6 else \
        _percent(chance).removesuffix(" %")


def in_ten(chance: float) -> str:
    """"about 8 in 10", halves up; near the ends "about 19 in 20", "fewer than 1 in 20"."""
    if chance < 0.05:
        return "fewer than 1 in 20"
    if chance > 0.95:
        return "more than 19 in 20"
    percent = math.floor(100 * chance + 0.5 + 1e-9)  # of what is printed, so that both agree
    if min(percent, 100 - percent) <= 7:  # nearer to 5 or 95 % than to a tenth
        return f"about {1 if percent < 50 else 19} in 20"
    return f"about {max(1, min(9, (percent + 5) // 10))} in 10"


def animals(number: float) -> str:
    """A count to two significant figures (three from 1,000), with thousands separated."""
    if number < 100:
        return f"{number:.0f}"
    return f"{_round(number, 2 if number < 1000 else 3):,.0f}"


def animals_up(number: float) -> str:
    """A count as `animals`, rounded up: for an end on the safe side."""
    if number < 100:
        return f"{math.ceil(number - 1e-9):.0f}"
    step = _step(number)
    return f"{math.ceil(number / step - 1e-9) * step:,.0f}"


def animals_down(number: float) -> str:
    """A count as `animals`, rounded down: for the most that may be taken."""
    if number < 100:
        return f"{math.floor(number + 1e-9):.0f}"
    step = _step(number)
    return f"{math.floor(number / step + 1e-9) * step:,.0f}"


def _step(number):
    """What the last digit told of a count from 100 on is worth."""
    return 10 ** (math.floor(math.log10(number)) - (1 if number < 1000 else 2))


def rough(number: float) -> str:
    """A count to one significant figure beyond 1,000, else as `animals`."""
    return animals(number) if number < 1000 else f"{_round(number, 1):,.0f}"


def years_words(years: Iterable[int]) -> str:
    """ "2026 to 2033"; years with a gap between them are told apart: "2026 to 2028 and 2040"."""
    return listed(spans(years))


def spans(numbers: Iterable[int]) -> list[str]:
    """Every run of neighbours in words: "2026 to 2028", "2040"."""
    return [str(a) if a == b else f"{a} to {b}" for a, b in runs_of(numbers)]


def listed(names: Sequence[str]) -> str:
    """ "a, b and c"."""
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def rate_words(key: str) -> str:
    """The key of a rate as words."""
    name, _, site = key.partition(" @ ")
    words = ": ".join([name.split("/")[0], ", ".join(name.split("/")[1:])]).rstrip(": ")
    words = words.replace("_", " ")
    return words + (f" at {site}" if site else "")


_PROSE = {"survival": "the yearly survival of the stage {}",
          "release": "the survival after release ({})",
          "growth": "the chance of growing out of the stage {}", "hosts": "the host fish ({})",
          "recruitment": "the {} of recruitment", "start": "the starting number ({})"}


def rate_prose(key: str) -> str:
    """The key of a rate as it stands in a sentence."""
    if key.startswith("recruitment/per_adult"):
        return "the number of recruits per adult"
    if key.startswith("recruitment/settlement/"):
        target = key.removeprefix("recruitment/settlement/").replace("_", " ")
        return f"the {target} that settlement is solved for"
    kind, _, rest = key.partition("/")
    if not rest:
        return key
    rest, _, site = rest.replace("_", " ").replace("/", ", ").partition(" @ ")
    return _PROSE.get(kind, kind + " ({})").format(rest) + (f" at {site}" if site else "")


def _round(number, digits):
    if number == 0:
        return 0
    return round(number, digits - 1 - math.floor(math.log10(abs(number))))


def _significant(number, digits):
    text = f"{_round(number, digits):.10f}".rstrip("0").rstrip(".")
    return text or "0"


def survey_goal_words(goal: dict) -> str:
    """What a survey goal says; it is judged on the estimate, not on the runs."""
    kind, _, place = goal["estimate"].partition("/")
    name = f"Survey goal \"{goal['name']}\" ({kind} at {place})" if kind == "density" else (
        f"Survey goal \"{goal['name']}\" ({goal['estimate']})")
    if goal["lower_limit"] is None:
        return (f"{name}: cannot be told, because the estimate states no doubt or its file is not "
                "named.")
    return (f"{name}: {goal['verdict']}; the lower {100 * goal['confidence']:g} % confidence limit "
            f"is {goal['lower_limit']:.3g}, wanted at least {goal['at_least']:g}.")
