"""Who is wild-born: simulated cohorts, wild births and lost marks; single animals by hand."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from invented import SPECIES, records
from scipy.stats import norm

from pva.estimate.cohorts import MarkKeeping, cohorts, length_on, stocked_at
from pva.estimate.options import Options
from pva.estimate.recruits import DEFINITE, PROBABLE, Judging, judge, wild_chance
from pva.estimate.tag_loss import TagRetention
from pva.estimate.unit_options import UnitOptions

SITE, AREA, UNITS = "Tallow Bend", 600.0, 150
ASYMPTOTE, SPREAD, RATE, ERROR = 82.0, 5.0, 0.16, 1.2
TAG, PAINT = 0.95, 0.8  # kept after a year
CURVE_SE = (1.5, 0.05)  # of the asymptote, and of the log rate


def curve(asymptote=ASYMPTOTE, rate=RATE):
    """What judging needs of a fitted curve."""
    return SimpleNamespace(
        asymptote_mm=asymptote, rate=rate, asymptote_sd_mm=SPREAD, measurement_sd_mm=ERROR,
        covariance=np.diag([CURVE_SE[0] ** 2, CURVE_SE[1] ** 2, 0.01, 0.01]), curves={},
        growth_lost_years=None)


def kept():
    return MarkKeeping(TagRetention(np.log([TAG / (1 - TAG), 9.0]), np.zeros(2), np.eye(2) * 0.01,
                                    100, 100, 10), PAINT)


# released (years before the survey), age when released, number, mark, chance that it sits a year
BATCHES = ((3.2, 1.0, 400, "tag", TAG), (2.2, 1.0, 900, "batch_mark", PAINT),
           (1.2, 1.0, 700, "batch_mark", PAINT), (1.2, 2.0, 300, None, 0.0))


def survey(rng, births, batches=BATCHES):
    """One simulated survey in July: (unit, length, wild-born) of the unmarked animals found."""
    ages, lost, wild = [], [], []
    for years, age, number, mark, sits in batches:
        alive = rng.random(number) < 0.75**years
        ages.append(np.full(alive.sum(), years + age))
        lost.append(rng.random(alive.sum()) > (sits**years if mark else 0.0))
        wild.append(np.zeros(alive.sum(), bool))
    for years in np.arange(0.05, 8):
        born = rng.poisson(births * 0.7**years)
        ages.append(np.full(born, years))
        lost.append(np.ones(born, bool))
        wild.append(np.ones(born, bool))
    ages, lost, wild = map(np.concatenate, (ages, lost, wild))
    own = rng.normal(ASYMPTOTE, SPREAD, ages.size)
    length = own * -np.expm1(-RATE * ages) + rng.normal(0, ERROR, ages.size)
    dug = (rng.random(ages.size) < 0.25 * UNITS / AREA) & lost & (length > 4)
    return rng.integers(UNITS, size=dug.sum()), length[dug], wild[dug]


def tables(rng, found, batches=BATCHES):
    unit, length, _ = found
    units = [{"survey": "2025", "site": SITE, "date": "2025-07-02", "unit": f"u{k}",
              "area_m2": 0.25, "excavated": True} for k in range(UNITS)]
    animals = [{"survey": "2025", "site": SITE, "unit": f"u{u}", "species": SPECIES,
                "length_mm": x, "status": "alive"} for u, x in zip(unit, length, strict=True)]
    day = np.datetime64("2025-07-02")
    releases = []
    for i, (years, age, number, mark, _) in enumerate(batches):
        own = rng.normal(ASYMPTOTE, SPREAD, 30) * -np.expm1(-RATE * age)
        shares = np.full(30, number // 30)
        shares[: number % 30] += 1
        releases += [{"species": SPECIES, "site": SITE, "date": day - int(365.25 * years),
                      "batch": f"B{i}", "length_mm": x, "number": n, "source": "hatchery",
                      **({mark: "x"} if mark else {})}
                     for x, n in zip(own, shares, strict=True)]
    return records(units=units, animals=animals, releases=releases)


OPTIONS = Options(areas={SITE: AREA}, species=(SPECIES,))


def simulated(seed, studies, births, **changed):
    """Verdicts and truth of many surveys, the curve known with error."""
    rng = np.random.default_rng(seed)
    verdicts, truth, chances = [], [], []
    for _ in range(studies):
        found = survey(rng, births)
        growth = curve(rng.normal(ASYMPTOTE, CURVE_SE[0]), RATE * np.exp(rng.normal(
            0, CURVE_SE[1])))
        judging = Judging(SPECIES, 50.0, growth, kept())
        if changed:
            judging = dataclasses.replace(judging, **changed)
        judged = judge(tables(rng, found), OPTIONS, judging)
        below = found[1] < 50.0
        assert np.allclose(judged["length_mm"], found[1][below])
        verdicts += judged["verdict"].tolist()
        truth += found[2][below].tolist()
        chances += judged["wild"].tolist()
    return np.array(verdicts), np.array(truth), np.array(chances)


@pytest.mark.slow
@pytest.mark.parametrize("seed, studies, births", [(31, 150, 60), (32, 300, 20)])
def test_definite_recruits_are_wild_born(seed, studies, births):
    """At least 99 % of the animals called definite are wild-born (707 of 707 with these seeds),
    although more than 4 in 5 unmarked animals are stocked ones that lost their marks: calling every
    unmarked animal a recruit is wrong. Chances of being wild-born are not promised too high."""
    verdict, wild, chance = simulated(seed, studies, births)
    definite = verdict == DEFINITE
    assert definite.sum() > 200
    assert wild[definite].mean() >= 0.99
    assert wild[verdict == PROBABLE].mean() >= 0.8
    assert wild.mean() < 0.2
    for low, high in ((0.0, 0.2), (0.2, 0.8), (0.8, 1.0)):
        own = (chance >= low) & (chance < high)
        assert own.sum() < 30 or wild[own].mean() > chance[own].mean() - 0.1


def stock(**more):
    return {"species": SPECIES, "site": SITE, "date": "2024-05-01", "batch": "B", "number": 500,
            "length_mm": 24.0, "source": "hatchery", **more}


def test_lost_marks_are_reckoned_with():
    """Tags kept at 0.95 and paint at 0.8 a year: after two years 1 - 0.95^2, 1 - 0.8^2, and both
    lost at once the product; without a word on a mark it counts as lost."""
    keeping = kept()
    rows = [stock(tag="T", animal="T", number=1), stock(batch="P", batch_mark="blue"),
            stock(batch="TP", tag="U", animal="U", number=1, batch_mark="blue"), stock(batch="N")]
    made = {c.name: c for c in cohorts(records(releases=rows))}
    assert made["B"].unmarked(2.0, keeping) == pytest.approx(1 - 0.95**2)
    assert made["P"].unmarked(2.0, keeping) == pytest.approx(1 - 0.8**2)
    assert made["TP"].unmarked(2.0, keeping) == pytest.approx((1 - 0.95**2) * (1 - 0.8**2))
    assert made["N"].unmarked(2.0, keeping) == 1.0
    assert made["TP"].unmarked(2.0, MarkKeeping()) == 1.0


def test_growth_carries_its_error_and_the_spread_of_animals():
    """A year on: 82 - (82 - 24) exp(-0.16); the SD joins batch, asymptotes, curve and length."""
    cohort = cohorts(records(releases=[stock(length_mm=x) for x in (22, 23, 24, 25, 26)]))[0]
    mean, sd = length_on(cohort, cohort.day + 365, curve(), (1, 12))
    left = np.exp(-RATE * 365 / 365.25)
    assert mean == pytest.approx(82 - 58 * left, abs=0.01)
    spread = left * np.std([22, 23, 24, 25, 26], ddof=1) + (1 - left) * SPREAD
    by_curve = ((1 - left) * 1.5) ** 2 + (58 * left * RATE * 0.05) ** 2
    assert sd == pytest.approx(np.sqrt(spread**2 + by_curve + ERROR**2), abs=0.01)


def test_a_batch_without_lengths_is_not_forgotten():
    """By its age on the curve, else by the range of its stage, else it may measure anything."""
    by_age = cohorts(records(releases=[stock(length_mm=np.nan, age=2)]), growth=curve())[0]
    assert by_age.mean_mm == pytest.approx(82 * -np.expm1(-0.32))
    nobody_knows = cohorts(records(releases=[stock(length_mm=np.nan)]))
    told = stocked_at(SITE, nobody_knows[0].day + 100, nobody_knows, growth=curve(),
                      season=(1, 12), keeping=MarkKeeping())
    assert told.as_small(5.0) == (1.0, "B")
    assert told.per_mm(5.0, 50.0) == pytest.approx(500 / 50)


def test_wild_chance_of_one_animal():
    """One animal, e stocked ones expected per mm at its length, 50 mm of possible lengths: the
    chance p solves p = (0.5 + p) / (0.5 + p + 50 e)."""
    p = wild_chance(np.array([0.01]), 50.0)[0]
    assert p == pytest.approx((0.5 + p) / (0.5 + p + 0.5), abs=1e-6)
    assert wild_chance(np.array([0.0]), 50.0)[0] == 1.0
    assert np.isnan(wild_chance(np.array([np.nan]), 50.0)[0])


def test_animals_may_be_washed_down_if_the_study_says_so():
    rows = [stock(site="Quillstone Riffle")]
    units = [{"survey": "2025", "site": SITE, "date": "2025-07-02", "unit": "u1", "area_m2": 0.25,
              "excavated": True}]
    animals = [{"survey": "2025", "site": SITE, "unit": "u1", "species": SPECIES,
                "length_mm": 30.0, "status": "alive"}]
    made = records(releases=rows, units=units, animals=animals)
    km = {SITE: 40.0, "Quillstone Riffle": 44.0}
    for upstream, verdict in ((0.0, DEFINITE), (3.0, DEFINITE), (5.0, "cannot tell")):
        options = dataclasses.replace(OPTIONS, units=UnitOptions(upstream_km=upstream,
                                                                 river_km=km))
        assert judge(made, options, Judging(SPECIES, 50.0, curve()))["verdict"].tolist() == [
            verdict]


def test_a_unit_without_a_date_tells_nothing():
    made = records(releases=[stock()], units=[
        {"survey": "2025", "site": SITE, "date": None, "unit": "u1", "area_m2": 0.25}], animals=[
        {"survey": "2025", "site": SITE, "unit": "u1", "species": SPECIES, "length_mm": 8.0,
         "status": "alive"}])
    assert judge(made, OPTIONS, Judging(SPECIES, 50.0, curve()))["verdict"].tolist() == [
        "cannot tell"]


def test_chance_of_measuring_so_little():
    made = cohorts(records(releases=[stock()]))
    told = stocked_at(SITE, made[0].day + 1, made, growth=None, season=(1, 12),
                      keeping=MarkKeeping())
    assert told.as_small(14.0)[0] == pytest.approx(norm.cdf(-10 / (0.12 * 24)))
