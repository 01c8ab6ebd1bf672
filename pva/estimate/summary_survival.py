"""Parts of the summary about survival models: the table, effects, years, averages, fit."""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from pva.estimate.entangled import products
from pva.estimate.link_scale import Z95
from pva.estimate.survival import levels_told, weights


def model_rows(result, species: str) -> list[dict]:
    """The table of models, best first; what a model knows only as a product, in words."""
    shares = weights(result.models) if result.models else []
    return [
        {"name": m.name, "parameters": m.fit.rank, "loglik": m.fit.loglik, "aicc": m.aicc,
         "weight": float(w), "species": species or None, "reported": i == 0,
         "overdispersion": result.inflation,
         "only_together": [] if levels_told(m) else [p.words for p in products(m)]}
        for i, (m, w) in enumerate(zip(result.models, shares, strict=True))
    ]


def effect_rows(result, species: str) -> list[dict]:
    """Parameters of the reported model, logit scale; levels of a factor as differences from their
    mean, slopes of a length per 10 mm, of effort and passes per factor e."""
    if not result.models:
        return []
    fitted = result.models[0]
    se = np.sqrt(np.diag(fitted.fit.covariance) * result.inflation)
    return [{"name": name, "logit": float(b), "se": float(s), "low": float(b - Z95 * s),
             "high": float(b + Z95 * s), "species": species or None}
            for name, b, s in zip(fitted.laid.design.names, fitted.fit.beta, se, strict=True)]


def year_row(result) -> dict | None:
    """Spread of survival between years, logit scale, by both ways of estimating it."""
    if result.rates is None or result.rates.effects is None:
        return None
    effects, moments = result.rates.effects, result.rates.moments
    return {"sd": effects.sd, "low": effects.interval[0], "high": effects.interval[1],
            "used": "years as random effects in the likelihood",
            "years": list(effects.years), "intervals": int(moments.weights.size),
            "sd_of_single_intervals": float(np.sqrt(moments.variance)),
            "low_of_single_intervals": float(np.sqrt(moments.interval[0])),
            "high_of_single_intervals": float(np.sqrt(moments.interval[1])),
            "told": effects.interval[0] > 0}


def average_rows(result) -> list[dict]:
    """Rates averaged over models, logit scale, beside those of each model."""
    told = result.averaged
    if told is None:
        return []
    return [{"name": key, "logit": float(told.joint.mean[i]), "se": float(told.joint.se[i]),
             "models": [{"name": m, "weight": float(w), "logit": float(x)} for m, w, x in
                        zip(told.models, told.weights, told.single[:, i], strict=True)]}
            for i, key in enumerate(told.joint.keys)]


def fit_row(result) -> dict | None:
    """How well the animals behave as assumed: each question, all together, and by simulation."""
    test, simulated = result.test, result.simulated
    if test is None:
        return None
    by_question = [
        {"question": question, "chi_square": float(rows["chi_square"].sum()),
         "degrees": len(rows), "p_value": float(chi2.sf(rows["chi_square"].sum(), len(rows)))}
        for question, rows in test.tables.groupby("question")]
    return {"overdispersion": test.overdispersion, "p_value": test.p_value,
            "chi_square": test.chi_square, "degrees": test.degrees,
            "questions": sorted(test.tables["question"].unique()), "by_question": by_question,
            "simulated": simulated and {
                "studies": simulated.studies, "worse": simulated.worse, "seed": simulated.seed,
                "p_value": simulated.p_value, "p_value_error": simulated.p_error,
                "overdispersion": simulated.overdispersion,
                "overdispersion_error": simulated.error, "words": simulated.words}}
