"""Tags and visits: expected standard errors against closed form and against simulated studies."""

from dataclasses import replace

import numpy as np
import pytest

from pva.decide.survival_effort import TagPlan, expected_histories, survival_effort
from pva.errors import CannotCompute, MeaningError
from pva.estimate.fit import Design, fit
from pva.estimate.histories import from_table
from pva.estimate.likelihood import NONE


def studies(rng, plan, number):
    """Capture tables of simulated studies: releases at the first visits, years alike."""
    begun = np.repeat(np.arange(plan.releases), plan.animals)
    over = 1.0 if plan.release_survival is None else plan.release_survival
    step = plan.survival**plan.interval
    for _ in range(number):
        alive = rng.random(begun.size) < over
        table = np.zeros((begun.size, plan.visits + 1), int)
        table[np.arange(begun.size), begun] = 1
        for visit in range(1, plan.visits + 1):
            here = begun < visit
            alive = np.where(here, alive & (rng.random(begun.size) < step), alive)
            seen = here & alive & (rng.random(begun.size) < plan.detection)
            table[seen, visit] = 1
        yield begun, table


def estimates(plan, begun, table):
    """Yearly survival by the package's own fit, and its standard error."""
    h = from_table(table, years=np.full(plan.visits, plan.interval))
    ones = np.ones((plan.visits, 1))
    if plan.release_survival is not None:
        first = h.first[:-1]
        rows = np.full(h.years.size, NONE)
        rows[first] = 0
        h = h._replace(release_row=rows)
        design = Design(survival=ones, detection=ones, release=np.ones((1, 1)))
    else:
        design = Design(survival=ones, detection=ones)
    return fit(h, design).rate("survival", 0)


@pytest.mark.parametrize("plan", [
    TagPlan(animals=150, visits=5, survival=0.85, detection=0.5),
    TagPlan(animals=120, visits=4, releases=2, interval=0.5, survival=0.7, detection=0.4,
            release_survival=0.8),
], ids=["one release", "two releases, release survival its own"])
@pytest.mark.slow
def test_standard_error_is_that_of_simulated_studies(plan):
    """400 studies each: within 10 % (the simulated SD itself is known to 3.5 %)."""
    rng = np.random.default_rng(21)
    found = [estimates(plan, *study) for study in studies(rng, plan, 400)]
    assert survival_effort(plan).se == pytest.approx(np.std(found), rel=0.1)
    assert np.mean(found) == pytest.approx(plan.survival, abs=4 * np.std(found) / 20)
    # a plan that overlooks nobody promises too much
    assert survival_effort(replace(plan, detection=0.95)).se < 0.8 * np.std(found)


def test_few_simulated_studies_agree_roughly():
    """The same with 60 studies, within 30 % (three times the error of the simulated SD)."""
    plan = TagPlan(animals=150, visits=4, survival=0.85, detection=0.6)
    found = [estimates(plan, *study)
             for study in studies(np.random.default_rng(22), plan, 60)]
    assert survival_effort(plan).se == pytest.approx(np.std(found), rel=0.3)


def test_nearly_sure_detection_is_the_binomial():
    """With everybody found, deaths are counted: variance s (1 - s) over animal-years at risk."""
    plan = TagPlan(animals=100, visits=4, survival=0.8, detection=1 - 1e-6)
    at_risk = 100 * sum(0.8**k for k in range(4))
    assert survival_effort(plan).se == pytest.approx(np.sqrt(0.8 * 0.2 / at_risk), rel=1e-3)


def test_expected_counts_add_up():
    """Every animal released or met begins one history; by hand for two visits."""
    plan = TagPlan(animals=100, visits=2, survival=0.9, detection=0.5)
    h = expected_histories(plan)
    first = 100 * 0.45
    assert sorted(h.count.tolist()) == pytest.approx(sorted(
        [first, 100 * 0.9 * 0.5 * 0.45, 100 - first - 20.25, first * 0.45, first * 0.55]))
    assert survival_effort(plan).sightings == pytest.approx(first + 20.25 + first * 0.45)


def test_animals_needed_reach_the_precision_and_years_set_a_floor():
    plan = TagPlan(animals=200, visits=5, survival=0.92, detection=0.4, year_sd=0.03)
    answer = survival_effort(plan, precision=0.02)
    assert answer.se_years == pytest.approx(0.03 / np.sqrt(5))
    assert survival_effort(replace(plan, animals=answer.animals_needed)).se <= 0.02
    assert survival_effort(replace(plan, animals=answer.animals_needed - 1)).se > 0.02
    assert survival_effort(plan, precision=0.013).animals_needed is None
    assert [r["visits"] for r in answer.table] == list(range(2, 9))
    errors = [r["se"] for r in answer.table]
    assert errors == sorted(errors, reverse=True)


def test_lost_tags_cost_precision():
    plan = TagPlan(animals=200, visits=5)
    assert survival_effort(replace(plan, tag_kept=0.9)).se > survival_effort(plan).se


def test_one_visit_is_refused():
    with pytest.raises(CannotCompute) as caught:
        survival_effort(TagPlan(animals=100, visits=1))
    assert str(caught.value) == (
        "one visit cannot tell an animal that died from one that was overlooked. Nothing was "
        "computed. Plan two visits after the first release, or more.")
    with pytest.raises(MeaningError, match="3 visits, 4 releases"):
        survival_effort(TagPlan(animals=100, visits=3, releases=4))
