"""Growth of one species: the curve, what it differs by, and what a reader must know about it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pva.errors import CannotCompute
from pva.estimate.contrasts import Joint
from pva.estimate.estimates import Estimate
from pva.estimate.following import Following
from pva.estimate.growth import FEWEST, MOST_MISREAD, Growth
from pva.estimate.growth_fit import growth_choices, of_three_occasions
from pva.estimate.growth_lengths import measured_lengths
from pva.estimate.growth_model import Measured, Repeats
from pva.estimate.length_at_age import LengthAtAge, fit_length_at_age, lengths_at_age
from pva.estimate.refusal import Refusal
from pva.estimate.transitions import FOLLOWED, transitions
from pva.sources import Source

FEWEST_REPEATS = 10  # animals measured twice at a visit, below which repeats say nothing
LEAST_SD_MM = 0.1  # SD of repeats below which they are copies: lengths are read to 0.1 mm
MOST_SD = 0.05  # SD of repeats over the length, above which they are no errors of reading
LITTLE = 0.35  # share of the asymptote that lengths must span for the curve to be told
BEYOND = 1.25  # asymptote over the largest lengths, above which it is a guess
AGE_DIGITS = 1
MOST_NAMED = 8  # misread lengths named in the note


@dataclass(frozen=True)
class GrowthOptions:
    """Choices about growth.

    Parameters
    ----------
    differs_by : tuple of str
        ``site``, ``source``, ``batch``.
    handling : str
        After which handling growth rests: ``none``, ``release`` or ``each``.
    steps : str
        How steps between stages are worked out, see `transitions`.
    population_growth : float
        Yearly factor by which the population grows whose animals fill the stages.
    beds : tuple of str
        Sites of the study: animals whose source is one of them are of any age.
    """

    differs_by: tuple[str, ...] = ()
    handling: str = "none"
    steps: str = FOLLOWED
    population_growth: float = 1.0
    beds: tuple[str, ...] = ()


def growth_options(spec) -> GrowthOptions:
    """Choices of a study (`StudySpec`)."""
    return GrowthOptions(tuple(spec.growth.differs_by), spec.growth.handling, spec.growth.steps,
                         spec.growth.population_growth, tuple(s.name for s in spec.sites))


@dataclass(frozen=True)
class SpeciesGrowth:
    """What the lengths of a species say.

    Parameters
    ----------
    growth : Growth or None
        None where it was refused.
    measured : Measured or None
        Every animal with a length.
    choices : tuple of Growth
        Models that were compared, best first.
    at_age : LengthAtAge or None
        From released animals of known age.
    refused : tuple of Refusal
    notes : tuple of str
    steps_from : str
        In words: what else steps between stages rest on.
    """

    growth: Growth | None = None
    measured: Measured | None = None
    choices: tuple[Growth, ...] = ()
    at_age: LengthAtAge | None = None
    refused: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()
    steps_from: str = "with survival, in a steady population"


def growth_of(own: Following, options) -> SpeciesGrowth:
    """The growth curve where enough animals were measured twice.

    Parameters
    ----------
    own : Following
        Animals of one species.
    options : Options
    """
    if not len(own.lengths):
        return SpeciesGrowth(refused=(_too_few(0),))
    wanted = options.growth
    measured = measured_lengths(own.lengths, options.season, beds=wanted.beds,
                                differs_by=wanted.differs_by)
    at_age = _at_age(own.lengths, options.season)
    n = int((np.diff(measured.lengths.first) >= 2).sum())
    if n < FEWEST:
        return SpeciesGrowth(None, measured, at_age=at_age, refused=(_too_few(n),))
    thrice, known = of_three_occasions(measured.lengths), None
    if thrice < FEWEST:
        known = _error_known(own.repeats, measured)
    choices = growth_choices(replace(measured, repeats=known), handling=wanted.handling)
    growth, refusal = choices[0], None
    if growth.misread_share >= MOST_MISREAD:
        refusal = _misread_too_often(growth)
    elif thrice < FEWEST:
        refusal = _two_lengths(measured, own.repeats, known, f"{n} animals were measured twice, "
                               f"{thrice or 'none'} of them at three visits")
    if refusal is None and not growth.is_told:
        refusal = _not_told(growth, n)
    if refusal is not None:
        return SpeciesGrowth(None, measured, tuple(choices), at_age, (refusal,), growth.notes)
    notes = (*growth.notes, *_misread(own.lengths, measured, growth),
             *(_repeats(own.repeats, growth) if known is None else [_leaning(known)]),
             *_span(measured, growth, options), *_differences(choices, wanted),
             *_handled(growth), *_ages(at_age, growth))
    return SpeciesGrowth(growth, measured, tuple(choices), at_age, (), notes, _steps_from(wanted))


def with_transitions(growth: Growth, options, rates: Joint) -> Joint:
    """Survival with the steps between stages, by level where growth differs."""
    return transitions(growth, options.stages, rates, rule=options.growth.steps,
                       growth_rate=options.growth.population_growth)[0]


def _steps_from(wanted: GrowthOptions) -> str:
    if wanted.steps != FOLLOWED:
        return "with survival, by the stage-duration rule"
    if wanted.population_growth == 1:
        return "with survival, in a steady population"
    return f"with survival, in a population that grows by a factor {wanted.population_growth:g}"


def _too_few(n: int) -> Refusal:
    return Refusal("growth", f"{n} animals were measured twice",
                   f"at least {FEWEST} animals measured at two visits")


def _misread_too_often(growth: Growth) -> Refusal:
    return Refusal("growth", f"{growth.misread} of {growth.measurements} lengths fit no growth "
                   "of their animal", "a look at these tags and lengths: animals may be mixed "
                   "up, or lengths misread")


def _not_told(growth: Growth, n: int) -> Refusal:
    return Refusal("growth", f"increments of {n} animals cannot be told from errors of "
                   f"{growth.measurement_sd_mm:.1f} mm in a length",
                   "smaller animals, more years between lengths, or lengths read twice")


def _two_lengths(measured: Measured, repeats, known: Repeats | None, met: str) -> Refusal | None:
    """Refusal where hardly anybody was measured at three occasions.

    From two lengths of an animal the error of a length and differences between animals are told
    apart by repeats alone, and rate and asymptote by unlike first sizes alone.
    """
    data = measured.lengths
    begun = data.length[data.first[:-1]][np.diff(data.first) >= 2]
    low, high = np.quantile(begun, [0.02, 0.98])
    alike = high - low < LITTLE * np.quantile(data.length, 0.98)
    if known is not None and not alike:
        return None
    third = (f"a third visit: lengths of at least {FEWEST} animals at three visits each, young and "
             "old")
    if alike:
        return Refusal("growth", f"{met}, and all were of much the same size at first "
                       f"({low:.0f} to {high:.0f} mm): two lengths of an animal do not tell "
                       "how fast growth slows down, and so no largest size", third)
    return Refusal("growth", f"{met}: two lengths of an animal do not tell errors of a length from "
                   "animals that differ, and any largest size would rest on a guess of the error"
                   + _no_help(repeats),
                   f"{third}; or at least {FEWEST_REPEATS} animals, better 30, measured twice on "
                   "the same day, the second time without a look at the first")


def _no_help(repeats: pd.DataFrame) -> str:
    """Why the repeats that there are cannot be used."""
    if not _enough(repeats):
        return ""
    sd = _spread(repeats).sd_mm
    why = "they look copied" if sd < LEAST_SD_MM else "animals may be mixed up"
    return f"; lengths read twice at a visit differ by {sd:.1f} mm (SD) and do not help: {why}"


def _enough(repeats: pd.DataFrame) -> bool:
    return len(repeats.dropna(subset=["sd_mm"])) >= FEWEST_REPEATS


def _error_known(repeats: pd.DataFrame, measured: Measured) -> Repeats | None:
    """What lengths read more than once at a visit say; None where few were, where all are copies,
    or where they differ by more than errors of reading do."""
    if not _enough(repeats):
        return None
    known = _spread(repeats)
    most = MOST_SD * float(np.median(measured.lengths.length))
    return known if LEAST_SD_MM <= known.sd_mm <= most else None


def _spread(repeats: pd.DataFrame) -> Repeats:
    """SD of a length within animal and visit."""
    told = repeats.dropna(subset=["sd_mm"])
    free = told["number"] - 1
    return Repeats(float(np.sqrt((free * told["sd_mm"] ** 2).sum() / free.sum())), int(free.sum()))


def _leaning(known: Repeats) -> str:
    return (f"hardly any animal was measured at three visits, so the curve leans on the SD of a "
            f"length from repeats within a visit, {known.sd_mm:.1f} mm: repeats copied from the "
            "first reading would make it wrong and look sure")


def _at_age(lengths: pd.DataFrame, season) -> LengthAtAge | None:
    known = lengths_at_age(lengths, season)
    try:
        return fit_length_at_age(known["age"], known["length_mm"], known["animal"])
    except CannotCompute:
        return None


def _misread(table: pd.DataFrame, measured: Measured, growth: Growth) -> list[str]:
    """Which lengths look misread, the worst first."""
    if not growth.misread:
        return []
    table = table.sort_values(["animal", "day"], kind="stable")
    chance = growth.chance_misread(measured)
    worst = np.argsort(-chance, kind="stable")[:min(growth.misread, MOST_NAMED)]
    named = [f"{row.animal} on {dt.date.fromordinal(int(row.day))} ({row.length_mm:g} mm)"
             for row in table.iloc[worst].itertuples()]
    more = "" if growth.misread <= MOST_NAMED else f" and {growth.misread - MOST_NAMED} more"
    return [f"lengths that look misread: {', '.join(named)}{more}"]


def _repeats(repeats: pd.DataFrame, growth: Growth) -> list[str]:
    """Whether lengths read twice at a visit agree with the error that the curve needs."""
    if not _enough(repeats):
        return []
    told = _spread(repeats).sd_mm
    ratio = told / growth.measurement_sd_mm
    if 0.67 < ratio < 1.5:
        return []
    why = ("repeats copied from the first reading look too good" if ratio < 1 else
           "readers may differ, or animals may be mixed up within a visit")
    return [f"SD of a length from repeats within a visit, {told:.1f} mm, disagrees with "
            f"{growth.measurement_sd_mm:.1f} mm from the curve: {why}; the curve's is used"]


def _span(measured: Measured, growth: Growth, options) -> list[str]:
    """Where the curve is a guess: few sizes, or stages smaller than any animal measured."""
    data = measured.lengths
    twice = np.repeat(np.diff(data.first) >= 2, np.diff(data.first))
    low, high = np.quantile(data.length[twice], [0.02, 0.98])
    notes = []
    if high - low < LITTLE * growth.asymptote_mm:
        notes.append(f"lengths span little ({low:.0f} to {high:.0f} mm): asymptote and rate hang "
                     "together, and the curve outside is a guess")
    if growth.asymptote_mm > BEYOND * high:
        notes.append(f"the asymptote, {growth.asymptote_mm:.0f} mm, lies far beyond the animals "
                     f"measured (up to {high:.0f} mm): it is the curve's guess")
    limit = options.stages[1].low if len(options.stages) > 1 else None
    if limit is not None and low > limit:
        notes.append(f"nearly all animals measured twice were longer than {low:.0f} mm: growth "
                     f"below that, and so the time to reach {limit:g} mm, is the curve's guess")
    adult = options.adult_from_mm
    if adult is not None and growth.asymptote_mm < adult:
        notes.append(f"the mean asymptote, {growth.asymptote_mm:.0f} mm, lies below the adult "
                     f"stage ({adult:g} mm): most animals would never be adult")
    return notes


def _differences(choices, wanted: GrowthOptions) -> list[str]:
    """Which of the models of growth won."""
    if not wanted.differs_by:
        return []
    if len(choices) < 2:
        return [f"growth by {' and '.join(wanted.differs_by)} was not tried: fewer than {FEWEST} "
                "animals measured twice in all but one"]
    best, next_best = choices[0], choices[1]
    by = " and ".join(wanted.differs_by)
    said = (f"growth by {by}: {best.terms.said} (AICc lower by {next_best.aicc - best.aicc:.1f} "
            f"than with {next_best.terms.said})")
    curves = "; ".join(f"{level} {c.asymptote_mm:.1f} mm at {c.rate:.3f} a year"
                       for level, c in best.curves.items())
    return [f"{said}: {curves}" if curves else said]


def _handled(growth: Growth) -> list[str]:
    if growth.growth_lost_years is None:
        return []
    low, high = growth.interval["growth_lost_years"]
    return [f"growing time lost after handling: {growth.growth_lost_years:.2f} years "
            f"({low:.2f} to {high:.2f}, 95 %)"]


def _ages(at_age: LengthAtAge | None, growth: Growth) -> list[str]:
    """Whether animals of known age agree with the increments."""
    if at_age is None:
        return []
    mean = growth.length_after(0.0, at_age.oldest)
    known = float(at_age.length_at(at_age.oldest))
    if abs(mean - known) < 0.15 * known:
        return []
    return [f"animals of known age measured {known:.0f} mm at {at_age.oldest:.{AGE_DIGITS}f} "
            f"growing years, the curve from 0 mm says {mean:.0f} mm: the curve's ages are not to "
            "be trusted"]


def growth_row(result) -> dict | None:
    """Growth of a species for the summary; numbers or None."""
    growth = result.growth
    if growth is None:
        return None
    out = {}
    for name in ("asymptote_mm", "rate", "asymptote_sd_mm", "measurement_sd_mm"):
        low, high = growth.interval[name]
        out |= {name: getattr(growth, name), f"{name}_se": growth.se[name],
                f"{name}_low": low, f"{name}_high": high}
    stages = list(dict.fromkeys(result.steps["stage"])) if result.steps is not None else []
    told = result.lengths
    return out | _adult(result) | {
        "animals": growth.animals, "measurements": growth.measurements,
        "negative_increments": growth.negative, "misread_share": growth.misread_share,
        "misread_lengths": growth.misread, "growth_lost_years": growth.growth_lost_years,
        "stages_followed": [s for s in stages if s],
        "curves": [{"name": level, "asymptote_mm": c.asymptote_mm, "rate": c.rate,
                    "asymptote_mm_low": c.interval(0)[0], "asymptote_mm_high": c.interval(0)[1],
                    "rate_low": c.interval(1)[0], "rate_high": c.interval(1)[1]}
                   for level, c in growth.curves.items()],
        "models": [{"name": g.terms.said, "parameters": g.parameters, "loglik": g.loglik,
                    "aicc": g.aicc} for g in told.choices],
        "length_at_age": told.at_age.as_dict() if told.at_age else None,
    }


def _adult(result) -> dict:
    """Years to adult length on the mean curve from 0 mm, with interval."""
    low = result.adult_from_mm
    nothing = {"years_to_adult": None, "years_to_adult_low": None, "years_to_adult_high": None}
    if low is None or not np.isfinite(result.growth.years_to(low)):
        return nothing
    ends = result.growth.years_to_interval(low)
    return {"years_to_adult": result.growth.years_to(low), "years_to_adult_low": ends[0],
            "years_to_adult_high": ends[1] if np.isfinite(ends[1]) else None}


def curve_estimates(result, key) -> dict[str, Estimate]:
    """The growth curve as entries of the estimates file; `key` names them."""
    growth = result.growth
    if growth is None:
        return {}
    source = Source("measured", f"{growth.animals} animals measured twice or more")
    out = {}
    for name in ("asymptote_mm", "rate", "asymptote_sd_mm", "measurement_sd_mm"):
        low, high = growth.interval[name]
        told = np.isfinite(growth.se[name])
        out[key(f"growth_curve/{name}")] = Estimate(
            key(f"growth_curve/{name}"), getattr(growth, name), n=growth.animals, source=source,
            se=growth.se[name] if told else None, interval=(low, high) if told else None)
    return out
