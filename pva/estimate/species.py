"""Marked animals of one species: growth, tag loss, survival, detection, stage transitions."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from pva.estimate.availability import PassDetection, chance_to_find, pass_detection
from pva.estimate.averaging import Averaged, average_rates, to_average
from pva.estimate.bounds import Bounds, two_visit_bounds
from pva.estimate.choices import what_cannot_differ
from pva.estimate.contrasts import Joint
from pva.estimate.entangled import products
from pva.estimate.fit_simulation import SimulatedFit, simulate_fit
from pva.estimate.fit_tests import FitTest, fit_test
from pva.estimate.following import SHORT, YEAR, Following, follow
from pva.estimate.growth import Growth
from pva.estimate.losses import Losses, losses_of
from pva.estimate.models import Model
from pva.estimate.options import Options
from pva.estimate.refusal import Refusal
from pva.estimate.shells import extreme_finding, profiled, with_leaving
from pva.estimate.source_differences import source_differences
from pva.estimate.species_growth import SpeciesGrowth, growth_of, with_transitions
from pva.estimate.stage_steps import UNMEASURED, Sizes, label_steps
from pva.estimate.staying import TAGS
from pva.estimate.survival import (
    Data,
    Fitted,
    best_shell_loss,
    choose,
    levels_told,
)
from pva.estimate.survival_rates import (
    SurvivalRates,
    as_profiled,
    contrasts_of,
    survival_rates,
    wanted_keys,
)
from pva.estimate.tag_loss import TagRetention
from pva.field.records import ALIVE, REMOVED, SHELL, FieldRecords

FEWEST_SEEN = 10  # animals seen again, below which survival is refused


@dataclass(frozen=True)
class SpeciesResult:
    """Everything marked animals of a species say.

    Parameters
    ----------
    species : str
    following : Following
    steps : DataFrame
        Labelled steps behind the models.
    growth : Growth or None
    losses : Losses
        What survival is corrected for.
    models : list of Fitted
        Best first; the first is reported.
    inflation : float
        Overdispersion carried into the standard errors, 1 where the fit is good.
    test : FitTest or None
    rates : SurvivalRates or None
    joint : Joint or None
        Survival, release and transitions together, logit scale.
    bounds : Bounds or None
        In place of survival where there were two visits only.
    refused : tuple of Refusal
    notes : tuple of str
    adult_from_mm : float or None
    lengths : SpeciesGrowth
        Behind the growth curve.
    averaged : Averaged or None
        Behind `rates` where they are averaged over models.
    simulated : SimulatedFit or None
        The fit judged by simulated studies.
    passes : PassDetection or None
        How well one pass of a visit finds animals within reach.
    profiled : dict of str to tuple
        Profile intervals that stand in for standard errors where the chance of finding a shell
        sits at 0 or 1.
    """

    species: str
    following: Following
    steps: pd.DataFrame | None = None
    growth: Growth | None = None
    losses: Losses = Losses()
    models: list[Fitted] = field(default_factory=list)
    inflation: float = 1.0
    test: FitTest | None = None
    rates: SurvivalRates | None = None
    joint: Joint | None = None
    bounds: Bounds | None = None
    refused: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()
    adult_from_mm: float | None = None
    lengths: SpeciesGrowth = SpeciesGrowth()
    averaged: Averaged | None = None
    simulated: SimulatedFit | None = None
    passes: PassDetection | None = None
    profiled: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def retention(self) -> TagRetention | None:
        """Tag retention measured on animals with two marks."""
        return self.losses.tags


def estimate_species(records: FieldRecords, species: str, options: Options,
                     following: Following | None = None, model: str | None = None) -> SpeciesResult:
    """Estimate one species.

    Parameters
    ----------
    records : FieldRecords
    species : str
    options : Options
    following : Following, optional
        All animals followed, where that was worked out already.
    model : str, optional
        Name of the model to report in place of the one with the lowest AICc.
    """
    following = follow_study(records, options) if following is None else following
    result = _estimated(records, species, options, following, model)
    return replace(result, adult_from_mm=options.adult_from_mm)


def _estimated(records, species, options, following, model) -> SpeciesResult:
    own = following.of_species(species)
    losses = losses_of(records, own.steps["animal"].unique(), options)
    if TAGS in losses.corrected_for:
        own = follow_study(records, options, by_tag_only=True).of_species(species)
    lengths = growth_of(own, options)
    told = _followed(records, species, own, losses, lengths, options, model)
    return replace(told, lengths=lengths)


def _followed(records, species, own, losses, lengths, options, model) -> SpeciesResult:
    growth, refused, notes = lengths.growth, list(lengths.refused), list(lengths.notes)
    refusal = _too_few(own)
    if refusal:
        return SpeciesResult(species, own, growth=growth, losses=losses,
                             refused=(*refused, refusal), notes=tuple(notes))
    sizes = Sizes(own, growth, options.season, lengths.measured)
    steps = label_steps(own, sizes, options.stages, options.bad_years)
    if options.stages:
        notes += _stage_notes(steps, sizes, growth)
    if own.steps.groupby("follow").size().max() < 2:
        searched = chance_to_find(records, species, options.availability)
        return SpeciesResult(species, own, steps, growth, losses, refused=tuple(refused),
                             bounds=two_visit_bounds(own.steps, searched), notes=tuple(notes))
    told = _survival(species, own, steps, growth, losses, options, model, refused, notes)
    return replace(told, passes=pass_detection(records, species))


def _stage_notes(steps: pd.DataFrame, sizes: Sizes, growth: Growth | None) -> list[str]:
    """What the stages of animals rest on, where it is not their own lengths and a curve."""
    unknown = int(steps.loc[steps["length"].isna(), "animal"].nunique())
    if unknown and steps["length"].isna().all():
        return ["no animal was measured: survival is not told by stage"]
    out = []
    if sizes.guessed > unknown:
        out.append(f"{sizes.guessed - unknown} animals were never measured: their batch's mean is "
                   "used")
    if unknown:
        out.append(f"{unknown} animals were never measured, nor any of their source: their "
                   f"survival stands apart as `survival/{UNMEASURED}`")
    if growth is None:
        out.append("without a growth curve every animal counts to the stage of its mean length, "
                   "however long it was followed")
    return out


def follow_study(records: FieldRecords, options: Options, *, by_tag_only: bool = False
                 ) -> Following:
    """Animals followed as the study says: which sites and which shells count."""
    return follow(records, by_tag_only=by_tag_only, outside=options.outside,
                  shells_anywhere=options.shells_anywhere)


def _survival(species, own, steps, growth, losses, options, model, refused, notes) -> SpeciesResult:
    visited = steps.dropna(subset=["visit"]).set_index(["follow", "visit"])["stage"]
    at_visits = own.steps.join(visited, on=["follow", "visit"])
    test = fit_test(at_visits)
    inflation = _inflation(test, notes)
    keep = losses.keep(steps)
    anywhere = options.shells_anywhere and bool(steps["status"].eq(SHELL).any())
    notes += losses.notes(leaving_told=anywhere)
    by_method = ("method",) if "method" in options.detection else ()
    rough = Model(("stage",) if options.stages else (), by_method, (), options.release_separate,
                  by_method)
    loss = np.inf if options.shells_dated_by_death else best_shell_loss(rough, steps, keep)
    data, plain = Data(steps, keep, loss), Data(steps, np.ones(len(steps)), loss)
    models = choose(data, survival=options.survival, detection=options.detection, shell=by_method,
                    release_separate=options.release_separate, inflation=inflation)
    if anywhere:
        models = with_leaving(models, data, inflation)
    models = _put_first(models, model)
    if not levels_told(models[0]):
        return _not_told(species, own, steps, growth, losses, models, inflation, test, refused,
                         notes)
    taking_part = to_average(models) if options.average else [(models[0], 1.0)]
    keys = wanted_keys(*(m for m, _ in taking_part))
    rates = survival_rates(models[0], data, without_loss=plain, losses=losses,
                           inflation=inflation, keys=keys)
    averaged = None
    if options.average:
        rates, averaged = average_rates(rates, taking_part, keys, inflation)
        notes.append(f"survival and release survival are averaged over {len(taking_part)} models "
                     "by their weights, with the doubt about the model in their standard errors")
    rates = as_profiled(rates)
    simulated = _simulated_fit(models[0], data, at_visits, test, options, notes)
    notes += rates.notes
    notes += what_cannot_differ("survival", options.survival, steps)
    notes += what_cannot_differ("detection", options.detection, steps)
    notes += _only_together(models)
    notes += source_differences(models[0], data, inflation)
    whole = rates.joint
    if growth is not None and len(options.stages) > 1:
        whole = with_transitions(growth, options, rates.joint)
    refused += _vague(own.steps, rates.joint)
    intervals = _extreme_shells(models[0], notes)
    return SpeciesResult(species, own, steps, growth, losses, models, inflation, test, rates, whole,
                         None, tuple(refused), tuple(notes), averaged=averaged,
                         simulated=simulated, profiled=intervals)


def _only_together(models: list[Fitted]) -> list[str]:
    """What the best model that cannot tell all its rates knows only as products."""
    for fitted in models:
        found = [] if levels_told(fitted) else products(fitted)
        if found:
            return [f"the model `{fitted.name}` is listed, not reported: "
                    + "; ".join(p.words for p in found)]
    return []


def _extreme_shells(fitted: Fitted, notes: list[str]) -> dict[str, tuple[float, float]]:
    """Profile intervals of yearly survival where the chance of finding a shell is at its limit."""
    at = extreme_finding(fitted)
    if at is None:
        return {}
    notes.append(f"the chance that a shell is found sits at {at:.0f}: a standard error of survival "
                 "would mean nothing; its interval is profiled instead")
    return profiled(fitted, {k: c for k, c in contrasts_of(
        fitted, wanted_keys(fitted)).items()
                             if k.split("/")[0] in ("survival", "release", "staying")})


def _simulated_fit(reported, data, at_visits, test, options, notes) -> SimulatedFit | None:
    """The fit judged by simulated studies, where the study asks for it."""
    if not options.fit_simulations:
        return None
    told = simulate_fit(reported, data, at_visits, test, studies=options.fit_simulations)
    notes.append(told.words if told else "the fit could not be judged by simulated studies: no "
                 "usable table, or a model in which animals leave")
    return told


def _too_few(own: Following) -> Refusal | None:
    steps = own.steps
    animals = steps["animal"].nunique()
    seen = steps.loc[steps["status"].isin([ALIVE, REMOVED]), "animal"].nunique()
    if seen >= FEWEST_SEEN:
        return None
    if not len(steps):
        return Refusal("survival", "no marked animal was followed to a later visit",
                       "a visit after the release")
    if not seen:
        needed = "until some are seen again nobody can say how many would have to be marked"
    else:
        needed = f"about {int(np.ceil(FEWEST_SEEN * animals / seen))} marked animals at this rate"
    return Refusal("survival", f"{seen} of {animals} marked animals were seen again; fewer than "
                   f"{FEWEST_SEEN} tell nothing", needed)


def _inflation(test: FitTest, notes: list[str]) -> float:
    if test.overdispersion is None or test.p_value > 0.05 or test.overdispersion <= 1:
        return 1.0
    notes.append(f"animals do not behave alike (overdispersion {test.overdispersion:.2f}, "
                 f"p {test.p_value:.3f}): standard errors are widened accordingly")
    return test.overdispersion


def _put_first(models: list[Fitted], name: str | None) -> list[Fitted]:
    chosen = [m for m in models if m.name == name]
    return chosen + [m for m in models if m.name != name]


def _not_told(species, own, steps, growth, losses, models, inflation, test, refused, notes):
    """No model of the set can tell survival apart from something else."""
    names = models[0].laid.design.names
    blurred = [n for n, told in zip(names, models[0].fit.told, strict=True) if not told]
    if any(n.startswith("release") for n in blurred):
        why = ("survival after release cannot be told from survival of the first interval: there "
               "is one release only, or survival differs by interval")
        needed = "a second release, or a further visit soon after the release"
    else:
        why = "survival cannot be told apart from detection"
        needed = "one more visit"
    why = "; ".join([why, *(p.words for p in products(models[0]))])
    refused = (*refused, Refusal("survival", why, needed))
    return SpeciesResult(species, own, steps, growth, losses, models, inflation, test,
                         bounds=two_visit_bounds(own.steps), refused=refused, notes=tuple(notes))


def longest_interval(steps: pd.DataFrame) -> float:
    """Years over which any animal was followed from one visit to the next, at most."""
    return float((steps["end"] - steps["start"]).max() / YEAR)


def longest_followed(steps: pd.DataFrame) -> float:
    """Years from its beginning to its last sighting over which any animal was followed, at most."""
    seen = steps[steps["status"].isin([ALIVE, REMOVED, SHELL])]
    begun = steps.groupby("follow")["start"].min()
    return float((seen.groupby("follow")["end"].max() - begun).max() / YEAR)


def _vague(steps: pd.DataFrame, told: Joint) -> list[Refusal]:
    """Rates that must not be printed alone."""
    out = []
    longest = longest_followed(steps)
    if longest < SHORT:
        out.append(Refusal("survival", f"animals were followed over {longest * YEAR:.0f} days at "
                           "most: a yearly figure would be guesswork",
                           "visits at least three months apart"))
    return out
