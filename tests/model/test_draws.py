"""Parameter draws: laws, joint draws, scrambles, columns that depend on their name alone."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit, logit

from pva.lifehistory.rates import POSITIVE, PROBABILITY, LinkMoments, Rate
from pva.model.addresses import address
from pva.model.draws import SCRAMBLES, DrawTable, column, scramble_of_draw
from pva.scenario.resolved import JointCovariance

DRAWS = 4000


def table(draws=DRAWS, unknown=True, covariance=None, seed=9):
    return DrawTable(draws=draws, seed=seed, unknown=unknown, covariance=covariance)


@pytest.mark.parametrize("draws", [1, 7, 8, 100])
def test_a_column_is_a_latin_hypercube_of_scipy(draws):
    scramble = scramble_of_draw(draws)
    parts = [stats.qmc.LatinHypercube(d=1, seed=np.random.default_rng([address("x"), 5, group]))
             .random(int((scramble == group).sum()))[:, 0] for group in range(scramble[-1] + 1)]
    assert (column("x", draws=draws, seed=5) == np.concatenate(parts)).all()


def test_columns_are_even_and_independent_of_each_other():
    # a false alarm has chance 1e-6 for each pair of the correlations
    columns = {n: column(n, draws=DRAWS, seed=1) for n in ("survival/adult", "growth/young", "x")}
    for values in columns.values():
        assert values.shape == (DRAWS,) and (values > 0).all() and (values < 1).all()
        # Latin hypercube: one point in each of its slices, in each scramble
        groups = scramble_of_draw(DRAWS)
        for group in range(SCRAMBLES):
            own = values[groups == group]
            assert sorted(np.floor(own * len(own))) == list(range(len(own)))
    found = np.corrcoef(list(columns.values()))
    assert np.abs(found[np.triu_indices(3, 1)]).max() < 4.9 / np.sqrt(DRAWS)


def test_a_column_depends_on_its_name_and_seed_alone():
    first = column("survival/adult", draws=50, seed=3)
    column("another", draws=50, seed=3)
    assert np.array_equal(column("survival/adult", draws=50, seed=3), first)
    assert not np.array_equal(column("survival/adult", draws=50, seed=4), first)
    assert not np.array_equal(column("survival/young", draws=50, seed=3), first)


def test_scrambles():
    groups = scramble_of_draw(200)
    assert np.bincount(groups).tolist() == [25] * 8 and (np.diff(groups) >= 0).all()
    assert set(scramble_of_draw(7)) == {0}
    assert np.bincount(scramble_of_draw(11)).min() >= 1 and len(set(scramble_of_draw(11))) == 8


@pytest.mark.parametrize(
    ("rate", "law"),
    [
        (Rate("a", PROBABILITY, 0.9, se=0.03), None),
        (Rate("b", POSITIVE, 2.0, se=1.5), stats.lognorm(s=np.sqrt(np.log1p(0.5625)),
                                                         scale=2 / np.sqrt(1.5625))),
        (Rate("c", PROBABILITY, 0.6, se=0.1, distribution="beta"), stats.beta(13.8, 9.2)),
        (Rate("d", POSITIVE, 5.0, interval=(2.0, 9.0), distribution="uniform"),
         stats.uniform(2, 7)),
        (Rate("e", POSITIVE, 5.0, interval=(0.2, 9.0), distribution="log-uniform"),
         stats.loguniform(0.2, 9)),
        (Rate("f", POSITIVE, 5.0, interval=(2.0, 9.0), distribution="triangular"),
         stats.triang(3 / 7, 2, 7)),
        (Rate("g", POSITIVE, 1.0, se=0.8, distribution="normal"),
         stats.truncnorm(-1.25, np.inf, 1, 0.8)),
    ],
)
def test_laws(rate, law):
    drawn = table().means(rate)
    if law is None:  # default of a probability: mean and SD are those asked for
        assert drawn.mean() == pytest.approx(rate.value, rel=1e-4)
        assert drawn.std() == pytest.approx(rate.se, rel=0.01)
        assert stats.kstest(stats.zscore(logit(drawn)), "norm").pvalue > 1e-6
    else:
        assert stats.kstest(drawn, law.cdf).pvalue > 1e-6
        assert stats.kstest(drawn * 1.2, law.cdf).pvalue < 1e-6  # a wrong law is found out


def test_an_interval_alone_holds_95_of_100_draws():
    for rate in (Rate("a", PROBABILITY, 0.65, interval=(0.45, 0.8)),
                 Rate("b", POSITIVE, 3.0, interval=(0.5, 20.0))):
        drawn = table().means(rate)
        assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx(rate.interval, rel=0.01)


def test_unknown_off_is_the_best_value():
    off = table(unknown=False)
    assert set(off.means(Rate("a", PROBABILITY, 0.65, interval=(0.45, 0.8)))) == {0.65}
    linked = Rate("a", PROBABILITY, 0.9, link=LinkMoments(2.2, 0.3, 0.4), estimate="a")
    assert set(off.link_means(linked)) == {2.2}


def test_estimates_are_drawn_jointly():
    covariance = np.array([[0.09, 0.05, 0.0], [0.05, 0.04, -0.01], [0.0, -0.01, 0.25]])
    names = ("survival/adult", "survival/young", "release/hatchery")
    joint = JointCovariance(names, covariance)
    rates = [Rate(n, PROBABILITY, 0.5, link=LinkMoments(m, covariance[i, i] ** 0.5), estimate=n)
             for i, (n, m) in enumerate(zip(names, (2.0, 1.0, 0.3), strict=True))]
    drawn = np.array([table(covariance=joint).link_means(r) for r in rates])
    assert drawn.mean(axis=1) == pytest.approx([2.0, 1.0, 0.3], abs=2e-3)
    error = np.sqrt((np.outer(np.diag(covariance), np.diag(covariance)) + covariance**2) / DRAWS)
    assert (np.abs(np.cov(drawn) - covariance) < 4.9 * error).all()
    alone = np.array([table().link_means(r) for r in rates])
    assert abs(np.corrcoef(alone)[0, 1]) < 4.9 / np.sqrt(DRAWS)  # without it, independent
    # the order in which estimates are written changes nothing
    order = [2, 0, 1]
    turned = JointCovariance(tuple(names[i] for i in order), covariance[np.ix_(order, order)])
    assert table(covariance=turned).link_means(rates[0]) == pytest.approx(drawn[0], rel=1e-10)


def test_drawn_values_stay_possible():
    drawn = table().means(Rate("a", PROBABILITY, 0.97, se=0.1, distribution="normal"))
    assert ((drawn > 0) & (drawn < 1)).all()
    drawn = expit(table().link_means(Rate("b", PROBABILITY, 0.5, link=LinkMoments(0.0, 5.0))))
    assert ((drawn > 0) & (drawn < 1)).all()
