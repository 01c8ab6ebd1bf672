"""From fitted rates to the entries of the estimates file."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from pva.estimate.availability import availability
from pva.estimate.contrasts import average_detection, detection_limit
from pva.estimate.estimates import Covariance, Estimate, estimate_from_link
from pva.estimate.following import SHORT, YEAR
from pva.estimate.link_scale import Z95, Link, mean_over_years, sd_over_years
from pva.estimate.species import SpeciesResult, longest_followed, longest_interval
from pva.estimate.species_growth import curve_estimates
from pva.estimate.staying import LEAVING, TAGS
from pva.sources import Source

FEWEST_FOR_STAGE = 10  # animals seen again in a stage, below which its rate is not given
AT_LIMIT = "sits at its limit: the other end is a one-sided 95 % limit"
WIDEST = 0.6  # an interval wider than this tells nothing


def named(key: str, species: str) -> str:
    """Key in a file of several species."""
    return f"{key} of {species}" if species else key


def rates_of(result: SpeciesResult, species: str) -> dict[str, Estimate]:
    """Entries of one species.

    Parameters
    ----------
    result : SpeciesResult
    species : str
        Added to the keys; empty in a study of one species.
    """
    out: dict[str, Estimate] = {}
    if result.joint is not None:
        for i, key in enumerate(result.joint.keys):
            out[named(key, species)] = _rate(result, i, named(key, species))
    out |= curve_estimates(result, lambda k: named(k, species))
    out |= {named(k, species): e for k, e in _bounded(result, species).items()}
    out |= {named(k, species): e for k, e in detection_of(result).items()}
    out |= {named(k, species): e for k, e in _availability(result).items()}
    if result.retention is not None:
        out[named("tag_retention/tag", species)] = _retention(result, named("tag_retention/tag",
                                                                            species))
    return out


def source_of(result: SpeciesResult) -> Source:
    """In words: which records."""
    steps = result.following.steps
    first, last = (dt.date.fromordinal(int(d)).year for d in (steps["start"].min(),
                                                              steps["end"].max()))
    return Source("measured", f"recaptures {first}-{last}")


def animals_behind(result: SpeciesResult, key: str) -> tuple[int, int]:
    """Animals followed, and animals seen again, for a key."""
    own = steps_behind(result, key)
    group = key.partition("/")[0]
    if group == "bad_year":
        return own["animal"].nunique(), own["animal"].nunique()
    steps = own
    if group == "release":
        steps = result.models[0].steps
        steps = steps[steps["animal"].isin(own["animal"])]
    again = steps.loc[steps["status"].isin(["alive", "removed"]), "animal"]
    return own["animal"].nunique(), again.nunique()


def steps_behind(result: SpeciesResult, key: str) -> pd.DataFrame:
    """The steps between visits that a key rests on."""
    steps = result.models[0].steps
    group, _, name = key.partition("/")
    if group == "release":
        return steps[steps["released"] & steps["source"].eq(name)]
    if group == "bad_year":
        return steps[steps["bad_year"].eq(name)]
    if group == "growth":
        return steps[steps["stage"].eq(name.split(" @ ")[0].split(" > ")[0])]
    stage, _, place = name.partition(" @ ")
    own = steps if stage == "all" else steps[steps["stage"].eq(stage)]
    if place:
        own = own[own["site"].eq(place) | own["source"].eq(place) | own["batch"].eq(place)]
    return own


def _rate(result: SpeciesResult, i: int, key: str) -> Estimate:
    plain = result.joint.keys[i]
    animals, again = animals_behind(result, plain)
    source = source_of(result)
    if plain.startswith("growth/"):
        source = Source("measured", f"{result.growth.animals} animals measured twice or more, "
                        + result.lengths.steps_from)
    mean, se = float(result.joint.mean[i]), float(result.joint.se[i])
    if not plain.startswith("growth/"):
        if again < FEWEST_FOR_STAGE:
            return Estimate(key, None, n=animals, source=source, note=(
                f"refused: {again} animals seen again, at least {FEWEST_FOR_STAGE} are needed"))
        if plain in result.rates.limits or not np.isfinite(se):
            return _stuck(result, plain, key, animals, source)
        if plain.startswith("survival/") and longest_followed(result.following.steps) < SHORT:
            return _too_short(result, plain, key, animals, source)
        if plain in result.profiled:
            return _profiled(result, plain, key, animals, source)
    year_sd = (result.rates.year_sd if plain.startswith("survival/") else 0.0) or 0.0
    more = {}
    if plain in result.rates.profiles:
        more["interval"] = tuple(float(x) for x in mean_over_years(
            np.clip(result.rates.profiles[plain], -36.0, 36.0), year_sd))
    told = estimate_from_link(key, Link(mean, se, year_sd), n=animals, source=source,
                              apparent=result.rates.apparent.get(plain), **more)
    note = _note(result, plain)
    low, high = told.interval
    if high - low > WIDEST:
        return Estimate(key, None, interval=told.interval, n=animals, source=source, note=(
            f"cannot be told: 95 % interval {low:.2f} to {high:.2f}"))
    unknown_years = plain.startswith("survival/") and result.rates.year_sd is None
    return Estimate(**{**told.__dict__, "note": note,
                       "year_sd": None if unknown_years else told.year_sd})


def _too_short(result, plain, key, animals, source) -> Estimate:
    """Survival over the longest interval there is, with its length; no yearly figure."""
    return Estimate(key, None, n=animals, source=source, note=(
        f"{_over_the_longest(result, plain)}; nobody can tell a year from that"))


def _over_the_longest(result, plain) -> str:
    """Survival over the longest time between two visits, with its length."""
    at = result.joint.keys.index(plain)
    years = longest_interval(result.following.steps)
    ends = result.joint.mean[at] + np.array([0.0, -Z95, Z95]) * result.joint.se[at]
    value, low, high = (1 / (1 + np.exp(-ends))) ** years
    return (f"{value:.3f} ({low:.3f} to {high:.3f}) over {years * YEAR:.0f} days, the longest time "
            "between two visits")


def _stuck(result, plain, key, animals, source) -> Estimate:
    """A rate at 0 or 1: a one-sided limit, no link."""
    low, high = result.rates.limits.get(plain, (0.0, 1.0))
    at = result.joint.mean[result.joint.keys.index(plain)] > 0
    return _at_limit(key, 1.0 if at else 0.0, (low, 1.0 if at else high), animals, source)


def _at_limit(key: str, value: float, interval, animals: int, source: Source) -> Estimate:
    """A rate at 0 or 1 with its one-sided limit; no number where that tells nothing."""
    low, high = interval
    if high - low > WIDEST:
        return Estimate(key, None, interval=interval, n=animals, source=source, note=(
            f"cannot be told: sits at its limit, one-sided 95 % limits {low:.2f} to {high:.2f}"))
    return Estimate(key, value, interval=interval, n=animals, source=source, note=AT_LIMIT)


def _profiled(result, plain, key, animals, source) -> Estimate:
    """A rate whose interval is profiled: the standard error is that of a like normal interval."""
    low, high = result.profiled[plain]
    mean = float(result.joint.mean[result.joint.keys.index(plain)])
    if high - low > WIDEST or not 0 < low < high < 1:
        return Estimate(key, None, interval=(low, high), n=animals, source=source, note=(
            f"cannot be told: 95 % profile interval {low:.2f} to {high:.2f}, the chance that a "
            "shell is found sits at its limit"))
    half = (np.log(high / (1 - high)) - np.log(low / (1 - low))) / (2 * Z95)
    year_sd = result.rates.year_sd if plain.startswith("survival/") else 0.0
    told = estimate_from_link(key, Link(mean, half, year_sd or 0.0), n=animals, source=source,
                              apparent=result.rates.apparent.get(plain), interval=(low, high))
    words = [_note(result, plain), "interval profiled: the chance that a shell is found sits at "
             "its limit"]
    unknown_years = plain.startswith("survival/") and result.rates.year_sd is None
    return Estimate(**{**told.__dict__, "note": "; ".join(w for w in words if w),
                       "year_sd": None if unknown_years else told.year_sd})


def _note(result: SpeciesResult, plain: str) -> str:
    heard = result.rates.heard.get(plain)
    parts = []
    if heard:
        parts.append(f"{heard[0]:.3f} if every animal only heard was dead by then, {heard[1]:.3f} "
                     "if every one was alive")
    if plain.startswith("survival/"):
        parts += _corrections(result)
        if longest_interval(result.following.steps) < SHORT:
            parts.append(_over_the_longest(result, plain))
    if plain.startswith("survival/") and result.rates.year_sd is None:
        parts.append("how years differ could not be told")
    if plain.startswith("survival/") and result.rates.effects is not None:
        mean = float(result.joint.mean[result.joint.keys.index(plain)])
        low, high = (sd_over_years(mean, min(x, 9.0)) for x in result.rates.effects.interval)
        parts.append(f"SD between years {low:.3f} to {high:.3f} (95 %)")
    if plain.startswith("bad_year/"):
        parts.append("survival relative to an ordinary year; holds the ordinary luck of that year "
                     "too")
    if plain.startswith("growth/"):
        parts.append("share of survivors that move on within a year")
    return "; ".join(parts)


def _corrections(result: SpeciesResult) -> list[str]:
    """What is corrected and what is not, behind a yearly survival."""
    done, model = result.losses.corrected_for, result.models[0].model
    out = [f"corrected for {' and '.join(done)}"] if done else []
    open_ends = [] if TAGS in done else ["lost tags count as deaths"]
    if LEAVING not in done and not model.leaving:
        open_ends.append("leaving the site counts as death")
    return out + ["apparent: " + ", ".join(open_ends)] if open_ends else out


def _bounded(result: SpeciesResult, species: str) -> dict[str, Estimate]:
    bounds = result.bounds
    if bounds is None:
        return {}
    key = named("survival/all", species)
    shared = {"n": bounds.animals, "source": source_of(result)}
    if bounds.years < SHORT:
        return {"survival/all": Estimate(key, None, **shared, note=(
            f"between {bounds.low:.2f} and {bounds.high:.2f} over {bounds.years * 365.25:.0f} "
            "days; survival cannot be told apart from detection, nor from so short an interval "
            "for a year"))}
    return {"survival/all": Estimate(key, None, interval=bounds.yearly(), **shared, note=(
        ("bounds from the first interval: no model tells survival apart" if result.models else
         "bounds: with two visits survival cannot be told apart from detection")
        + _raised(bounds)))}


def _raised(bounds) -> str:
    """What passes within the visit add to the lower bound."""
    if bounds.searched is None:
        return ""
    return (f"; the lower one is raised from {bounds.low ** (1 / bounds.years):.2f}, because the "
            f"search finds at most {bounds.searched:.2f} of the living animals")


def detection_of(result: SpeciesResult) -> dict[str, Estimate]:
    """Mean chance of being seen at a visit, by method where there are several."""
    if result.rates is None:
        return {}
    fitted, out = result.models[0], {}
    methods = fitted.steps.loc[fitted.steps["visit"].notna(), "method"].fillna("").unique()
    for method in sorted(methods):
        mask = fitted.steps["method"].fillna("").eq(method).to_numpy()
        value, se = average_detection(fitted, mask)
        se *= np.sqrt(result.inflation)
        key = f"detection/{method or 'all'}"
        limit = detection_limit(fitted, mask, result.inflation)
        if limit is not None:
            out[key] = _at_limit(key, value, limit, int(mask.sum()), source_of(result))
            continue
        scale = max(value * (1 - value), 1e-9)
        logit, half = np.log(value / (1 - value)), Z95 * se / scale
        low, high = (float(1 / (1 + np.exp(-(logit + d)))) for d in (-half, half))
        out[key] = Estimate(key, value, se=se, interval=(low, high), n=int(mask.sum()),
                            source=source_of(result))
    return out


def _availability(result: SpeciesResult) -> dict[str, Estimate]:
    """Share of the living animals within reach, where passes within visits tell it."""
    if result.rates is None or result.passes is None:
        return {}
    fitted = result.models[0]
    at = zip(fitted.steps["visit"], fitted.steps["site"], strict=True)
    mask = np.array([key in result.passes.visits for key in at])
    value, se = availability(average_detection(fitted, mask), result.passes)
    within, _ = result.passes.whole_visit()
    key = "availability/all"
    note = (f"a pass finds {result.passes.value:.2f} of the animals within reach, a visit "
            f"{within:.2f}; animals out of reach at random do not bias survival, those that stay "
            "out of reach count as dead")
    if value > 1:
        note = f"the ratio came out at {value:.2f}: every animal may be within reach; {note}"
    half = Z95 * se
    return {key: Estimate(key, min(value, 1.0), se=se, interval=(
        max(value - half, 0.0), min(value + half, 1.0)), n=result.passes.meetings,
        source=source_of(result), note=note)}


def _retention(result: SpeciesResult, key: str) -> Estimate:
    kept = result.retention
    return estimate_from_link(
        key, Link(float(kept.logit[0]), float(np.sqrt(kept.covariance[0, 0]))), n=kept.animals,
        source=Source("measured", f"{kept.meetings} meetings of animals with two marks, "
                      f"{kept.lost} with a mark lost"))


def covariance_of(results: dict[str, SpeciesResult], rates: dict[str, Estimate],
                  alone: bool) -> Covariance:
    """Joint covariance of all rates that carry a link; species are independent."""
    keys: list[str] = []
    blocks = []
    for name, result in results.items():
        if result.joint is None:
            continue
        own = [named(k, "" if alone else name) for k in result.joint.keys]
        keep = [i for i, k in enumerate(own) if rates.get(k) and rates[k].link is not None]
        keys += [own[i] for i in keep]
        blocks.append(result.joint.covariance[np.ix_(keep, keep)])
    matrix = np.zeros((len(keys), len(keys)))
    at = 0
    for block in blocks:
        matrix[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return Covariance(tuple(keys), matrix)
