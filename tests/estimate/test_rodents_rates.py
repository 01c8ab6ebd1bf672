"""Real records from reading to rates: kangaroo rats, many visits, no lengths."""

import sys
from pathlib import Path

import numpy as np
import pytest

import pva

sys.path.insert(0, str(Path(__file__).parents[1] / "field" / "rodents"))
from beside import ABSENT, put_together, there  # noqa: E402

pytestmark = pytest.mark.skipif(not there(), reason=ABSENT)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    return pva.estimate(put_together(tmp_path_factory.mktemp("rodents"), periods=60))


def test_survival_is_given_by_year_and_over_the_longest_interval(told):
    rate = told.rates["survival/all"]
    assert 0 < rate.interval[0] < rate.value < rate.interval[1] < 0.3
    assert "days, the longest time between two visits" in rate.note
    assert "apparent: lost tags count as deaths, leaving the site counts as death" in rate.note


def test_years_stand_for_visits_where_there_are_many(told):
    names = [m["name"] for m in told.summary()["models"]]
    assert "survival constant, detection by year" in names
    assert not any("by visit" in name for name in names)


def test_crude_survival_averages_to_that_of_the_model(told):
    """Visit by visit, weighted by what each tells, within 3 SE of the model's monthly survival."""
    table = told.tables["visit_by_visit"]
    table = table[table["survival_se"] > 0]
    weight = 1 / table["survival_se"] ** 2
    crude = np.average(table["survival"], weights=weight)
    month = told.rates["survival/all"].value ** np.average(table["years"], weights=weight)
    assert (table["survival"] > 1).any()  # not limited to 1
    assert abs(crude - month) < 0.08


def test_weights_are_no_lengths(told):
    refused = {r["what"]: r["why"] for r in told.summary()["refused"]}
    assert refused["growth"] == "0 animals were measured twice"
    assert told.level == 3
    assert told.summary()["level_words"].endswith("no animal was measured twice")
