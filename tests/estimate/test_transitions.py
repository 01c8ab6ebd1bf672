"""Steps between stages: against animals followed one by one, a population, published rules."""

import numpy as np
import pytest
from scipy.special import expit
from test_growth import FROM_THE_BED, HATCHERY, measured

from pva.estimate.contrasts import Joint
from pva.estimate.growth_fit import fit_growth
from pva.estimate.stage_duration import consistent_growth_rate, stage_duration_shares
from pva.estimate.stage_steps import LengthStage, complete
from pva.estimate.transitions import DURATION, followed_year, transition_shares, transitions
from pva.files import read_yaml, shipped

CURVE = {"asymptote": 82.0, "rate": 0.16, "spread": 5.0}
SURVIVAL = np.array([0.72, 0.84, 0.94])
LIMITS = np.array([30.0, 50.0])


def walked(rng, animals=60_000):
    """Animals of a steady population followed one by one: share of surviving subadults that are
    adults a year later."""
    age = np.ones(animals)
    own = rng.normal(82, 5, animals)
    alive, moved, stayed = np.ones(animals, bool), 0, 0
    for _ in range(60):
        length, later = own * -np.expm1(-0.16 * age), own * -np.expm1(-0.16 * (age + 1))
        steps = np.linspace(0, 1, 13)[:-1] + 1 / 24
        stage = np.array([np.searchsorted([30, 50], own * -np.expm1(-0.16 * (age + s)))
                          for s in steps])
        chance = np.prod(np.array([0.72, 0.84, 0.94])[stage] ** (1 / 12), axis=0)
        alive &= rng.random(animals) < chance
        inside = alive & (length >= 30) & (length < 50)
        moved += (inside & (later >= 50)).sum()
        stayed += (inside & (later < 50)).sum()
        age += 1
    return moved, stayed


def test_transition_agrees_with_animals_followed_one_by_one():
    """4 binomial SE and 0.005 for the mesh (false alarm below 1 in 10,000)."""
    told = transition_shares(np.array([82.0]), np.array([0.16]), np.array([5.0]),
                             np.array([[0.72, 0.84, 0.94]]), np.array([30.0, 50.0]))[0]
    moved, stayed = walked(np.random.default_rng(3))
    share = moved / (moved + stayed)
    se = np.sqrt(share * (1 - share) / (moved + stayed))
    assert told[1, 2] == pytest.approx(share, abs=4 * se + 0.005)
    assert told.sum(axis=1) == pytest.approx([1, 1, 1])
    assert told[2, 1] == 0.0


@pytest.mark.slow
def test_intervals_of_steps_hold_the_truth():
    """200 studies of 300 animals: the intervals of both steps hold in 179 to 198 (binomial, false
    alarm 1 in 2,000). Survival is told besides with the error of a study that size."""
    stages = complete([LengthStage("juvenile", 0, 30), LengthStage("subadult", 30, 50),
                       LengthStage("adult", 50, 92)])
    links = np.log(SURVIVAL / (1 - SURVIVAL))
    truth = shares()[[0, 1], [1, 2]]
    hits = np.zeros(2, int)
    for seed in range(200):
        rng = np.random.default_rng(seed)
        growth = fit_growth(measured(rng, animals=300, asymptote=82.0, rate=0.16,
                                     kind=FROM_THE_BED))
        error = np.array([0.2, 0.2, 0.15])
        survival = Joint(tuple(f"survival/{s.name}" for s in stages),
                         links + error * rng.normal(size=3), np.diag(error**2))
        told, _ = transitions(growth, stages, survival)
        at = [told.keys.index(f"growth/{name}") for name in ("juvenile", "subadult")]
        half = 1.96 * told.se[at]
        hits += (expit(told.mean[at] - half) <= truth) & (truth <= expit(told.mean[at] + half))
    assert hits.min() >= 179
    assert hits.max() <= 198


def shares(growth_rate=1.0):
    return transition_shares(np.array([82.0]), np.array([0.16]), np.array([5.0]), SURVIVAL[None],
                             LIMITS, growth_rate=growth_rate)[0]


def projection(steps, recruits, survival=SURVIVAL):
    """Before breeding: young of adults enter the first stage."""
    matrix = (steps * survival[:, None]).T
    matrix[0, 2] += recruits
    return matrix


def crude(steps_years):
    """The rule of thumb: one over the years that a stage lasts."""
    steps = np.eye(3)
    for i, years in enumerate(steps_years):
        steps[i, i], steps[i, i + 1] = 1 - 1 / years, 1 / years
    return steps


def grown_population(recruits, years=160):
    """Yearly growth of a population whose animals are followed by age and own asymptote: cohorts of
    one-year-olds live by the stage their length is in, month by month, and adults breed at the
    census. Written apart from the code it checks."""
    own = CURVE["asymptote"] + CURVE["spread"] * np.linspace(-3, 3, 25)
    weights = np.exp(-0.5 * np.linspace(-3, 3, 25) ** 2)
    weights /= weights.sum()
    ages = np.arange(1, 120)
    length = own[:, None] * -np.expm1(-CURVE["rate"] * ages)
    months = (np.arange(12) + 0.5) / 12
    inside = own[:, None, None] * -np.expm1(-CURVE["rate"] * (ages[:, None] + months))
    yearly = np.prod(SURVIVAL[np.searchsorted(LIMITS, inside, side="right")] ** (1 / 12), axis=2)
    numbers, total = np.zeros(length.shape), []
    numbers[:, 0] = weights
    for _ in range(years):
        young = recruits * numbers[length >= LIMITS[1]].sum()
        numbers[:, 1:] = numbers[:, :-1] * yearly[:, :-1]
        numbers[:, 0] = young * weights
        total.append(numbers.sum())
    return total[-1] / total[-2]


@pytest.mark.parametrize("recruits", [0.1, 0.35, 0.9])
def test_steps_reproduce_the_growth_rate_of_the_population_and_the_crude_rule_does_not(recruits):
    """Shrinking, steady and growing. Steps and yearly survival of animals as a population that
    grows like this one has them give its growth rate to 0.001; with survival while in a stage in
    place of that of a year, to 0.007. One over the duration of a stage is wrong by two to seven
    times that, always upwards."""
    truth = grown_population(recruits)

    def exact(growth_rate):
        steps, yearly = followed_year(np.array([82.0]), np.array([0.16]), np.array([5.0]),
                                      SURVIVAL[None], LIMITS, growth_rate=growth_rate)
        return projection(steps[0], recruits, yearly[0])

    assert consistent_growth_rate(exact) == pytest.approx(truth, abs=0.001)
    told = consistent_growth_rate(lambda rate: projection(shares(rate), recruits))
    assert told == pytest.approx(truth, abs=0.007)
    ages = -np.log1p(-LIMITS / CURVE["asymptote"]) / CURVE["rate"]
    years = np.diff(np.concatenate([[1.0], ages]))
    wrong = np.abs(np.linalg.eigvals(projection(crude(years), recruits))).max()
    assert wrong > truth + 2 * abs(told - truth)
    assert wrong > truth + 0.004


def test_a_step_in_a_growing_population_is_smaller():
    """Young animals are more numerous in every stage, and they are the furthest from the next."""
    steady, growing = shares(1.0), shares(1.1)
    assert growing[0, 1] < steady[0, 1]
    assert growing[1, 2] < steady[1, 2]


def test_stage_duration_formula_gives_the_published_entries():
    """Crouse, Crowder & Caswell 1987, see shared/checks/stage_duration.yaml."""
    known = read_yaml(shipped("shared/checks/stage_duration.yaml"))[0]
    survival, years = np.array(known["annual_survival"]), known["duration_years"]
    moving = stage_duration_shares(survival, years)
    assert survival * (1 - moving) == pytest.approx(known["stay"], abs=known["tolerance"])
    assert (survival * moving)[:3] == pytest.approx(known["move_on"], abs=known["tolerance"])


def test_stage_duration_with_the_populations_own_growth_rate():
    known = read_yaml(shipped("shared/checks/stage_duration.yaml"))[0]
    told = consistent_growth_rate(lambda rate: loggerhead(known, rate))
    assert told == pytest.approx(known["growth_rate_when_iterated"], abs=1e-6)


def loggerhead(known, growth_rate):
    """The published matrix with its four lasting stages by the rule."""
    matrix = np.array(read_yaml(shipped("shared/checks/loggerhead.yaml"))[0]["matrix"], float)
    survival = np.array(known["annual_survival"])
    moving = stage_duration_shares(survival, known["duration_years"], growth_rate)
    for i, stage in enumerate(known["stages_counted_from_0"]):
        matrix[stage, stage] = survival[i] * (1 - moving[i])
        if stage + 1 < len(matrix):
            matrix[stage + 1, stage] = survival[i] * moving[i]
    return matrix


def test_stage_duration_as_named_alternative():
    """Same curve, other rule: the steps are those of the formula, and differ from the animals'."""
    growth = fit_growth(measured(np.random.default_rng(7), asymptote=82.0))
    stages = complete([LengthStage("subadult", 30, 50), LengthStage("adult", 50, 92)])
    survival = Joint(("survival/subadult", "survival/adult"), np.array([1.6, 2.7]),
                     np.diag([0.15, 0.2]) ** 2)
    told, by_rule = transitions(growth, stages, survival, rule=DURATION)
    years = growth.years_to(50) - growth.years_to(30)
    assert by_rule[1, 2] == pytest.approx(
        float(stage_duration_shares(expit(1.6), years)), abs=1e-9)
    _, followed = transitions(growth, stages, survival)
    assert abs(by_rule[1, 2] - followed[1, 2]) > 0.005
    assert 0 < told.se[told.keys.index("growth/subadult")] < 0.5


def test_transitions_carry_the_doubt_of_growth_and_survival():
    growth = fit_growth(measured(np.random.default_rng(7), asymptote=82.0))
    stages = complete([LengthStage("subadult", 30, 50), LengthStage("adult", 50, 92)])
    survival = Joint(("survival/subadult", "survival/adult"), np.array([1.6, 2.7]),
                     np.diag([0.15, 0.2]) ** 2)
    told, _ = transitions(growth, stages, survival)
    assert told.keys[:2] == survival.keys
    assert set(told.keys[2:]) >= {"growth/under 30 mm", "growth/subadult"}
    assert np.linalg.eigvalsh(told.covariance).min() > -1e-10
    assert 0 < told.se[told.keys.index("growth/subadult")] < 0.5


def test_animals_that_do_not_differ_leave_the_steps_told():
    """A spread of asymptotes at its limit has no curvature; taken for free it made a step anything
    from 0.01 to 0.54."""
    stages = complete([LengthStage("subadult", 20, 50), LengthStage("adult", 50, 92)])
    survival = Joint(("survival/subadult", "survival/adult"), np.array([1.7, 2.7]),
                     0.01 * np.eye(2))
    growths = [fit_growth(measured(np.random.default_rng(seed), animals=150, asymptote_sd=0.0,
                                   error=1.0, kind=HATCHERY)) for seed in range(4)]
    alike = [g for g in growths if g.asymptote_sd_mm == 0.0]
    assert alike
    for growth in alike:
        assert (growth.covariance[2] == 0).all()
        assert np.linalg.eigvalsh(growth.covariance).min() > -1e-9
        told, _ = transitions(growth, stages, survival)
        at = told.keys.index("growth/subadult")
        assert 0.0 < told.se[at] < 0.3
