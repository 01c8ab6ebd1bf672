"""The survival that a study reports: by stage, site and source, with years and doubt apart."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import expit

from pva.estimate.coding import HEARD_ALIVE, HEARD_DEAD
from pva.estimate.contrasts import (
    Joint,
    event_contrast,
    joint,
    release_contrast,
    survival_contrast,
    year_labels,
)
from pva.estimate.fit import profile_interval
from pva.estimate.following import YEAR
from pva.estimate.link_scale import mean_over_years
from pva.estimate.survival import YEAR_TERM, Data, Fitted, fit_model
from pva.estimate.tag_loss import TagRetention
from pva.estimate.year_variance import FEWEST_YEARS, YearVariance, shared_years, year_variance


@dataclass(frozen=True)
class SurvivalRates:
    """Rates of one species on the logit scale.

    Parameters
    ----------
    joint : Joint
        Corrected for tag loss where that could be estimated, years and tag loss in the covariance.
    year_sd : float or None
        SD between years, logit scale, shared by all stages; None = could not be told.
    apparent : dict of str to float
        With lost tags counted as deaths, natural scale, mean over years.
    limits : dict of str to tuple
        Profile limits (natural scale) of rates stuck at 0 or 1.
    heard : dict of str to tuple
        Value with all heard-only animals dead by then, and with all alive: readings, not bounds.
    by_interval : list of dict
        Year, stage, value, low, high: for the figure.
    notes : tuple of str
    year_sd_interval : tuple of float or None
        95 % interval of `year_sd`.
    """

    joint: Joint
    year_sd: float | None
    apparent: dict
    limits: dict
    heard: dict
    by_interval: list
    notes: tuple[str, ...] = field(default=())
    year_sd_interval: tuple[float, float] | None = None


def survival_rates(chosen: Fitted, data: Data, *, without_loss: Data | None = None,
                   retention: TagRetention | None = None, inflation: float = 1.0,
                   keys: dict | None = None) -> SurvivalRates:
    """Turn the chosen model into the rates people name.

    Parameters
    ----------
    chosen : Fitted
    data : Data
        What `chosen` was fitted to.
    without_loss : Data, optional
        The same records with no tag loss, for apparent survival.
    retention : TagRetention, optional
        Where `data` allows for tag loss.
    inflation : float
        Overdispersion, at least 1.
    keys : dict, optional
        Wanted keys, as made by `wanted_keys`; all where left out.
    """
    keys = wanted_keys(chosen) if keys is None else keys
    yearly, labels, spread, notes = _with_years(chosen, data, inflation)
    constant = not spread or (not spread.variance and YEAR_TERM not in chosen.model.survival)
    base, years = (chosen, []) if constant else (yearly, labels)
    weights = None if constant else dict(zip(years, spread.weights, strict=True))
    named = joint(base, _contrasts(base, keys, weights), inflation)
    named = _with_process(base, named, keys, spread, years)
    variance = spread.variance if spread else 0.0
    apparent, named = _tag_loss(base, named, keys, weights, variance, without_loss, retention, data)
    limits = _limits(base, named, keys, weights)
    return SurvivalRates(named, np.sqrt(variance) if spread else None, apparent, limits,
                         _heard(chosen, data, keys, variance),
                         _by_interval(yearly, labels, inflation), tuple(notes),
                         tuple(np.sqrt(spread.interval)) if spread else None)


def wanted_keys(fitted: Fitted) -> dict[str, dict]:
    """Keys of the file, and what each stands for in the model."""
    stages = [s for s in dict.fromkeys(fitted.steps["stage"]) if s] or [None]
    keys: dict[str, dict] = {}
    for stage in stages:
        keys[f"survival/{stage or 'all'}"] = {"stage": stage}
    for term in ("site", "source"):
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
    return keys


def _contrasts(fitted: Fitted, keys: dict, years) -> dict[str, np.ndarray]:
    out = {}
    for key, what in keys.items():
        if "release" in what:
            out[key] = release_contrast(fitted, what["release"])
        elif "event" in what:
            out[key] = event_contrast(fitted, what["event"])
        else:
            out[key] = survival_contrast(fitted, years=years, **what)
    return out


def _with_years(chosen: Fitted, data: Data, inflation: float):
    """The fit with years, its ordinary intervals, the spread of years, and what to say of it."""
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
        return yearly, labels, None, [
            f"how survival differs from year to year cannot be told from {len(labels)} ordinary "
            "intervals whose survival can be told"]
    spread = year_variance(told.mean[clear], told.covariance[np.ix_(clear, clear)],
                           _process(yearly, labels))
    top = np.sqrt(spread.interval[1])
    return yearly, labels, spread, [
        f"SD of survival between years on the logit scale: {np.sqrt(spread.variance):.2f} from "
        f"{len(labels)} intervals, 95 % interval {np.sqrt(spread.interval[0]):.2f} to {top:.2f}"]


def _process(fitted: Fitted, labels) -> np.ndarray:
    """How the luck of years adds up in each interval between visits."""
    steps = fitted.steps
    visits = steps.loc[steps["visit"].notna(), "end"].to_numpy(float) / YEAR
    angle = 2 * np.pi * (visits % 1)
    turn = float(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2 * np.pi) % 1)
    group = steps.groupby("year")
    whole = group["end"].max()[labels].to_numpy() / YEAR
    # the usual first day of the interval: later releases join it part-way
    begun = group["start"].min()[labels].to_numpy() / YEAR
    return shared_years(begun, whole, turn=turn)


def _with_process(base, named: Joint, keys, spread: YearVariance | None, years) -> Joint:
    """Add what a handful of years cannot tell about the mean over years."""
    if not spread or not spread.variance or not years:
        return named
    shared = float(spread.weights @ _process(base, years) @ spread.weights) * spread.variance
    is_survival = np.array(["stage" in what for what in keys.values()], float)
    covariance = named.covariance + shared * np.outer(is_survival, is_survival)
    for i, what in enumerate(keys.values()):
        if "event" in what:
            moved = _event_exposure(base, what["event"], named.mean[i])
            covariance[i, i] += spread.variance * moved
    return replace(named, covariance=covariance)


def _event_exposure(base: Fitted, name: str, logit: float) -> float:
    """How strongly the ordinary luck of a bad year's interval moves its relative survival."""
    steps = base.steps[base.steps["bad_year"].eq(name)]
    rows = base.laid.at_steps("survival")[base.steps["bad_year"].eq(name).to_numpy()]
    death = 1 - expit(rows @ base.fit.beta[base.laid.design.slices["survival"]])
    on_log = float((death * steps["years"].to_numpy()).mean())
    return (on_log / max(1 - expit(logit), 1e-3)) ** 2


def _tag_loss(base, named, keys, weights, variance, without_loss, retention, data):
    """Apparent survival, and the doubt about tag loss carried into the covariance."""
    if retention is None or without_loss is None:
        return {}, named
    model = base.model
    plain = fit_model(model, without_loss, pull_years=True, near=base)
    logits = joint(plain, _contrasts(plain, keys, weights)).mean
    apparent = {key: float(mean_over_years(x, np.sqrt(variance)))
                for key, x in zip(keys, logits, strict=True) if key.startswith("survival/")}
    half = np.sqrt(retention.covariance[0, 0])
    kept = expit(retention.logit[0] - half)
    less = Data(data.steps, kept ** data.steps["years"].to_numpy(float), data.shell_loss)
    lower = fit_model(model, less, pull_years=True, near=base)
    moved = joint(lower, _contrasts(lower, keys, weights)).mean - named.mean
    moved = np.where(np.isfinite(moved) & (np.abs(named.mean) < 10), moved, 0.0)
    return apparent, replace(named, covariance=named.covariance + np.outer(moved, moved))


def _limits(base: Fitted, named: Joint, keys, weights) -> dict:
    """Profile limits of rates that sit at 0 or 1."""
    out = {}
    for (key, contrast), se in zip(_contrasts(base, keys, weights).items(), named.se, strict=True):
        touched = np.abs(contrast) > 1e-9
        if np.isnan(se) and touched.any() and base.fit.stuck[touched].any():
            low, high = profile_interval(base.fit, contrast)
            out[key] = (float(expit(low)), float(expit(high)))
    return out


def _heard(chosen: Fitted, data: Data, keys, variance: float) -> dict:
    """Survival when every heard-only animal was dead by then, and when every one was alive."""
    if not data.steps["status"].eq("heard").any():
        return {}
    ends = []
    for reading in (HEARD_DEAD, HEARD_ALIVE):
        fitted = fit_model(chosen.model, data, reading=reading, near=chosen)
        wanted = {k: v for k, v in keys.items() if not k.startswith("bad_year/")}
        logits = joint(fitted, _contrasts(fitted, wanted, None)).mean
        spread = [np.sqrt(variance) * k.startswith("survival/") for k in wanted]
        ends.append(mean_over_years(logits, spread))
    return {key: (float(a), float(b)) for key, a, b in zip(wanted, *ends, strict=True)}


def _by_interval(base: Fitted, years, inflation: float) -> list[dict]:
    stages = [s for s in dict.fromkeys(base.steps["stage"])]
    rows = []
    for stage in stages:
        each = {y: survival_contrast(base, stage=stage or None, years={y: 1.0}) for y in years}
        told = joint(base, each, inflation)
        for label, mean, se in zip(told.keys, told.mean, told.se, strict=True):
            low, high = expit(mean - 1.96 * se), expit(mean + 1.96 * se)
            rows.append({"interval": label, "stage": stage, "value": float(expit(mean)),
                         "low": float(low), "high": float(high)})
    return rows
