"""What the engine sums up year by year, against the same read off every replicate's tallies."""

import random
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from success_twin import success_years

from pva.engine import asked
from pva.engine.run import simulate
from pva.errors import CannotCompute
from pva.model.assemble import assemble
from pva.results.fold import Counts, Fold
from pva.results.goals import below_by, extinct_by, judge
from pva.results.measures import MEASURES, measure
from pva.results.run import fold_run, places_of
from pva.scenario.resolved import EACH_SITE, RIVER, Genetics, Goal, QuasiExtinction, Runs

sys.path.insert(0, str(Path(__file__).parents[1] / "twin"))
from random_scenarios import Maker  # noqa: E402

SEED, DRAWS, REPLICATES, PAIRED = 5, 9, 13, 4


def scenario(number):
    """A random scenario with goals of every form on random measures, risks and genetics."""
    chance = random.Random(number)
    found = Maker(chance).resolved()
    names = [s.name for s in found.sites]

    def goal(i):
        name, first = chance.choice(MEASURES), chance.randint(found.first, found.last)
        last, form = chance.randint(first, found.last), chance.randint(0, 2)
        many = chance.randint(1, last - first + 1)
        where = chance.choice([RIVER, EACH_SITE, chance.randint(1, len(names)), tuple(names[-2:])])
        small = name == "heterozygosity" or "share" in name or "ratio" in name or "per" in name
        return Goal(f"goal {i}", name, chance.random() * (1 if small else 60),
                    at_most=chance.random() < 0.4, years=(first, last), where=where,
                    of_years=many if form == 1 else None, running=many if form == 2 else None)

    return replace(
        found, goals=tuple(goal(i) for i in range(chance.randint(0, 4))),
        genetics=Genetics(ne_over_n=0.3, founders=20) if chance.random() < 0.5 else None,
        quasi_extinction=QuasiExtinction(chance.random() * 20,
                                         chance.randint(found.first, found.last),
                                         chance.choice([RIVER, EACH_SITE, len(names)])),
        runs=Runs(draws=DRAWS, replicates=REPLICATES))


def by_draw(values):
    return values.reshape(DRAWS, REPLICATES, *values.shape[1:]).sum(axis=1)


@pytest.mark.parametrize("number", range(40))
def test_fold_is_what_the_tallies_say(number):
    resolved = scenario(number)
    try:
        model = assemble(resolved, seed=SEED)
    except CannotCompute:
        pytest.skip("a calibration that no share can reach")
    places = places_of(resolved, 7.3 if number % 3 else None)
    fold = fold_run(resolved, model, places, seed=SEED, keep=5, paired=PAIRED)
    blocks = simulate(model.plan, model.draws, seed=SEED, replicates=REPLICATES)
    tallies = np.concatenate([b.tallies for b in blocks])
    adults = measure("adults", tallies, places)

    assert np.array_equal(fold.extinct, by_draw(extinct_by(tallies, resolved)))
    assert np.array_equal(fold.below, by_draw(below_by(tallies, resolved)))
    met = [judge(g, tallies, places, resolved) for g in resolved.goals]
    for i, (goal, good) in enumerate(zip(resolved.goals, met, strict=True)):
        assert np.array_equal(fold.goals[:, i], by_draw(good)), goal
        for counted, when in zip((fold.first_success, fold.lasting_success),
                                 success_years(goal, tallies, places, resolved), strict=True):
            assert np.array_equal(counted[i], np.bincount(when, minlength=adults.shape[1] + 1))
    if met:
        assert np.array_equal(fold.all_goals, by_draw(np.logical_and.reduce(met)))
    sums_agree(fold, tallies, places)
    close = np.testing.assert_allclose
    levels = [0.025, 0.3, 0.5, 0.9]
    close(fold.adults.quantiles(levels), np.quantile(adults, levels, axis=0), rtol=1e-12)
    wild = measure("wild_adults", tallies, places)
    close(fold.wild_adults.quantiles(levels), np.quantile(wild, levels, axis=0), rtol=1e-12)
    close(fold.adults.squares(), (adults**2).sum(axis=0), rtol=1e-12)
    close(fold.adults_by_draw, by_draw(adults), rtol=1e-12)
    close(np.array(fold.kept), adults[:5], rtol=1e-12)
    first = np.arange(len(adults)) % REPLICATES < PAIRED
    outcomes = np.array([adults[first, -1], *(good[first] for good in met)])
    close(np.concatenate(fold.outcomes, axis=1), outcomes, rtol=1e-12)


def sums_agree(fold: Fold, tallies, places):
    """Sums and known replicates of every measure by place and year, over all scrambles."""
    sites = tallies.shape[2]
    for p, where in enumerate([None, *(np.array([i]) for i in range(sites))]):
        for m, name in enumerate(MEASURES):
            values = measure(name, tallies, places, where)
            known = ~np.isnan(values)
            assert np.array_equal(fold.sizes[m, :, p].sum(axis=0), known.sum(axis=0)), (name, p)
            np.testing.assert_allclose(fold.sums[m, :, p].sum(axis=0),
                                       np.where(known, values, 0).sum(axis=0), rtol=1e-12,
                                       atol=1e-12, err_msg=f"{name} at place {p}")


@pytest.mark.parametrize("number", [1, 4, 7])
def test_threads_and_blocks_do_not_matter(number):
    resolved = scenario(number)
    model, places = assemble(resolved, seed=SEED), places_of(resolved, 7.3)

    def counts(**how):
        fold = Fold(resolved, places, paired=PAIRED)
        for block in simulate(model.plan, model.draws, seed=SEED, replicates=REPLICATES,
                              asked=fold.asked, **how):
            fold.add(block)
        fold.finish()
        return [fold.extinct, fold.below, fold.goals, fold.all_goals, fold.first_success,
                fold.lasting_success, fold.sizes, fold.adults.quantiles([0.1, 0.5]),
                *np.concatenate(fold.outcomes, axis=1)]

    usual = counts(threads=1)
    for how in ({"threads": 2}, {"threads": 2, "size": 7}, {"threads": 3, "size": 1}):
        for one, other in zip(counts(**how), usual, strict=True):
            assert np.array_equal(one, other), how


@pytest.mark.parametrize("number", [1, 4, 7, 9])
def test_numbers_too_large_for_the_table_are_counted_too(number, monkeypatch):
    """A table that begins narrow, grows to half of what occurs, and is put away now and then."""
    resolved = scenario(number)
    model, places = assemble(resolved, seed=SEED), places_of(resolved, 7.3)
    tallies = np.concatenate([b.tallies for b in simulate(model.plan, model.draws, seed=SEED,
                                                          replicates=REPLICATES)])
    adults = measure("adults", tallies, places)
    widest = max(int(adults.max()) // 2, 2)
    monkeypatch.setattr(asked, "_FIRST_WIDTH", 2)
    monkeypatch.setattr(asked, "_MOST_CELLS", widest * adults.shape[1])
    monkeypatch.setattr(asked, "MOST_COUNTED", 25)
    fold = Fold(resolved, places)
    for block in simulate(model.plan, model.draws, seed=SEED, replicates=REPLICATES, size=10,
                          threads=2, asked=fold.asked):
        fold.add(block)
    fold.finish()
    levels = [0.0, 0.3, 0.5, 0.9, 1.0]
    assert np.allclose(fold.adults.quantiles(levels), np.quantile(adults, levels, axis=0),
                       rtol=1e-14)
    assert fold.adults.squares() == pytest.approx((adults**2).sum(axis=0), rel=1e-12)


def test_counts_are_exact_for_small_large_and_broken_numbers():
    rng = np.random.default_rng(3)
    levels = [0.0, 0.025, 0.5, 0.61, 1.0]
    for scale, tables in ((50, True), (300, True), (1e8, False), (20.0, False)):
        counts = Counts(4)
        values = rng.gamma(2, scale, (4, 9000))
        values = np.floor(values) if scale > 20 else values
        for i, part in enumerate(np.array_split(values, 9, axis=1)):
            if tables and i % 2:
                counts.add_table(np.array([np.bincount(row.astype(int), minlength=9000)
                                           for row in part], np.int32))
            else:
                counts.add(part)
            if i % 3 == 0:
                counts.quantiles(levels)
        np.testing.assert_allclose(counts.quantiles(levels), np.quantile(values, levels, axis=1),
                                   rtol=1e-14)
