"""What is said of survival where little is known: readings, limits, products, averages, fit."""

import re

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, empty, marked_study
from scipy.special import expit
from simulated import batches, simulate, yearly_visits

from pva.estimate import read_estimates, write_estimates
from pva.estimate.averaging import average
from pva.estimate.coding import HEARD_ALIVE, HEARD_DEAD, NOT_COUNTED
from pva.estimate.contrasts import Joint, detection_limit, joint, survival_contrast
from pva.estimate.entangled import products
from pva.estimate.fit_simulation import simulate_fit
from pva.estimate.fit_tests import fit_test
from pva.estimate.models import Model
from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.estimate.source_differences import source_differences
from pva.estimate.survival import aicc, fit_model, levels_told
from pva.estimate.survival_rates import SurvivalRates, as_profiled, survival_rates
from pva.lifehistory.rates import PROBABILITY, LinkMoments, Rate
from pva.model.draws import DrawTable
from pva.scenario.resolved import JointCovariance

PLAIN = Options(species=(SPECIES,))
VISITS = ["2019-08-15", "2020-10-01", "2022-07-20", "2023-09-10"]
RELEASES = [("2018-09-01", 150, "hatchery"), ("2019-09-20", 150, "hatchery")]


def test_a_season_of_short_intervals_gives_survival_with_its_length_and_no_year():
    """Visits ten days apart, survival .9 over ten days: the yearly figure would be .02."""
    days = [f"2019-08-{d:02d}" for d in (11, 21, 31)]
    made = marked_study(np.random.default_rng(5), releases=[("2019-08-01", 200, "hatchery")],
                        visits=days, survival=0.9**36.525, detection=0.6)
    told = estimate_records(made, Options(species=(SPECIES,), release_separate=False))
    rate = told.rates["survival/all"]
    assert rate.value is None and rate.link is None
    assert rate.note.endswith("over 10 days, the longest time between two visits; nobody can tell "
                              "a year from that")
    assert abs(float(rate.note.split()[0]) - 0.9) < 0.05
    assert "survival/all" not in told.covariance.keys


def test_a_short_interval_among_years_is_shown_with_its_length():
    """Eleven days, then years; survival .75 over the eleven days would be .00007 a year."""
    table = pd.DataFrame({"time": [2010 + 11 / 365.25, 2011.0, 2012.0, 2013.0, 2014.0]})
    animals = batches([2010], 400)
    made = simulate(np.random.default_rng(6), animals=animals, visits=table, survival=0.85,
                    release=0.75, detection=0.8)
    chosen = fit_model(Model(("year",)), made.data())
    rows = {r["interval"]: r["value"] for r in survival_rates(chosen, made.data()).by_interval}
    assert abs(rows["2010-2010 (11 days)"] - 0.75) < 0.1
    assert 0.7 < rows["2012-2013"] < 0.95


def test_fifty_heard_records_after_a_shell_change_no_digit():
    made = marked_study(np.random.default_rng(8), releases=RELEASES, visits=VISITS, survival=0.85,
                        detection=0.6, heard=0.1)
    met = made.encounters
    gone = sorted(set(made.releases["tag"]) - set(met["tag"]))[:25]
    shells = [{"animal": t, "tag": t, "species": SPECIES, "site": "Quillstone Riffle",
               "visit": "v1", "date": pd.Timestamp(VISITS[1]), "status": "shell"} for t in gone]
    heard = [{**row, "visit": f"v{k}", "date": pd.Timestamp(VISITS[k]), "status": "heard"}
             for row in shells for k in (2, 3)]
    assert len(heard) == 50

    def told(rows):
        more = pd.concat([met, empty("encounters", rows)], ignore_index=True)
        return estimate_records(type(made)(**{**made.__dict__, "encounters": more}), PLAIN)

    before, after = told(shells), told([*shells, *heard])
    assert before.summary()["survival"] == after.summary()["survival"]
    assert before.summary()["models"] == after.summary()["models"]
    np.testing.assert_array_equal(before.covariance.matrix, after.covariance.matrix)


def test_readings_of_heard_tags_enclose_the_truth():
    """60 studies in which living and dead animals are heard: in at least 54 the true survival lies
    between all heard-only animals dead by then and all alive (trials with an independent
    implementation: 95 %). Treating them as unseen is no lower bound: above the truth often."""
    rng = np.random.default_rng(19)
    enclosed = unseen_above = 0
    model = Model((), (), (), True)
    for _ in range(60):
        made = simulate(rng, animals=batches(range(2010, 2013), 60),
                        visits=yearly_visits(2011, 2016), survival=0.88, detection=0.6,
                        release=0.85, heard=0.2, heard_dead=0.15)
        low, high, unseen = (fit_model(model, made.data(), reading=r).fit.rate("survival", 0)
                             for r in (HEARD_DEAD, HEARD_ALIVE, NOT_COUNTED))
        enclosed += low <= 0.88 <= high
        unseen_above += unseen > 0.88
    assert enclosed >= 54
    assert unseen_above > 15


def test_detection_that_was_perfect_has_a_one_sided_limit():
    """Every living animal found: n of n where deaths leave no gap; about .05^(1/n)."""
    made = simulate(np.random.default_rng(5), animals=batches([2010, 2011], 60),
                    visits=yearly_visits(2011, 2015), survival=0.8, detection=1.0)
    fitted = fit_model(Model(), made.data())
    assert fitted.fit.stuck.tolist() == [False, True]
    low, high = detection_limit(fitted, np.ones(len(fitted.steps), bool))
    gaps = [(f["status"] == "alive").to_numpy() for _, f in fitted.steps.groupby("follow")]
    chances = sum(np.flatnonzero(g)[-1] for g in gaps if g.any())  # visits before the last sighting
    assert high == 1.0
    assert 0.05 ** (1 / chances) - 0.01 < low < 1.0


def test_a_badly_told_rate_has_a_profile_interval():
    """Few animals: a large standard error; the interval is the profile's, not symmetric on the
    logit scale."""
    made = marked_study(np.random.default_rng(12), releases=[("2018-09-01", 20, "hatchery"),
                                                              ("2019-09-20", 20, "hatchery")],
                        visits=VISITS, survival=0.9, release_survival=0.8, detection=0.7)
    result = estimate_records(made, PLAIN)
    profiles = result.by_species[SPECIES].rates.profiles
    assert profiles
    for key, (low, high) in profiles.items():
        rate = result.rates[key]
        if rate.value is not None and rate.year_sd in (0.0, None):
            assert rate.interval == pytest.approx((expit(low), expit(high)), abs=1e-6)
            assert low < rate.link.mean < high


def test_survival_and_detection_by_year_are_told_as_a_product():
    """The last survival and the last chance of being found: the product, and each between it and
    1; no number for either."""
    made = simulate(np.random.default_rng(2), animals=batches(range(2010, 2014), 80),
                    visits=yearly_visits(2011, 2015), survival=0.8, detection=0.6)
    fitted = fit_model(Model(("year",), ("visit",)), made.data())
    (found,) = products(fitted)
    assert found.words.startswith(
        "survival 2014-2015 and the chance of being found at v4 are known only as their product "
        "over 1 years, 0.")
    assert found.low < 0.48 < found.high
    assert products(fit_model(Model(("year",), ()), made.data())) == []


def test_release_survival_of_one_release_is_told_as_a_product():
    """One release with survival by interval: release and first-interval survival together."""
    made = simulate(np.random.default_rng(3), animals=batches([2010], 300),
                    visits=yearly_visits(2011, 2015), survival=0.85, release=0.7, detection=0.7)
    fitted = fit_model(Model(("year",), (), (), True), made.data())
    (found,) = products(fitted)
    assert "survival 2010-2011 and release survival of hatchery" in found.words
    assert found.low < 0.85 * 0.7 < found.high
    assert not fitted.fit.told[fitted.laid.design.slices["release"]].any()


def test_criterion_allows_for_small_samples_and_overdispersion():
    """-2 log L / c + 2 k + 2 k (k + 1) / (n - k - 1), by hand; c below 1 counts as 1."""
    assert aicc(-100.0, 3, 50) == pytest.approx(200 + 6 + 24 / 46)
    assert aicc(-100.0, 3, 50, 2.0) == pytest.approx(100 + 6 + 24 / 46)
    assert aicc(-100.0, 3, 50, 0.5) == aicc(-100.0, 3, 50)


def test_average_over_two_models_by_hand():
    """Weights .7 and .3; estimates 1 and 2, variances .04 and .09: mean 1.3, unconditional SE
    .7 sqrt(.04 + .09) + .3 sqrt(.09 + .49). What years add (.01) is added once."""
    one, two = (Joint(("a",), np.array([m]), np.array([[v]]))
                for m, v in ((1.0, 0.04), (2.0, 0.09)))
    reported = Joint(("a",), np.array([1.05]), np.array([[0.05]]))
    told = average(reported, [one, two], ["first", "second"], [7, 3])
    assert told.joint.mean[0] == pytest.approx(1.35)
    se = 0.7 * np.sqrt(0.04 + 0.09) + 0.3 * np.sqrt(0.09 + 0.49)
    assert told.joint.covariance[0, 0] == pytest.approx(se**2 + 0.01)
    alone = average(reported, [one], ["first"], [1])
    assert alone.joint.covariance[0, 0] == pytest.approx(0.05)
    unsure = Joint(("a",), np.array([2.0]), np.array([[np.nan]]))
    assert average(reported, [one, unsure], ["first", "second"], [7, 3]).joint == reported


def test_averaged_rates_of_a_study_are_wider_than_those_of_one_model():
    made = marked_study(np.random.default_rng(21), releases=[*RELEASES, (
        "2019-09-20", 60, "Osprey Shoal")], visits=VISITS, survival=0.85, detection=0.6)
    asked = Options(species=(SPECIES,), survival=("source",), detection=())
    plain = estimate_records(made, asked)
    told = estimate_records(made, Options(**{**asked.__dict__, "average": True}))
    averaged = told.by_species[SPECIES].averaged
    assert len(averaged.models) > 1 and averaged.weights.sum() == pytest.approx(1.0)
    key = "survival/all"
    assert told.rates[key].link.mean == pytest.approx(
        plain.rates[key].link.mean + averaged.shift[averaged.joint.keys.index(key)], abs=1e-6)
    assert told.rates[key].link.se != plain.rates[key].link.se
    assert np.linalg.eigvalsh(told.covariance.matrix).min() > -1e-8
    assert any("averaged over" in n for n in told.notes)


def misfit(rng, shy):
    """Share of simulated studies that fit as badly; `shy`: animals once met are seldom met again
    at the next visit."""
    made = simulate(rng, animals=batches(range(2010, 2014), 100),
                    visits=yearly_visits(2011, 2017), survival=0.85, detection=0.6)
    steps = made.steps.copy()
    if shy:
        before = steps["status"].eq("alive") & steps["follow"].eq(steps["follow"].shift(-1))
        dropped = before.shift(fill_value=False) & (rng.random(len(steps)) < 0.6)
        steps.loc[dropped, "status"] = ""
    data = type(made)(steps, made.meetings, made.years).data()
    return simulate_fit(fit_model(Model(), data), data, steps, fit_test(steps), studies=60, seed=4)


def test_fit_against_simulated_studies():
    """A right model: p above .05 (fixed seed); shy animals: not one of 60 studies fits as badly;
    the same seed gives the same answer."""
    good = misfit(np.random.default_rng(31), shy=False)
    assert good.p_value > 0.05 and 0.5 < good.overdispersion < 1.8
    bad = misfit(np.random.default_rng(31), shy=True)
    assert bad.worse == 0 and bad.p_value == pytest.approx(1 / 61)
    assert bad.overdispersion > 2
    assert bad == misfit(np.random.default_rng(31), shy=True)
    assert bad.words.startswith("of 60 studies simulated from the reported model, 0 fit as badly "
                                "as the records or worse (p 0.016, simulation error 0.016)")


def test_simulated_fit_is_asked_for_in_the_study():
    made = marked_study(np.random.default_rng(21), releases=RELEASES, visits=VISITS, survival=0.85,
                        detection=0.6)
    told = estimate_records(made, Options(species=(SPECIES,), fit_simulations=20))
    assert any(n.startswith("of 20 studies simulated") for n in told.notes)
    assert told.by_species[SPECIES].simulated.studies == 20




def test_a_draw_is_correlated_as_the_estimates_are(tmp_path):
    """From records to the file to 4,000 parameter draws: the correlation of survival and release
    survival within 4.9 errors (1 false alarm in a million); it is far from 0."""
    made = marked_study(np.random.default_rng(21), releases=RELEASES, visits=VISITS, survival=0.9,
                        release_survival=0.7, detection=0.6)
    told = estimate_records(made, PLAIN)
    back = read_estimates(write_estimates(told, tmp_path / "estimates.yaml"))
    table = DrawTable(draws=4000, seed=3, unknown=True, covariance=JointCovariance(
        back.covariance.keys, back.covariance.matrix))
    names = ("survival/all", "release/hatchery")
    links = {n: LinkMoments(back.rates[n].link.mean, back.rates[n].link.se) for n in names}
    drawn = [table.link_means(Rate(n, PROBABILITY, back.rates[n].value, estimate=n,
                                   link=links[n])) for n in names]
    matrix = told.covariance.matrix[np.ix_(*[[told.covariance.keys.index(n) for n in names]] * 2)]
    wanted = matrix[0, 1] / np.sqrt(matrix[0, 0] * matrix[1, 1])
    assert wanted < -0.2
    assert np.corrcoef(drawn)[0, 1] == pytest.approx(wanted, abs=4.9 * (1 - wanted**2) / 4000**0.5)
    assert np.std(drawn, axis=1) == pytest.approx(np.sqrt(np.diag(matrix)), rel=0.02)


def two_sources(rng, detection, animals=150):
    """Survival alike in both sources."""
    return simulate(rng, animals=batches([2010, 2011], animals, sources=("hatchery", "river")),
                    visits=yearly_visits(2011, 2015), survival=0.8, detection=detection)


def test_a_difference_that_is_one_of_detection_goes_away_with_its_own():
    """Survival alike, one source seldom seen: with detection shared a difference appears (the wrong
    model), with each source's own it is within 2.5 SE of none, and the sentence says so."""
    made = two_sources(np.random.default_rng(3), lambda a, v: np.where(
        a["source"] == "river", 0.25, 0.75))
    chosen = fit_model(Model(("source",)), made.data())
    (said,) = source_differences(chosen, made.data(), 1.0)
    numbers = [float(x) for x in re.findall(r"(-?\d+\.\d+)", said)]
    assert abs(numbers[0]) > 1.96 * numbers[1]
    assert abs(numbers[2]) < 2.5 * numbers[3]
    assert "with detection shared, " in said and said.endswith(
        "it may come from detection alone: the data cannot tell whether survival or detection "
        "differs")


def test_a_source_hardly_ever_seen_is_said_to_tell_nothing():
    made = two_sources(np.random.default_rng(5), lambda a, v: np.where(
        a["source"] == "river", 0.03, 0.7), animals=60)
    chosen = fit_model(Model(("source",)), made.data())
    (said,) = source_differences(chosen, made.data(), 1.0)
    assert "cannot tell" in said and ("lies between" in said or "cannot be told" in said)


def test_no_sentence_where_sources_are_alike_or_detection_is_apart():
    made = two_sources(np.random.default_rng(5), 0.6)
    for model in (Model(), Model(("source",), ("source",))):
        assert source_differences(fit_model(model, made.data()), made.data(), 1.0) == []


def test_a_rate_at_its_limit_that_tells_nothing_is_no_number():
    """A flood that killed nobody: 25 animals a release cannot tell, 150 leave at most 3 in 10."""
    few, many = (estimate_records(
        marked_study(np.random.default_rng(1), releases=[(d, n, s) for d, _, s in RELEASES],
                     visits=VISITS, survival=0.85, detection=p),
        Options(species=(SPECIES,), bad_years=("2021 flood",))).rates["bad_year/2021 flood"]
        for n, p in ((25, 0.35), (150, 0.6)))
    assert few.value is None and few.link is None
    assert few.note.startswith("cannot be told: sits at its limit, one-sided 95 % limits 0.")
    assert many.value == 1.0 and 0.7 < many.interval[0] < 0.85


def test_a_listed_model_says_what_it_knows_only_together():
    """Three releases and four visits: the model by year and visit is in the table; the notes tell
    its last survival and detection as a product, and so does its row."""
    made = marked_study(np.random.default_rng(21), releases=RELEASES, visits=VISITS, survival=0.85,
                        detection=0.6)
    told = estimate_records(made, PLAIN)
    (note,) = [n for n in told.notes if n.startswith("the model `")]
    assert "are known only as their product over " in note
    row = next(m for m in told.summary()["models"] if m["only_together"])
    assert row["name"] in note and row["only_together"][0] in note and not row["reported"]


@pytest.mark.parametrize("ends", [(1.2, np.inf), (1.2, 7.1), (0.4, 5.1)])
def test_a_scenario_draws_what_the_profile_allows(ends):
    """Release survival near 1 has a curvature that lets a quarter of the draws fall below a half;
    its profile interval does not."""
    flat = Joint(("survival/all", "release/hatchery"), np.array([2.0, 2.83]),
                 np.array([[0.04, -0.4], [-0.4, 21.5]]))
    rates = as_profiled(SurvivalRates(flat, None, {}, {}, {}, [],
                                      profiles={"release/hatchery": ends}))
    drawn = np.random.default_rng(1).multivariate_normal(rates.joint.mean, rates.joint.covariance,
                                                         20_000)
    low, high = np.quantile(expit(drawn[:, 1]), [0.025, 0.975])
    assert abs(low - expit(ends[0])) < 0.06 and abs(high - expit(ends[1])) < 0.06
    assert rates.joint.se[0] == pytest.approx(0.2)
    correlation = np.corrcoef(drawn.T)[0, 1]
    assert correlation == pytest.approx(-0.4 / np.sqrt(0.04 * 21.5), abs=0.03)


def test_survival_of_a_stage_is_that_of_its_own_animals():
    """Only hatchery animals are ever subadult: an average over both sources is none of theirs."""
    made = simulate(np.random.default_rng(3), visits=yearly_visits(2011, 2015), release=0.9,
                    animals=batches([2010, 2011], 200, sources=("hatchery", "Osprey Shoal")).assign(
                        stage=lambda a: np.where(a["source"] == "hatchery", "subadult", "adult")))
    fitted = fit_model(Model(("source",), (), ("source",), True), made.data())
    own = joint(fitted, {"all": survival_contrast(fitted, stage="subadult"),
                         "hatchery": survival_contrast(fitted, stage="subadult", source="hatchery"),
                         "adult": survival_contrast(fitted, stage="adult")})
    assert own.mean[0] == pytest.approx(own.mean[1], abs=1e-12)
    assert abs(own.mean[0] - own.mean[2]) > 1e-6


def test_one_source_at_its_limit_leaves_the_rest_told():
    """Nobody of one source dies after the release. Written as a mean and a difference, both
    parameters then run away; survival and the other source are told all the same."""
    at_limit = 0
    for seed in range(8):
        made = simulate(np.random.default_rng(seed), visits=yearly_visits(2011, 2015),
                        animals=batches([2010, 2011, 2012], 80, sources=("hatchery", "river")),
                        survival=0.85, detection=0.5,
                        release=lambda a: np.where(a["source"] == "hatchery", 0.8, 1.0))
        fitted = fit_model(Model((), (), ("source",), True), made.data())
        assert levels_told(fitted)
        rates = survival_rates(fitted, made.data())
        assert np.isfinite(rates.joint.se[rates.joint.keys.index("survival/all")])
        assert np.isfinite(rates.joint.se[rates.joint.keys.index("release/hatchery")])
        if "release/river" in rates.limits:
            at_limit += 1
            low, high = rates.limits["release/river"]
            assert 0.6 < low < 1 and high == 1.0
            assert fitted.fit.rank == 4  # a rate at its limit was estimated too
    assert at_limit >= 2
