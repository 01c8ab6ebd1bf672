"""The survival that a study reports: by stage, site and source, with years and doubt apart."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import expit

from pva.estimate.choices import YEAR_TERM
from pva.estimate.coding import HEARD_ALIVE, HEARD_DEAD, NOT_COUNTED
from pva.estimate.contrasts import (
    Joint,
    event_contrast,
    joint,
    release_contrast,
    staying_contrast,
    survival_contrast,
    year_labels,
)
from pva.estimate.fit import AT_BOUNDARY
from pva.estimate.following import SHORT, YEAR
from pva.estimate.link_scale import Z95, mean_over_years
from pva.estimate.losses import Losses
from pva.estimate.profiles import profile_interval
from pva.estimate.survival import Data, Fitted, fit_model
from pva.estimate.year_effects import YearEffects, again, random_years
from pva.estimate.year_variance import (
    FEWEST_YEARS,
    YearVariance,
    census_turn,
    shared_years,
    year_variance,
)

PROFILE_ABOVE = 0.5  # standard error (logit) above which an interval is profiled


@dataclass(frozen=True)
class SurvivalRates:
    """Rates of one species on the logit scale.

    Parameters
    ----------
    joint : Joint
        Corrected for what is lost from view, as far as it is known; years and that loss are in the
        covariance.
    year_sd : float or None
        SD between years, logit scale, shared by all stages; None = could not be told.
    apparent : dict of str to float
        With everything lost from view counted as deaths, natural scale, mean over years.
    limits : dict of str to tuple
        Profile limits (natural scale) of rates stuck at 0 or 1.
    heard : dict of str to tuple
        Value with all heard-only animals dead by then, and with all alive: readings, not bounds.
    by_interval : list of dict
        Year, stage, value, low, high: for the figure.
    notes : tuple of str
    effects : YearEffects or None
        Years as random effects in the likelihood: where `year_sd` comes from.
    moments : YearVariance or None
        The same spread from the estimates of single intervals, to compare.
    profiles : dict of str to tuple
        Profile intervals (logit scale) of rates with large standard errors, where a normal
        interval would not do.
    """

    joint: Joint
    year_sd: float | None
    apparent: dict
    limits: dict
    heard: dict
    by_interval: list
    notes: tuple[str, ...] = field(default=())
    effects: YearEffects | None = None
    moments: YearVariance | None = None
    profiles: dict = field(default_factory=dict)


def survival_rates(chosen: Fitted, data: Data, *, without_loss: Data | None = None,
                   losses: Losses | None = None, inflation: float = 1.0,
                   keys: dict | None = None) -> SurvivalRates:
    """Turn the chosen model into the rates people name.

    Parameters
    ----------
    chosen : Fitted
    data : Data
        What `chosen` was fitted to.
    without_loss : Data, optional
        The same records with nothing lost from view, for apparent survival.
    losses : Losses, optional
        Where `data` allows for lost tags or leaving.
    inflation : float
        Overdispersion, at least 1.
    keys : dict, optional
        Wanted keys, as made by `wanted_keys`; all where left out.
    """
    keys = wanted_keys(chosen) if keys is None else keys
    yearly, labels, moments = _by_years(chosen, data, inflation)
    effects = random_years(chosen, data, inflation=inflation) if moments else None
    # random years are fitted to records made lighter by the inflation: not to be widened twice
    base, widened = (effects.fitted, 1.0) if effects else (chosen, inflation)
    year_sd = effects.sd if effects else None
    named = joint(base, contrasts_of(base, keys), widened)
    apparent, named = _corrected(base, named, keys, inflation, without_loss, losses, data)
    return SurvivalRates(named, year_sd, apparent, _limits(base, named, keys, widened),
                         _heard(base, data, keys, inflation),
                         _by_interval(yearly, labels, inflation),
                         tuple(_year_words(effects, moments, len(labels))), effects, moments,
                         _profiles(base, named, keys, widened))


def as_profiled(rates: SurvivalRates) -> SurvivalRates:
    """The same rates with standard errors that fit their profile intervals.

    The curvature at an estimate near 0 or 1 can be almost flat, and its standard error then lets a
    scenario draw what the profile excludes.
    """
    scale = np.ones(len(rates.joint.keys))
    for i, key in enumerate(rates.joint.keys):
        if key in rates.profiles:
            scale[i] = _fitting_se(rates.joint.mean[i], rates.profiles[key]) / rates.joint.se[i]
    covariance = rates.joint.covariance * np.outer(scale, scale)
    return replace(rates, joint=replace(rates.joint, covariance=covariance))


def _fitting_se(mean: float, ends: tuple[float, float]) -> float:
    """SE (logit scale) whose interval comes closest to a profile interval, as chances."""
    wanted = expit(np.array(ends))

    def off(se):
        return float(((expit(mean + np.array([-Z95, Z95]) * se) - wanted) ** 2).sum())

    return float(minimize_scalar(off, bounds=(1e-3, 8.0), method="bounded").x)


def wanted_keys(*models: Fitted) -> dict[str, dict]:
    """Keys of the file, and what each stands for in the models; those of the first come first."""
    keys: dict[str, dict] = {}
    for fitted in models:
        keys |= {key: what for key, what in _keys_of(fitted).items() if key not in keys}
    return keys


def _keys_of(fitted: Fitted) -> dict[str, dict]:
    stages = [s for s in dict.fromkeys(fitted.steps["stage"]) if s] or [None]
    keys: dict[str, dict] = {}
    for stage in stages:
        keys[f"survival/{stage or 'all'}"] = {"stage": stage}
    for term in ("site", "source", "batch"):
        if term in fitted.model.survival:
            for stage in stages:
                levels = fitted.steps.loc[fitted.steps["stage"].eq(stage or ""), term].unique()
                for level in sorted(levels):
                    keys[f"survival/{stage or 'all'} @ {level}"] = {"stage": stage, term: level}
    if fitted.model.release_separate:
        for source in sorted(fitted.steps.loc[fitted.steps["released"], "source"].unique()):
            keys[f"release/{source}"] = {"release": source}
    for name in sorted(set(fitted.steps["bad_year"]) - {""}):
        keys[f"bad_year/{name}"] = {"event": name}
    if fitted.model.leaving:
        keys["staying/all"] = {"staying": "all"}
    return keys


def contrasts_of(fitted: Fitted, keys: dict) -> dict[str, np.ndarray]:
    """Weights of the parameters in each key, as made by `wanted_keys`."""
    out = {}
    for key, what in keys.items():
        if "release" in what:
            out[key] = release_contrast(fitted, what["release"])
        elif "event" in what:
            out[key] = event_contrast(fitted, what["event"])
        elif "staying" in what:
            out[key] = staying_contrast(fitted)
        else:
            out[key] = survival_contrast(fitted, **what)
    return out


def _by_years(chosen: Fitted, data: Data, inflation: float):
    """The fit with each interval's own survival, intervals that can be told, their spread."""
    model = chosen.model
    if YEAR_TERM not in model.survival:
        model = model.with_survival(*model.survival, YEAR_TERM)
    yearly = fit_model(model, data, pull_years=True, near=chosen)
    labels = year_labels(yearly)
    each = {label: survival_contrast(yearly, years={label: 1.0}) for label in labels}
    told = joint(yearly, each, inflation)
    clear = np.isfinite(told.se)
    labels = [label for label, ok in zip(labels, clear, strict=True) if ok]
    if len(labels) < FEWEST_YEARS:
        return yearly, labels, None
    return yearly, labels, year_variance(told.mean[clear], told.covariance[np.ix_(clear, clear)],
                                         _process(yearly, labels))


def _year_words(effects: YearEffects | None, moments: YearVariance | None, intervals: int):
    """What to say of the spread between years."""
    if effects is None:
        yield ("how survival differs from year to year cannot be told from "
               f"{intervals} ordinary intervals whose survival can be told")
        return
    low, high = effects.interval
    top = _top(high)
    yield (f"SD of survival between years on the logit scale: {effects.sd:.2f}, with years as "
           f"random effects in the likelihood (used), 95 % profile interval {low:.2f} to {top}; "
           f"{np.sqrt(moments.variance):.2f} from the spread of {intervals} single intervals "
           f"(to compare), {np.sqrt(moments.interval[0]):.2f} to "
           f"{_top(np.sqrt(moments.interval[1]))}")
    if low == 0.0:
        yield (f"{intervals} intervals cannot tell whether years differ at all, nor that they are "
               f"alike: an SD of 0 and one of {top} both fit")


def _top(sd: float) -> str:
    """The upper end of an SD on the logit scale; beyond 5 survival would be 0 or 1 in any year."""
    return f"{sd:.2f}" if sd < 5 else "no end"


def _process(fitted: Fitted, labels) -> np.ndarray:
    """How the luck of years adds up in each interval between visits."""
    steps = fitted.steps
    group = steps.groupby("year")
    whole = group["end"].max()[labels].to_numpy() / YEAR
    # the usual first day of the interval: later releases join it part-way
    begun = group["start"].min()[labels].to_numpy() / YEAR
    return shared_years(begun, whole, turn=census_turn(steps))


def _refit(base: Fitted, data: Data, inflation: float, reading: str = NOT_COUNTED) -> Fitted:
    """The same model, at the same spread of years, for other records."""
    if base.year_sd is None:
        return fit_model(base.model, data, reading=reading, near=base)
    return again(base, data, reading=reading, inflation=inflation)


def _corrected(base, named, keys, inflation, without_loss, losses, data):
    """Apparent survival, and the doubt about what was lost from view in the covariance."""
    if not losses or without_loss is None:
        return {}, named
    plain = _refit(base, without_loss, inflation)
    logits = joint(plain, contrasts_of(plain, keys)).mean
    apparent = {key: float(mean_over_years(x, base.year_sd or 0.0))
                for key, x in zip(keys, logits, strict=True) if key.startswith("survival/")}
    covariance = named.covariance.copy()
    for other in losses.moved():
        less = Data(data.steps, other.keep(data.steps), data.shell_loss)
        lower = _refit(base, less, inflation)
        moved = joint(lower, contrasts_of(lower, keys)).mean - named.mean
        moved = np.where(np.isfinite(moved) & (np.abs(named.mean) < 10), moved, 0.0)
        covariance += np.outer(moved, moved)
    return apparent, replace(named, covariance=covariance)


def _profiles(base: Fitted, named: Joint, keys, inflation: float) -> dict:
    """Profile intervals of rates that are told badly; what lost tags add widens both sides."""
    plain = joint(base, contrasts_of(base, keys), inflation)
    out = {}
    for i, (key, contrast) in enumerate(contrasts_of(base, keys).items()):
        if not (np.isfinite(named.se[i]) and named.se[i] > PROFILE_ABOVE):
            continue
        ends = np.array(profile_interval(base.fit, contrast, inflation=inflation))
        beyond = Z95**2 * max(named.se[i] ** 2 - plain.se[i] ** 2, 0.0)
        moved = np.sqrt((ends - named.mean[i]) ** 2 + beyond)
        out[key] = (float(named.mean[i] - moved[0]), float(named.mean[i] + moved[1]))
    return out


def _limits(base: Fitted, named: Joint, keys, inflation: float) -> dict:
    """Profile limits of rates that sit at 0 or 1."""
    out = {}
    for (key, contrast), se in zip(contrasts_of(base, keys).items(), named.se, strict=True):
        if np.isnan(se) and np.abs(contrast @ base.fit.beta) > AT_BOUNDARY:
            low, high = profile_interval(base.fit, contrast, inflation=inflation)
            out[key] = (float(expit(low)), float(expit(high)))
    return out


def _heard(base: Fitted, data: Data, keys, inflation: float) -> dict:
    """Survival when every heard-only animal was dead by then, and when every one was alive."""
    if not data.steps["status"].eq("heard").any():
        return {}
    ends = []
    wanted = {k: v for k, v in keys.items() if not k.startswith("bad_year/")}
    for reading in (HEARD_DEAD, HEARD_ALIVE):
        fitted = _refit(base, data, inflation, reading)
        logits = joint(fitted, contrasts_of(fitted, wanted)).mean
        spread = [(base.year_sd or 0.0) * k.startswith("survival/") for k in wanted]
        ends.append(mean_over_years(logits, spread))
    return {key: (float(a), float(b)) for key, a, b in zip(wanted, *ends, strict=True)}


def _by_interval(base: Fitted, years, inflation: float) -> list[dict]:
    """Yearly survival of each interval; of a short one, survival over it, with its length."""
    stages = [s for s in dict.fromkeys(base.steps["stage"])]
    group = base.steps.groupby("year")
    whole = group["years"].sum() / group["visit"].count()  # pieces of a step have no visit
    rows = []
    for stage in stages:
        each = {y: survival_contrast(base, stage=stage or None, years={y: 1.0}) for y in years}
        told = joint(base, each, inflation)
        for label, mean, se in zip(told.keys, told.mean, told.se, strict=True):
            value, low, high = expit(mean + np.array([0.0, -Z95, Z95]) * se)
            if whole[label] < SHORT:
                value, low, high = np.array([value, low, high]) ** whole[label]
                label = f"{label} ({whole[label] * YEAR:.0f} days)"
            rows.append({"interval": label, "stage": stage, "value": float(value),
                         "low": float(low), "high": float(high)})
    return rows
