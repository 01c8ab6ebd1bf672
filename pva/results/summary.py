"""The short answer of a run as a plain dictionary: null where a thing does not apply, never NaN."""

from __future__ import annotations

import json
import math

import numpy as np
import xarray as xr

from pva.results.red_list import criterion_e
from pva.results.uncertainty import verdict


def plain(value):
    """Numbers, lists and texts that JSON can hold; NaN and infinity become None."""
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def run_summary(data: xr.Dataset) -> dict:
    """Summary of a run's data set, as written beside it.

    Parameters
    ----------
    data : xarray.Dataset
        From `pva.run` or read back from its NetCDF file.

    Returns
    -------
    dict
        Keys as in the design (summary.json); lists run over years.
    """
    extinction = _risk(data, "extinction")
    quasi = {"threshold": data.attrs["adults_below"], "from": data.attrs["risk_counted_from"]}
    return plain({
        "scenario": data.attrs["title"],
        "digest": data.attrs["digest"],
        "seed": int(data.attrs["seed"]),
        "draws": int(data.attrs["draws"]),
        "replicates": int(data.attrs["replicates"]),
        "independent_runs": int(data.attrs["independent_runs"]),
        "years": data.year.values,
        "extinction": extinction,
        "quasi_extinction": quasi | _risk(data, "quasi_extinction"),
        "goals": _goals(data),
        "all_goals": _all_goals(data),
        "survey_goals": json.loads(data.attrs.get("survey_goals", "[]")),
        "adults": _adults(data),
        "growth_rate": float(data.growth_rate),
        "stochastic_growth_rate": {"log": float(data.stochastic_growth_log),
                                   "se": float(data.stochastic_growth_log_se),
                                   "small_noise_log": float(data.stochastic_growth_small_noise)},
        "generation_time_years": float(data.generation_time),
        "least_adults": float(data.least_adults),
        "red_list_e": criterion_e(extinction["chance"], float(data.generation_time),
                                  first=int(data.year.values[0]), from_year=quasi["from"]),
        "variance_share": _shares(data)[0],
        "variance_shares": _shares(data),
        "depends_on": _depends_on(data),
        "measures": _measures(data),
        "versions": json.loads(data.attrs["versions"]),
        "random_numbers": data.attrs["random_numbers"],
        "input_digests": json.loads(data.attrs["input_digests"]),
        "date": data.attrs["date"],
        "warnings": json.loads(data.attrs["warnings"]),
    })


def _risk(data, name):
    low, high = data[f"{name}_interval"].values
    draw_low, draw_high = data[f"{name}_draw_interval"].values
    return {"year": data.year.values, "chance": data[f"{name}_chance"].values, "low": low,
            "high": high, "draw_low": draw_low, "draw_high": draw_high}


def _goals(data):
    rows = []
    for i, name in enumerate(data.goal.values):
        low, high = data.goal_interval.values[:, i]
        draw_low, draw_high = data.goal_draw_interval.values[:, i]
        rows.append({"name": str(name), "chance": data.goal_chance.values[i], "low": low,
                     "high": high, "draw_low": draw_low, "draw_high": draw_high,
                     "verdict": _verdict(data, (low, high), (draw_low, draw_high)),
                     "first_success_by_half": _half(data, "first_success", i),
                     "lasting_success_by_half": _half(data, "lasting_success", i)})
    return rows


def _half(data, name, goal):
    """First year by which half of all replicates had succeeded; null if they never do."""
    share = np.cumsum(data[name].values[goal])
    reached = np.flatnonzero(share >= 0.5)
    return int(data.year.values[reached[0]]) if len(reached) else None


def _all_goals(data):
    if not len(data.goal):
        return dict.fromkeys(("chance", "low", "high", "draw_low", "draw_high", "verdict"))
    low, high = data.all_goals_interval.values
    draw_low, draw_high = data.all_goals_draw_interval.values
    return {"chance": float(data.all_goals_chance), "low": low, "high": high,
            "draw_low": draw_low, "draw_high": draw_high,
            "verdict": _verdict(data, (low, high), (draw_low, draw_high))}


def _verdict(data, simulated, over_draws):
    """By the simulation's interval; by all draws too where a rate is only known to lie in a range.

    A range has no law: the chance averaged over it would rest on how we chose to draw from it.
    """
    low, high = simulated
    if json.loads(data.attrs.get("only_ranges", "[]")) and np.isfinite(over_draws).all():
        low, high = min(low, over_draws[0]), max(high, over_draws[1])
    return verdict(low, high, data.attrs["chance_wanted"])


def _adults(data):
    quantile = {f"q{round(q * 100):02d}": data.adults_quantile.sel(quantile=q).values
                for q in (0.05, 0.25, 0.5, 0.75, 0.95)}
    return {"year": data.year.values, "mean": data.adults_mean.values,
            "se": data.adults_se.values} | quantile


def _measures(data):
    """Mean of every measure by year, whole river."""
    names = [v[:-5] for v in data.data_vars if v.endswith("_mean") and v != "collected_mean"]
    return {name: data[f"{name}_mean"].values for name in names}


def _depends_on(data):
    """Uncertain rates by the strength of their pull on the goals (else on adults) over draws.

    A correlation that draws alike could give by chance (5 % two-sided) is listed but not `clear`.
    """
    least = 1.96 / max(data.sizes["draw"] - 1, 1) ** 0.5
    rows = []
    for i, name in enumerate(data.parameter.values):
        adults, goals = float(data.adults_dependence[i]), float(data.goals_dependence[i])
        pull = adults if math.isnan(goals) else goals
        rows.append({"parameter": str(name), "goals": goals, "adults": adults,
                     "clear": abs(pull) > least})
        rows[-1]["_pull"] = 0.0 if math.isnan(pull) else abs(pull)
    rows.sort(key=lambda r: -r.pop("_pull"))
    return rows


def _shares(data):
    return [{"outcome": str(name)} | dict(zip(data.layer.values.tolist(), row, strict=True))
            for name, row in zip(data.outcome.values, data.variance_share.values, strict=True)]
