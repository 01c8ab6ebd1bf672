"""The past against what was seen: coverage over simulated studies, wrong survival found out."""

import numpy as np
import pytest

from pva.decide.check_data import Crew, compare_count, predict
from pva.decide.outcomes import prepare
from pva.decide.past import Past
from pva.decide.seen import QUADRATS, RECAPTURES, Seen, kept_share
from pva.estimate.fit import Design, fit
from pva.estimate.histories import from_table
from pva.scenario.scenario import Scenario

FIRST, LAST, NUMBER, AREA = 2018, 2023, 500, 2000.0
RELEASED = (2018, 2019, 2020)
SURVIVAL, DETECTION, UNITS, UNIT_M2, CLUMPING = 0.85, 0.5, 150, 0.25, 0.8
WRITTEN = {
    "title": "Past of an invented study", "years": {"first": FIRST, "last": LAST},
    "census": "before breeding", "stages": [{"name": "adult", "breeds": True}],
    "survival": {"adult": {"value": SURVIVAL, "se": 0.01, "source": {"assumed": "test"}}},
    "recruitment": {"per_adult": {"value": 0.0001, "source": {"assumed": "test"}}},
    "bad_years": {"none": "kept simple"},
    "sites": [{"name": "Riffle", "area_m2": AREA, "start": {"adult": 0}}],
    "releases": [{"name": "made", "site": "Riffle", "stage": "adult", "number": NUMBER,
                  "first": RELEASED[0], "last": RELEASED[-1]}],
    "quasi_extinction": {"adults_below": 1, "from": LAST},
    "runs": {"draws": 16, "replicates": 25, "seed": 1},
}


@pytest.fixture(scope="module")
def base():
    return Scenario.from_dict(WRITTEN)


def study(rng):
    """Animals seen at yearly visits (1 = seen, or released), and alive in the last year."""
    begun = np.repeat(RELEASED, NUMBER) - FIRST
    years = LAST - FIRST + 1
    table, alive = np.zeros((begun.size, years), int), np.ones(begun.size, bool)
    table[np.arange(begun.size), begun] = 1
    for year in range(1, years):
        here = begun < year
        alive &= ~here | (rng.random(begun.size) < SURVIVAL)
        table[here & alive & (rng.random(begun.size) < DETECTION), year] = 1
    return table, int(alive.sum())


def estimated(table):
    """Survival and detection, each with its standard error, from all visits but the last."""
    h = from_table(table[:, :-1])
    ones = np.ones((table.shape[1] - 2, 1))
    told = fit(h, Design(survival=ones, detection=ones))
    rates = told.rate("survival", 0), told.rate("detection", 0)
    ses = np.sqrt(np.diag(told.covariance)) * [r * (1 - r) for r in rates]
    return (rates[0], ses[0]), (rates[1], ses[1])


def checked(base, rng, *, wrong=0.0):
    """The two counts of the last year, held out, in their predicted distributions."""
    table, alive = study(rng)
    (survival, se), detection = estimated(table)
    scenario = base.with_changes({"survival.adult.value": survival + wrong,
                                  "survival.adult.se": float(se)})
    mean = alive / AREA * UNIT_M2
    dug = int(rng.poisson(mean * rng.gamma(CLUMPING, size=UNITS) / CLUMPING).sum())
    met = int((table[:, -1] == 1).sum())
    seen = [Seen(RECAPTURES, "Riffle", "last", LAST, met, detection=detection),
            Seen(QUADRATS, "Riffle", "last", LAST, dug, float(UNITS), UNIT_M2)]
    marked = np.array([[NUMBER if FIRST + y in RELEASED else 0.0 for y in range(LAST - FIRST)]])
    ready = prepare(scenario.resolved, seed=int(rng.integers(2**32)), threads=1)
    counts = predict(ready, Past(scenario.resolved, marked, ()), seen,
                     crew=Crew(clumping=CLUMPING))
    return [compare_count(s, p, held_out=True).verdict == "inside"
            for s, p in zip(seen, counts, strict=True)]


@pytest.mark.slow
def test_bands_cover_and_wrong_survival_falls_outside(base):
    """200 simulated studies: the 90 % bands hold 85 to 95 % of the held-out counts (SE of the share
    about 1.5 %); survival taken 0.05 too high puts marked animals outside nearly always."""
    rng = np.random.default_rng(41)
    inside = np.array([checked(base, rng) for _ in range(200)])
    assert 0.85 <= inside.mean() <= 0.95
    assert (inside.mean(axis=0) > 0.83).all()
    wrong = np.array([checked(base, rng, wrong=0.05) for _ in range(60)])
    assert wrong[:, 0].mean() < 0.1


def test_a_few_studies(base):
    """The same with 12 studies: at least 16 of 24 counts inside (fewer: chance below 1 in 1,000
    at 90 %), and hardly a recapture count with survival 0.05 too high."""
    rng = np.random.default_rng(42)
    assert np.array([checked(base, rng) for _ in range(12)]).sum() >= 16
    assert np.array([checked(base, rng, wrong=0.05) for _ in range(6)])[:, 0].sum() <= 3


def test_place_of_a_count():
    """Ties count by half; the ends of the band are inside."""
    predicted = np.arange(101)
    told = compare_count(Seen(QUADRATS, "Riffle", "2023", 2023, 95), predicted, held_out=False)
    assert (told.q05, told.q50, told.q95, told.verdict) == (5, 50, 95, "inside")
    assert told.percentile == pytest.approx(100 * 95.5 / 101)
    above = compare_count(Seen(QUADRATS, "Riffle", "2023", 2023, 96), predicted, held_out=True)
    assert above.verdict == "outside" and above.held_out


def test_tags_kept_by_hand(base):
    """300 released two years ago and 300 one year ago: survivors weigh the tags they keep."""
    marked = np.array([[300.0, 300.0, 0.0, 0.0, 0.0]])
    share = kept_share(base.resolved, marked, survival=0.8, kept=0.9)
    assert share[0, 1] == pytest.approx(0.9)
    assert share[0, 2] == pytest.approx((0.64 * 0.81 + 0.8 * 0.9) / (0.64 + 0.8))
    assert share[0, 0] == 1.0
