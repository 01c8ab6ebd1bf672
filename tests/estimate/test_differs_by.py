"""Whatever survival or detection may differ by: a planted effect is recovered from records."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit
from simulated import batches, simulate, yearly_visits

from pva.estimate.choices import detection_choices, survival_choices, what_cannot_differ
from pva.estimate.contrasts import (
    event_contrast,
    joint,
    release_contrast,
    survival_contrast,
    year_labels,
)
from pva.estimate.models import Model
from pva.estimate.survival import choose, fit_model

BEGUN, ENDED = 2010, 2017


def fitted_effect(made, model, kind, term):
    """Estimate and SE of the first parameter of a term."""
    fitted = fit_model(model, made.data())
    names = fitted.laid.design.names
    at = next(i for i, n in enumerate(names) if n.startswith(f"{kind}: {term}"))
    return fitted, float(fitted.fit.beta[at]), float(np.sqrt(fitted.fit.covariance[at, at]))


def animals(rng, number=120):
    made = batches(range(BEGUN, BEGUN + 4), number, sources=("hatchery", "Osprey Shoal"))
    made["site"] = rng.choice(["Lower", "Upper"], len(made))
    made["length"] = np.round(rng.uniform(30, 70, len(made)))
    made["stage"] = np.where(made["length"] < 50, "subadult", "adult")
    return made


def visits():
    return yearly_visits(BEGUN + 1, ENDED, method=["hand", "raft"] * 3 + ["hand"],
                         effort_hours=[5.0, 40, 20, 10, 80, 10, 30], passes=[1, 2, 1, 3, 1, 2, 1])


def second(column, level):
    """+ for one level of a factor, - for the others."""
    return lambda a: np.where(a[column] == level, 1.0, -1.0)


# what the effect is on the logit scale: columns that sum to zero over levels, slopes per unit
LINES = {
    "stage": second("stage", "adult"),
    "site": second("site", "Lower"),
    "source": second("source", "Osprey Shoal"),
    "batch": second("batch", "hatchery 2010"),
    "length": lambda a: (a["length"] - 50) / 10,
}
OF_VISITS = {
    "visit": lambda v: 1.0 if v["time"] == BEGUN + 1 else -1 / 6,
    "method": lambda v: 1.0 if v["method"] == "hand" else -1.0,
    "effort": lambda v: np.log(v["effort_hours"] / 20.0),
    "passes": lambda v: np.log(v["passes"]),
}


@pytest.mark.parametrize("term", LINES)
def test_effect_on_survival_is_recovered(term):
    """A difference of 0.35 per column (batch: of one batch to all others), within 3.5 SE (1 false
    alarm in 2,000); leaving it out must be worse by far."""
    rng = np.random.default_rng(sum(map(ord, term)))
    made = simulate(rng, animals=animals(rng), visits=visits(), detection=0.65,
                    survival=lambda a: expit(1.3 + 0.35 * LINES[term](a)))
    fitted, effect, se = fitted_effect(made, Model((term,)), "survival", _first(term))
    assert fitted.aicc < fit_model(Model(), made.data()).aicc - 10
    if term == "stage":  # the first factor, if it is the stage, has a level for each
        where = fitted.laid.design.names.index("survival: stage subadult")
        effect = (effect - fitted.fit.beta[where]) / 2
        se = 0.5 * np.sqrt(np.array([1, -1]) @ fitted.fit.covariance[:2, :2] @ [1, -1])
    truth = 0.35 * 2 * 7 / 8 if term == "batch" else 0.35
    assert abs(effect - truth) < 3.5 * se
    assert effect > 4 * se


def _first(term):
    return {"batch": "batch hatchery 2010",
            "stage": "stage adult"}.get(term, term)


@pytest.mark.parametrize("term", [*LINES, *OF_VISITS])
def test_effect_on_detection_is_recovered(term):
    """As above, for the chance of being found; effort and passes act by their logarithm."""
    rng = np.random.default_rng(1 + sum(map(ord, term)))

    def detection(a, v):
        line = LINES[term](a) if term in LINES else OF_VISITS[term](v)
        return expit(0.2 + 0.5 * line)

    made = simulate(rng, animals=animals(rng), visits=visits(), survival=0.85,
                    detection=detection)
    first = {"visit": "visit v0"}.get(term, _first(term))
    fitted, effect, se = fitted_effect(made, Model((), (term,)), "detection", first)
    better = 3 if term == "visit" else 10  # five parameters more
    assert fitted.aicc < fit_model(Model(), made.data()).aicc - better
    if term == "stage":
        a, b = (fitted.laid.design.names.index(f"detection: stage {s}")
                for s in ("adult", "subadult"))
        effect = (effect - fitted.fit.beta[b]) / 2
        both = fitted.fit.covariance[np.ix_([a, b], [a, b])]
        se = 0.5 * np.sqrt(np.array([1, -1]) @ both @ [1, -1])
    truth = 0.5 * 2 * 7 / 8 if term == "batch" else 0.5
    assert abs(effect - truth) < 3.5 * se
    assert effect > 3 * se


def test_detection_by_year_knows_each_interval_even_a_bad_one():
    """Detection by year keeps the interval of a bad year, which survival by year leaves to the bad
    year; detection was poor in 2013-2014, the year of a flood."""
    rng = np.random.default_rng(8)
    made = simulate(rng, animals=animals(rng), visits=visits(), survival=0.85, bad=(2013, 0.7),
                    detection=lambda a, v: 0.35 if v["time"] == 2014 else 0.7)
    fitted, effect, se = fitted_effect(made, Model((), ("year",)), "detection", "year 2013-2014")
    assert abs(effect - 6 / 7 * (logit(0.35) - logit(0.7))) < 3.5 * se
    event = joint(fitted, {"flood": event_contrast(fitted, "2013 flood")})
    assert abs(event.mean[0] - logit(0.7)) < 3.5 * event.se[0]


def test_survival_by_year_follows_the_years():
    """Yearly logit survival within 3.5 SE of the truth in every year."""
    rng = np.random.default_rng(14)
    made = simulate(rng, animals=animals(rng), visits=visits(), survival=0.85, year_sd=0.6,
                    detection=0.7)
    fitted = fit_model(Model(("year",)), made.data())
    each = {y: survival_contrast(fitted, years={y: 1.0}) for y in year_labels(fitted)}
    told = joint(fitted, each)
    gap = told.mean - (logit(0.85) + made.years)
    assert (np.abs(gap) < 3.5 * told.se).all()
    assert np.corrcoef(told.mean[:-1], made.years[:-1])[0, 1] > 0.9


def test_release_survival_differs_by_source():
    rng = np.random.default_rng(3)
    made = simulate(rng, animals=animals(rng).drop(columns="stage"), visits=visits(),
                    survival=0.88, detection=0.7,
                    release=lambda a: np.where(a["source"] == "hatchery", 0.6, 0.85))
    fitted = choose(made.data(), survival=(), detection=())[0]
    assert fitted.name == "survival constant, release survival by source, detection constant"
    each = {s: release_contrast(fitted, s) for s in ("hatchery", "Osprey Shoal")}
    told = joint(fitted, each)
    assert (np.abs(told.mean - logit([0.6, 0.85])) < 3.5 * told.se).all()


def test_the_planted_model_is_found_among_those_tried():
    """Asked: site, source, batch, length for survival; method, effort, site for detection. The
    table finds survival by length and detection by effort alone."""
    rng = np.random.default_rng(22)
    made = simulate(rng, animals=animals(rng, 60).drop(columns="stage"), visits=visits(),
                    survival=lambda a: expit(1.5 + 0.5 * LINES["length"](a)),
                    detection=lambda a, v: expit(0.2 + 0.8 * OF_VISITS["effort"](v)))
    best = choose(made.data(), survival=("site", "source", "batch", "length"),
                  detection=("method", "effort", "site"), release_separate=False)[0]
    assert best.model.survival == ("length",)
    assert best.model.detection == ("effort",)


def steps_of(**columns):
    base = {"site": ["A", "A", "B"], "visit": ["v1", "v2", "v1"], "source": "hatchery",
            "batch": ["b1", "b2", "b2"], "stage": "", "year": ["1-2", "2-3", "1-2"],
            "method": "hand", "effort_hours": [3.0, np.nan, 4.0], "passes": np.nan,
            "length": np.nan}
    return pd.DataFrame(base | columns)


def test_what_the_records_do_not_hold_is_told():
    steps = steps_of()
    assert what_cannot_differ("survival", ("source", "length", "site", "species"), steps) == [
        "survival cannot be told by source: all animals are alike",
        "survival cannot be told by length: no animal states it"]
    assert what_cannot_differ("detection", ("method", "passes", "effort"), steps) == [
        "detection cannot be told by method: all visits are alike",
        "detection cannot be told by passes: no visit states it",
        "effort is not stated for 1 visits, which are taken for average ones"]
    assert detection_choices(("method", "passes"), steps)[0] == ()


def test_every_combination_of_three_and_the_corners_of_more():
    steps = steps_of(stage=["adult", "adult", "subadult"], source=["a", "b", "b"],
                     length=[30.0, 40.0, 50.0])
    three = survival_choices(("site", "source", "batch"), steps)
    assert len(three) == 16 and all(s[0] == "stage" for s in three)
    four = survival_choices(("site", "source", "batch", "length"), steps)
    assert ("stage", "length") in four and ("stage", "site", "source", "batch", "length") in four
    assert ("stage", "source", "batch", "length", "year") in four
    assert len(four) == 20
