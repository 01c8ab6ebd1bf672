"""RATE as written -> `Rate`: estimates and published values followed, laws checked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from pva.errors import MeaningError
from pva.files.near_names import did_you_mean
from pva.lifehistory import catalogue
from pva.lifehistory.laws import drawn_values, law_median
from pva.lifehistory.links import match_probability
from pva.lifehistory.rates import PROBABILITY, LinkMoments, Rate
from pva.scenario.estimated import rate_of_estimate, with_other_years
from pva.scenario.places import Problems, percent_meant
from pva.scenario.rates_used import SPREAD_WRITTEN
from pva.scenario.spec_rates import RateSpec
from pva.sources import Source

_STATUSES = ("read", "derived", "memory")
MOST_RATE = 1e12  # of what is no chance: beyond it products run out of the numbers
_WIDEST = 1e4  # SD of a positive rate over its mean; beyond it a lognormal law is all tail
_ONLY_PROBABILITY = ("logit-normal", "beta")


# half the width of a law in SDs; a normal law cut nearer than 2 SD would lose its mean and SD
_HALF_WIDTHS = {"uniform": math.sqrt(3), "triangular": math.sqrt(6), "normal": 2.0}


class RateReader:
    """Makes rates; what is wrong with one is collected, never raised.

    Parameters
    ----------
    problems : Problems
    estimates : pva.estimate.estimates.Estimates or None
    years : tuple of int or None
        First and last census; None = tables by year are taken as they stand.
    """

    def __init__(self, problems: Problems, estimates: Any, years: tuple[int, int] | None):
        self.problems = problems
        self.estimates = estimates
        self.years = years
        self.estimate_keys: set[str] = set()
        self._last_path: tuple = ()

    def rate(
        self, spec: RateSpec, *, kind: str, key: str, path: Sequence, site: str | None = None,
        effect: str | None = None,
    ) -> Rate:
        """The rate a RATE means.

        Parameters
        ----------
        spec : RateSpec
        kind : {'probability', 'positive'}
        key : str
            Key path, also the name of the year-effect series unless `effect` is given.
        path : sequence
            Where it is written.
        site : str or None
            Named where the site has a value of its own.
        """
        rate = Rate(
            key=spec.draw or (f"{key} @ {site}" if site else key), kind=kind, value=math.nan,
            effect=key if effect is None else effect,
        )
        rate = self._with_written(self._with_reference(rate, spec, path), spec, path)
        if math.isnan(rate.value):
            return replace(rate, value=0.5)  # a problem was recorded
        before = len(self.problems.found)
        self._check(rate, spec, path)
        if len(self.problems.found) == before:
            self._check_law(rate, path)
        return rate

    def default(self, value: float, *, kind: str, key: str, why: str = "") -> Rate:
        """A rate nobody wrote."""
        return Rate(key=key, kind=kind, value=value, effect=key, source=Source("default", why))

    # references

    def _with_reference(self, rate: Rate, spec: RateSpec, path: Sequence) -> Rate:
        if spec.link is not None:
            link = LinkMoments(spec.link.mean, spec.link.se, spec.link.year_sd)
            return replace(rate, link=link, estimate=spec.estimate)
        if spec.estimate is not None and spec.published is not None:
            self.problems.add(path, "{key} names both an estimate and a published value",
                              "Keep one of the two.", code="two-references")
        elif spec.estimate is not None:
            return self._from_estimate(rate, spec, path)
        elif spec.published is not None:
            return self._from_published(rate, spec, path)
        return rate

    def _from_estimate(self, rate: Rate, spec: RateSpec, path: Sequence) -> Rate:
        found = self.find_estimate(spec.estimate, path)
        if found is None:
            return rate
        if isinstance(found, dict):
            self.problems.add(
                path, f"{{key}} takes the estimate `{spec.estimate}`, which holds numbers by stage",
                "Use it under `start`, or name an estimate of one rate.", code="wrong-estimate",
            )
            return rate
        if found.value is None and found.interval is None:
            if spec.wrote("value", "interval", "by_year"):
                return rate
            said = f" ({found.note})" if found.note else ""
            self.problems.add(
                path, f"the estimate `{spec.estimate}` tells neither a value nor a range{said}",
                "Write a `value` or an `interval` you are ready to defend beside it, or use a "
                "published value.", code="estimate-without-value",
            )
            return rate
        return rate_of_estimate(rate, found, label=spec.estimate)

    def find_estimate(self, name: str, path: Sequence) -> Any:
        """The estimate of that key, a mapping by stage for abundances, None when absent."""
        if self.estimates is None:
            self.problems.add(
                path, f"{{key}} takes the estimate `{name}`, but no estimates file is named",
                "Write `estimates: PATH` at the top of the scenario.", code="no-estimates-file",
            )
            return None
        self.estimate_keys.add(name)
        if name in self.estimates.rates:
            return self.estimates.rates[name]
        group, _, site = name.partition("/")
        if group == "abundance" and site in self.estimates.abundance:
            return dict(self.estimates.abundance[site])
        self.problems.add(
            path, f"the estimates file has no `{name}`",
            nearest(name, list(self.estimates.keys)), code="unknown-estimate",
        )
        return None

    def _from_published(self, rate: Rate, spec: RateSpec, path: Sequence) -> Rate:
        try:
            entry = catalogue.lookup(spec.published, place=path)
        except MeaningError as error:
            one = error.problems[0]
            self.problems.add(path, f"{{key}}: {one.what}", one.todo, code=one.code, why=one.why)
            return rate
        value = math.nan if entry.value is None else float(entry.value)
        doubt = {"se": float(entry.se)} if entry.se is not None else {"interval": entry.interval}
        law = entry.distribution if entry.se is None and entry.interval is not None else None
        return replace(rate, value=value, source=entry.source, distribution=law, **doubt)

    # what is written

    def _with_written(self, rate: Rate, spec: RateSpec, path: Sequence) -> Rate:
        parts: dict[str, Any] = {}
        for name in ("value", "distribution", "year_sd"):
            if getattr(spec, name) is not None:
                parts[name] = getattr(spec, name)
        if spec.by_year is not None:
            parts["by_year"] = dict(sorted(spec.by_year.items()))
        if spec.se is not None:
            parts |= {"se": spec.se, "interval": None}
        if spec.interval is not None:
            parts |= {"interval": tuple(spec.interval), "se": None}
        if spec.se is not None and spec.interval is not None and spec.link is None:
            self.problems.add(path, "{key} has both `se` and `interval`",
                              "Keep one: both say what we do not know.", code="two-doubts")
        source = self._source(rate, spec, path)
        if set(parts) == {"year_sd"} and rate.link is not None and spec.link is None:
            rate = with_other_years(rate, parts["year_sd"])
            source = replace(source, text=f"{source.text}; {SPREAD_WRITTEN}")
        elif parts:
            if spec.link is None:
                parts |= {"link": None, "estimate": None}
            rate = replace(rate, **parts)
        rate = replace(rate, source=source)
        return self._with_best_value(rate, spec, path)

    def _source(self, rate: Rate, spec: RateSpec, path: Sequence) -> Source:
        if spec.source is not None:
            try:
                return source_of(spec.source)
            except MeaningError as error:
                one = error.problems[0]
                self.problems.add([*path, "source"], f"{{key}}: {one.what}", one.todo,
                                  code=one.code, why=one.why)
                return rate.source
        if spec.link is not None or not (spec.estimate or spec.published):
            return rate.source
        if spec.value is None and spec.by_year is None:
            return rate.source
        name = f"estimate {spec.estimate}" if spec.estimate else f"published {spec.published}"
        return Source("given", f"value written in place of {name}, which gives the rest")

    def _with_best_value(self, rate: Rate, spec: RateSpec, path: Sequence) -> Rate:
        if rate.by_year and (spec.value is None or math.isnan(rate.value)):
            rate = replace(rate, value=rate.by_year[min(rate.by_year)])
        elif math.isnan(rate.value) and rate.interval is not None:
            rate = replace(rate, value=_middle(rate))
        if math.isnan(rate.value):
            if not (spec.estimate or spec.published):  # else the reference itself is the problem
                self.problems.add(
                    path, "{key} has no `value`",
                    "Write the best value: the mean over ordinary years, per year.",
                    code="rate-without-value",
                )
        elif self.years and rate.by_year and min(rate.by_year) > self.years[0]:
            rate = replace(rate, by_year={self.years[0]: rate.value, **rate.by_year})
        return rate

    # checks

    def _check(self, rate: Rate, spec: RateSpec, path: Sequence) -> None:
        top = 1.0 if rate.kind == PROBABILITY else MOST_RATE
        words = "from 0 to 1" if rate.kind == PROBABILITY else "0 or more"
        values = {"value": rate.value, **{f"by_year {y}": v for y, v in rate.by_year.items()}}
        for name, number in values.items():
            if not 0 <= number <= top:
                needed = f"of at most {MOST_RATE:g}" if number > MOST_RATE else words
                self.problems.add(path, f"{{key}}: {name} is {number:g}, outside its range",
                                  f"Write a number {needed}." + percent_meant(number)
                                  * (rate.kind == PROBABILITY), code="rate-out-of-range")
        spreads = {"se": rate.se, "year_sd": rate.year_sd}
        if rate.link is not None:
            spreads |= {"se of link": rate.link.se, "year_sd of link": rate.link.year_sd}
        for name, number in spreads.items():
            if number is not None and number < 0:
                self.problems.add(path, f"{{key}}: {name} is {number:g}, and a spread cannot be "
                                  "negative", "Write a number 0 or more.",
                                  code="rate-out-of-range")
            elif number is not None and number > MOST_RATE and rate.kind != PROBABILITY:
                self.problems.add(path, f"{{key}}: {name} is {number:g}, outside its range",
                                  f"Write a number of at most {MOST_RATE:g}.",
                                  code="rate-out-of-range")
        for year in rate.by_year:
            if self.years and not self.years[0] <= year <= self.years[1]:
                self.problems.add(
                    [*path, "by_year", year],
                    f"{{key}} lies outside the years of the scenario, {self.years[0]} to "
                    f"{self.years[1]}",
                    "Move the year, or change `years`.", code="year-outside",
                )
        if spec.by_year is not None and not spec.by_year:
            self.problems.add(path, "{key}: `by_year` is empty",
                              "Write at least one year and its value.", code="empty-table")
        if rate.interval is not None:
            self._check_interval(rate, path, top, words)
        if rate.distribution is not None:
            self._check_distribution(rate, path)

    def _check_interval(self, rate: Rate, path: Sequence, top: float, words: str) -> None:
        low, high = rate.interval
        shown = f"[{low:g}, {high:g}]"
        if low >= high:
            self.problems.add(path, f"{{key}}: the interval {shown} does not rise",
                              "Write the lower number first: [low, high].", code="interval-order")
        elif low < 0 or high > top:
            needed = f"from 0 to {MOST_RATE:g}" if high > MOST_RATE else words
            self.problems.add(path, f"{{key}}: the interval {shown} leaves the possible range",
                              f"Write two numbers {needed}.", code="interval-out-of-range")
        elif not low <= rate.value <= high:
            self.problems.add(
                path, f"{{key}}: the value {rate.value:g} lies outside its interval {shown}",
                "Correct one of the two.", code="value-outside-interval",
                why="The value is used when `unknown` is off and must be one the interval allows",
            )
        elif _on_link(rate) and (low == 0 or high == 1 and rate.kind == PROBABILITY):
            self.problems.add(
                path, f"{{key}}: an interval that touches {low if low == 0 else high:g} has no law "
                "on the link scale",
                "Move the end inside, or write `distribution: uniform`, `triangular` or `normal`.",
                code="interval-touches-end",
            )

    def _check_distribution(self, rate: Rate, path: Sequence) -> None:
        law = rate.distribution
        if rate.se is None and rate.interval is None:
            self.problems.add(
                path, f"{{key}} names the law `{law}` but neither `se` nor `interval`",
                "Write how far the value may be off, or remove `distribution`.",
                code="law-without-doubt",
            )
        elif rate.kind == PROBABILITY and law == "lognormal":
            self.problems.add(path, "{key}: a lognormal law passes 1, which a chance cannot",
                              "Use logit-normal, beta, normal, uniform or triangular.",
                              code="law-does-not-fit")
        elif rate.kind != PROBABILITY and law in _ONLY_PROBABILITY:
            self.problems.add(path, f"{{key}}: a {law} law ends at 1, but this rate may be larger",
                              "Use lognormal, normal, uniform, log-uniform or triangular.",
                              code="law-does-not-fit")
        elif law == "log-uniform" and (rate.interval is None or rate.interval[0] <= 0):
            self.problems.add(path, "{key}: a log-uniform law needs an interval above 0",
                              "Write `interval: [low, high]`.", code="law-needs-interval")
        elif law in _HALF_WIDTHS and rate.interval is None:
            half = _HALF_WIDTHS[law] * rate.se
            top = 1.0 if rate.kind == PROBABILITY else math.inf
            if rate.value - half < 0 or rate.value + half > top:
                self._impossible_sd(rate, "se", rate.se, path, f"a {law} law would leave its range")

    def _check_law(self, rate: Rate, path: Sequence) -> None:
        if rate.link is not None:
            return
        self.check_sd(rate, "se", rate.se, rate.value, path)
        inner = _inner_value(rate)
        self.check_sd(rate, "year_sd", rate.year_sd, inner, path, match=True)
        if self._last_path == tuple(path):
            return
        try:
            with np.errstate(all="ignore"):
                drawn = drawn_values(rate, np.array([0.025, 0.5, 0.975]))
            fine = bool(np.all(np.isfinite(drawn)))
        except (ValueError, ArithmeticError, KeyError):
            fine = False
        if not fine:
            law = rate.distribution or "default"
            self.problems.add(
                path, f"{{key}}: no {law} law has these numbers", "Widen the interval, lower the "
                "`se`, or name another `distribution`.", code="no-such-law",
            )

    def check_sd(self, rate, name, sd, mean, path, match=False) -> None:
        if not sd:
            return
        if rate.kind != PROBABILITY:
            if mean <= 0:
                self._impossible_sd(rate, name, sd, path, "a rate of 0 cannot vary")
            elif sd > _WIDEST * mean:
                self._impossible_sd(rate, name, sd, path, f"at {mean:g} nearly all values would "
                                    "be next to 0")
            return
        limit = math.sqrt(max(mean * (1 - mean), 0.0))
        if sd >= limit:
            self._impossible_sd(rate, name, sd, path, f"at {mean:g} it must stay below {limit:.3g}")
        elif match or rate.distribution in (None, "logit-normal"):
            if not has_law(mean, sd):
                self._impossible_sd(rate, name, sd, path, "nearly all values would be 0 or 1")

    def _impossible_sd(self, rate, name, sd, path, reason) -> None:
        self._last_path = tuple(path)
        self.problems.add(
            path, f"{{key}}: {name} is {sd:g}, more than can be: {reason}", f"Lower `{name}`.",
            code="impossible-sd")


@lru_cache(maxsize=4096)
def has_law(mean: float, sd: float) -> bool:
    """Whether a logit-normal law has this mean and SD."""
    try:
        match_probability(mean, sd)
    except ValueError:
        return False
    return True


def source_of(written: dict) -> Source:
    """A source as written: a status in brackets is taken off the words, a catalogue key cited.

    Raises
    ------
    MeaningError
        ``published`` followed by one word that is nearly a key of the catalogue.
    """
    kind, words = next(iter(written.items()))
    for status in _STATUSES:
        if words.endswith(f"[{status}]"):
            return Source(kind, words[: -len(status) - 2].strip(), status)
    return catalogue.cite(words) if kind == "published" and words else Source(kind, words)


def nearest(name: str, known: Sequence[str]) -> str:
    """What to do about a name that does not exist."""
    if not known:
        return "There is none to choose from."
    shown = ", ".join(f"`{k}`" for k in list(known)[:12])
    more = f" and {len(known) - 12} more" if len(known) > 12 else ""
    return did_you_mean(name, known, f"Known here: {shown}{more}.")


def _middle(rate: Rate) -> float:
    low, high = rate.interval
    try:
        with np.errstate(all="ignore"):
            middle = law_median(replace(rate, value=(low + high) / 2))
    except (ValueError, ArithmeticError, KeyError):
        middle = math.nan
    return middle if math.isfinite(middle) and low <= middle <= high else (low + high) / 2


def _on_link(rate: Rate) -> bool:
    return rate.distribution in (None, "logit-normal", "lognormal", "log-uniform")


def _inner_value(rate: Rate) -> float:
    for value in (rate.value, *rate.by_year.values()):
        if value > 0 and (value < 1 or rate.kind != PROBABILITY):
            return value
    return rate.value
