"""Edge cases of the matrix analysis; published matrices stand in tests/published."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pva.model.analysis import (
    analyse,
    entry_slopes,
    growth_rate,
    rate_effects,
    reproductive_values,
    small_noise_log_growth,
    stable_stages,
    years_to_maturity,
)

U = np.array([[0.4, 0, 0], [0.3, 0.25, 0], [0, 0.55, 0.9]])
F = np.array([[0, 0, 0.35], [0, 0, 0], [0, 0, 0]])


def test_no_recruitment_leaves_the_longest_lived_class():
    found = analyse(U, np.zeros((3, 3)), adults=[False, False, True])
    assert found.growth_rate == pytest.approx(0.9)
    assert found.stable_stages == pytest.approx([0, 0, 1])
    assert found.net_reproductive_rate == 0
    assert found.generation_time_years is None
    assert found.generation_time_from_replacement_years is None
    assert found.elasticities.sum() == pytest.approx(1)


def test_old_animals_that_outlive_a_failing_population_set_the_growth_rate():
    after = np.diag([0.5, 0.97]) + np.array([[0, 0], [0.3, 0]])
    found = analyse(after, np.array([[0.2, 0], [0, 0]]))
    assert found.growth_rate == pytest.approx(0.97)
    assert found.stable_stages == pytest.approx([0, 1])
    assert found.reproductive_values == pytest.approx([1, 0.9])  # 0.27 / 0.3 of a step onward


def test_a_life_that_must_end_has_no_long_run():
    steps = np.array([[0, 0], [0.5, 0]])
    found = analyse(steps, np.zeros((2, 2)), adults=[False, True])
    assert found.growth_rate == 0
    assert found.stable_stages is None and found.elasticities is None
    assert found.damping_ratio is None and found.subdominant is None
    assert found.life_expectancy_years == pytest.approx([1.5, 1])
    assert found.years_to_maturity == 1


def test_two_classes_that_grow_equally_fast():
    apart = analyse(np.diag([0.8, 0.8]), np.zeros((2, 2)), adults=[True, True])
    assert apart.stable_stages == pytest.approx([0.5, 0.5])
    assert apart.damping_ratio == pytest.approx(1)
    in_series = analyse(np.array([[0.8, 0], [0.1, 0.8]]), np.zeros((2, 2)), adults=[True, True])
    assert in_series.stable_stages == pytest.approx([0, 1], abs=1e-9)
    assert in_series.reproductive_values[0] == 1
    assert in_series.sensitivities is None and in_series.elasticities is None


def test_animals_that_live_for_ever_have_no_expectancy():
    found = analyse(np.array([[0, 0], [0.5, 1.0]]), np.array([[0, 0.1], [0, 0]]))
    assert found.growth_rate > 1
    assert found.life_expectancy_years is None and found.net_reproductive_rate is None
    assert found.keyfitz_entropy is None
    assert found.years_to_maturity == 1


def test_years_to_maturity_counts_only_those_that_mature():
    # one of two paths: straight to adult, or a dead end that only costs years
    chances = np.array([[0.5, 0, 0], [0.2, 0.9, 0], [0.1, 0, 0.8]])
    assert years_to_maturity(chances, adults=[False, False, True]) == pytest.approx(2.0)
    assert years_to_maturity(U, adults=[True, True, True]) == 0
    assert years_to_maturity(np.diag([0.5, 0.5]), adults=[False, True]) is None


def test_years_to_maturity_agrees_with_followed_animals():
    # 100,000 followed animals, seed fixed; a 4.5 sigma band has a false-alarm rate of 7e-6
    rng = np.random.default_rng(5)
    stage, matured = np.zeros(100_000, int), []
    for year in range(1, 60):
        luck = rng.random(len(stage))
        stay, move = np.array([0.4, 0.25])[stage], np.array([0.3, 0.55])[stage]
        matured += [year] * int(((stage == 1) & (luck >= stay) & (luck < stay + move)).sum())
        keep = (luck < stay) | ((stage == 0) & (luck < stay + move))
        stage = np.where(luck < stay, stage, stage + 1)[keep]
    error = np.std(matured) / np.sqrt(len(matured))
    mean = years_to_maturity(U, adults=[False, False, True])
    assert abs(np.mean(matured) - mean) < 4.5 * error


def test_census_after_breeding_takes_recruitment_through_survivors():
    after = F @ U
    found = analyse(U, after, adults=[False, False, True])
    assert found.growth_rate == pytest.approx(growth_rate((np.eye(3) + F) @ U))
    assert found.elasticities.sum() == pytest.approx(1)
    assert found.life_expectancy_years == pytest.approx(analyse(U, F).life_expectancy_years)


def test_generation_times_agree_in_a_stationary_population():
    first = analyse(U, F)
    stationary = analyse(U, F / first.net_reproductive_rate)
    assert stationary.growth_rate == pytest.approx(1, abs=1e-12)
    assert stationary.generation_time_from_replacement_years == pytest.approx(
        stationary.generation_time_years
    )


def test_a_stage_nobody_enters_takes_no_part():
    wide = np.zeros((4, 4))
    wide[1:, 1:] = U + F
    assert stable_stages(wide) == pytest.approx([0, *stable_stages(U + F)])
    assert reproductive_values(wide) == pytest.approx([0, *reproductive_values(U + F)])


def test_noise_does_not_pass_for_a_small_worth():
    # killer whale with the stage past breeding put first: its worth is 0, not rounding error
    order = [3, 0, 1, 2]
    matrix = np.array([[0, 0.0043, 0.1132, 0], [0.9775, 0.9111, 0, 0],
                       [0, 0.0736, 0.9534, 0], [0, 0, 0.0452, 0.9804]])[np.ix_(order, order)]
    assert reproductive_values(matrix) == pytest.approx([0, 1, 1.0490448, 1.5713203])
    rng = np.random.default_rng(0)
    for _ in range(20):
        wide = np.zeros((12, 12))
        wide[:6, :6] = rng.random((6, 6)) * 0.05
        wide[6:, 6:] = rng.random((6, 6)) * 3
        wide[:6, 6:] = rng.random((6, 6))
        assert (reproductive_values(wide)[:6] == 0).all()
        assert (stable_stages(wide) > 0).all()


def test_rate_effects_against_finite_differences_of_the_growth_rate():
    def build(rates):
        juvenile, onward, adult, young = rates
        return np.array([[juvenile * (1 - onward), young], [juvenile * onward, adult]])

    at = np.array([0.6, 0.4, 0.9, 0.5])
    found = rate_effects(build, at)
    for place in range(4):
        step = np.zeros(4)
        step[place] = 1e-6
        slope = (growth_rate(build(at + step)) - growth_rate(build(at - step))) / 2e-6
        assert found.sensitivities[place] == pytest.approx(slope, rel=1e-7)
    assert found.elasticities == pytest.approx(found.sensitivities * at / growth_rate(build(at)))


def test_small_noise_growth_against_simulated_years():
    # adult survival and recruitment with SD 0.03 and 0.12, correlation 0.5; 400,000 years;
    # 4.5 standard errors by batches: false-alarm rate 7e-6; the mean matrix alone must fail
    def build(rates):
        matrix = U + F
        matrix[2, 2], matrix[0, 2] = rates
        return matrix

    at, spread = np.array([0.9, 0.35]), np.array([0.03, 0.12])
    covariance = np.outer(spread, spread) * np.array([[1, 0.5], [0.5, 1]])
    root = np.linalg.cholesky(covariance)
    away = np.tensordot(root, entry_slopes(build, at), axes=([0], [0]))
    expected = small_noise_log_growth(build(at), independent=away)
    rng = np.random.default_rng(3)
    state, logs = np.full((3, 4000), 1 / 3), []
    for year in range(130):
        drawn = at[:, None] + np.linalg.cholesky(covariance) @ rng.standard_normal((2, 4000))
        later = (U + F) @ state
        later[2] += (drawn[0] - 0.9) * state[2]
        later[0] += (drawn[1] - 0.35) * state[2]
        size = later.sum(axis=0)
        state = later / size
        if year >= 30:
            logs.append(np.log(size))
    batches = np.mean(logs, axis=0)
    error = batches.std(ddof=1) / np.sqrt(len(batches))
    assert abs(batches.mean() - expected) < 4.5 * error
    assert abs(batches.mean() - np.log(growth_rate(build(at)))) > 4.5 * error


@given(
    st.lists(st.floats(0.05, 0.95), min_size=4, max_size=4),
    st.floats(0.01, 50),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_identities_hold_for_any_three_stage_life(shares, young):
    s1, s2, s3, grow = shares
    chances = np.array([[s1 * (1 - grow), 0, 0], [s1 * grow, s2 * (1 - grow), 0],
                        [0, s2 * grow, s3]])
    births = np.zeros((3, 3))
    births[0, 2] = young
    found = analyse(chances, births)
    matrix = chances + births
    assert found.elasticities.sum() == pytest.approx(1)
    assert matrix @ found.stable_stages == pytest.approx(found.growth_rate * found.stable_stages)
    assert found.reproductive_values @ matrix == pytest.approx(
        found.growth_rate * found.reproductive_values
    )
    assert np.sign(found.net_reproductive_rate - 1) == np.sign(found.growth_rate - 1)
