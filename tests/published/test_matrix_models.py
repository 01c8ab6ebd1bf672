"""Projection matrices against published results; sources stand in shared/checks/*.yaml."""

import numpy as np
import pytest

from pva.files import read_yaml, shipped
from pva.model.analysis import analyse, small_noise_log_growth


def published(name):
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


def parts(case):
    matrix = np.array(case["matrix"], float)
    recruitment = np.zeros_like(matrix)
    for row, column in case["recruitment_entries"]:
        recruitment[row, column] = matrix[row, column]
    return matrix - recruitment, recruitment


@pytest.fixture(scope="module")
def turtle():
    case = published("loggerhead")
    return case, analyse(*parts(case))


def test_loggerhead_growth_rate_and_next_pair(turtle):
    # Crouse et al. 1987, read: 0.9450309806 and 0.746170195 +- 0.213056539i
    case, found = turtle
    assert found.growth_rate == pytest.approx(case["growth_rate"], abs=1e-9)
    assert found.subdominant == pytest.approx(tuple(case["subdominant_pair"]), abs=1e-9)
    assert np.log(found.growth_rate) == pytest.approx(case["log_growth_rate"], abs=5e-6)
    assert found.damping_ratio == pytest.approx(case["damping_ratio"], abs=5e-6)


def test_loggerhead_stages_and_values(turtle):
    case, found = turtle
    assert found.stable_stages == pytest.approx(case["stable_stages"], abs=5e-6)
    assert found.reproductive_values == pytest.approx(case["reproductive_values"], abs=6e-4)


def test_loggerhead_elasticities(turtle):
    case, found = turtle
    E, expected = found.elasticities, case["elasticities"]
    for stage, value in expected["stay"].items():
        assert E[int(stage), int(stage)] == pytest.approx(value, abs=5e-5)
    steps = [E[i + 1, i] for i in range(4)]
    assert steps == pytest.approx([expected["each_growth_step_before_breeding"]] * 4, abs=5e-5)
    assert E[0].sum() == pytest.approx(expected["recruitment_sum"], abs=5e-5)
    assert E.sum() == pytest.approx(1, abs=1e-12)


def test_loggerhead_lives_and_years(turtle):
    case, found = turtle
    assert found.net_reproductive_rate == pytest.approx(case["net_reproductive_rate"], abs=5e-6)
    assert found.generation_time_years == pytest.approx(case["mean_age_of_parents"], abs=5e-5)
    assert found.generation_time_from_replacement_years == pytest.approx(
        case["generation_years_from_net_reproduction"], abs=5e-5
    )
    assert found.life_expectancy_years[0] == pytest.approx(
        case["life_expectancy_from_first"], abs=5e-5
    )
    assert found.life_variance_years2[0] == pytest.approx(
        case["life_variance_from_first"], abs=5e-5
    )
    assert found.keyfitz_entropy == pytest.approx(case["keyfitz_entropy"], abs=5e-6)


def test_killer_whale_with_a_stage_past_breeding():
    case = published("killer_whale")
    found = analyse(*parts(case))
    assert found.growth_rate == pytest.approx(case["growth_rate"], abs=5e-7)
    assert found.stable_stages == pytest.approx(case["stable_stages"], abs=5e-5)
    assert found.reproductive_values == pytest.approx(case["reproductive_values"], abs=5e-5)
    assert found.reproductive_values[3] == 0
    assert found.elasticities[2, 2] == pytest.approx(case["elasticity_adult_survival"], abs=5e-5)
    assert found.net_reproductive_rate == pytest.approx(case["net_reproductive_rate"], abs=5e-5)
    assert found.generation_time_from_replacement_years == pytest.approx(
        case["generation_years_from_net_reproduction"], abs=5e-4
    )
    assert found.damping_ratio == pytest.approx(case["damping_ratio"], abs=5e-5)


def test_teasel_with_recruitment_into_four_stages():
    case = published("teasel")
    found = analyse(*parts(case))
    assert found.growth_rate == pytest.approx(case["growth_rate"], abs=5e-7)
    assert found.subdominant == pytest.approx(
        (case["subdominant_pair"][0], case["subdominant_pair"][1]), abs=5e-5
    )
    assert found.net_reproductive_rate == pytest.approx(case["net_reproductive_rate"], abs=5e-5)


def test_desert_tortoise():
    case = published("desert_tortoise")
    found = analyse(*parts(case))
    assert found.growth_rate == pytest.approx(case["growth_rate"], abs=5e-7)
    assert found.net_reproductive_rate == pytest.approx(case["net_reproductive_rate"], abs=5e-6)
    assert found.keyfitz_entropy == pytest.approx(case["keyfitz_entropy"], abs=5e-6)


def test_a_life_of_constant_survival():
    case = published("identities")["constant_survival"]
    found = analyse(np.array([[case["survival"]]]), np.array([[0.05]]))
    assert found.life_expectancy_years[0] == pytest.approx(case["life_expectancy"], abs=1e-12)
    assert found.life_variance_years2[0] == pytest.approx(case["life_variance"], abs=1e-10)
    assert found.keyfitz_entropy == pytest.approx(case["keyfitz_entropy"], abs=5e-7)


def good_and_bad():
    rule = published("stochastic_growth")["rule"]
    years = []
    for kind in ("good", "bad"):
        matrix = np.array(rule["growth_entries"], float)
        matrix[2, 2], matrix[0, 2] = rule[kind]["adult_survival"], rule[kind]["recruitment"]
        years.append(matrix)
    return years


def test_small_noise_growth_of_good_and_bad_years():
    # Tuljapurkar 1982; Lima & Rahibe 1994; numbers derived by enumeration
    case = published("stochastic_growth")
    good, bad = good_and_bad()
    half = (good - bad)[None] / 2
    for row in case["years"]:
        found = small_noise_log_growth(
            (good + bad) / 2, carried=half, carry_over=2 * row["same_again"] - 1
        )
        assert found == pytest.approx(row["small_noise"], abs=5e-7)
        mean_only = case["log_growth_of_mean_matrix"]
        exact = row["log_stochastic_growth"]
        assert abs(found - exact) < 0.2 * abs(mean_only - exact)


def test_carried_over_luck_lowers_growth_and_swinging_luck_raises_it():
    # the term without the projection I - w v' has the opposite sign and must fail here
    good, bad = good_and_bad()
    half = (good - bad)[None] / 2
    at = [small_noise_log_growth((good + bad) / 2, carried=half, carry_over=c)
          for c in (-0.6, 0, 0.6)]
    assert at[0] > at[1] > at[2]
