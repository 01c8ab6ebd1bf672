"""Batches without single tags: bounds, never a point."""

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, records
from scipy.stats import beta

from pva.estimate.batch_marks import batch_bounds
from pva.estimate.options import Options
from pva.estimate.run import estimate_records

SITE = "Quillstone Riffle"


def batch_study(rng, *, survival=0.8, number=500, searched=0.4, detection=0.9, shells=0.0):
    """A batch with a yellow dot, looked for one and two years later in a share of the site."""
    met, alive = [], number
    days = pd.to_datetime(["2019-06-01", "2020-06-01"])
    for k, day in enumerate(days):
        dead = rng.binomial(alive, 1 - survival)
        alive -= dead
        for status, count in (("alive", rng.binomial(alive, searched * detection)),
                              ("shell", rng.binomial(dead, shells))):
            met += [{"animal": None, "species": SPECIES, "site": SITE, "visit": f"v{k}",
                     "date": day, "status": status, "batch_mark": "yellow dot"}] * count
    visits = [{"visit": f"v{k}", "site": SITE, "first_date": d, "last_date": d,
               "method": "hand search", "area_m2": 2720.0} for k, d in enumerate(days)]
    return records(encounters=met, visits=visits, releases=[{
        "species": SPECIES, "site": SITE, "date": pd.Timestamp("2018-06-01"), "source": "hatchery",
        "batch": "B1", "batch_mark": "yellow dot", "number": number}])


def test_bounds_are_those_of_the_counts():
    made = batch_study(np.random.default_rng(3), shells=0.5)
    table = batch_bounds(made, {SITE: 6800.0})
    assert table["visit"].tolist() == ["v0", "v1"]
    first = table.iloc[0]
    found, dead = int(first["found"]), int(first["shells"])
    assert first["low"] == pytest.approx(beta.ppf(0.05, found, 500 - found + 1))
    assert first["high"] == pytest.approx(1 - beta.ppf(0.05, dead, 500 - dead + 1))
    assert first["searched"] == pytest.approx(0.4)
    assert first["low_even"] == pytest.approx(first["low"] / 0.4)
    assert first["yearly_low"] == pytest.approx(first["low"] ** (1 / first["years"]))


@pytest.mark.parametrize("column", ["low", "low_even"])
def test_bounds_enclose_the_truth(column):
    """100 studies: both one-sided bounds hold survival since the release (0.8 and 0.64) at least
    92 times of 100 where each may fail 5 times in 100 (false alarm 1 in 500)."""
    rng, inside = np.random.default_rng(11), np.zeros(2)
    for _ in range(100):
        table = batch_bounds(batch_study(rng, shells=0.3), {SITE: 6800.0})
        inside += (table[column] <= [0.8, 0.64]) & (table["high"] >= [0.8, 0.64])
    assert inside.min() >= 92


def test_a_study_of_batches_reaches_level_1_with_bounds_and_no_point():
    made = batch_study(np.random.default_rng(3))
    told = estimate_records(made, Options(species=(SPECIES,), areas={SITE: 6800.0}))
    assert told.level == 1
    estimate = told.rates[f"survival/marked yellow dot @ {SITE}"]
    assert estimate.value is None and estimate.link is None
    assert estimate.interval[0] < 0.8 < estimate.interval[1]
    assert estimate.note.startswith("bounds from a batch mark: animals that lost the mark")
    rows = told.summary()["batch_bounds"]
    assert [r["visit"] for r in rows] == ["v0", "v1"]
