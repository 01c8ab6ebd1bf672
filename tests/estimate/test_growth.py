"""Growth from lengths: recovery and coverage, slips of the pen, seasons, transitions."""

import datetime as dt

import numpy as np
import pytest

from pva.estimate.contrasts import Joint
from pva.estimate.growth import _objective, _sizes, fit_growth, growing_time
from pva.estimate.likelihood_growth import Lengths
from pva.estimate.stage_steps import LengthStage, complete
from pva.estimate.transitions import transition_shares, transitions

VISITS = np.array([0.0, 0.9, 2.1, 3.2])


def measured(rng, *, animals=400, asymptote=70.0, rate=0.15, asymptote_sd=5.0, error=2.0,
             any_age=True):
    """Lengths at up to four unequal times; first sizes by age, or 20 to 65 mm whatever the own
    asymptote."""
    first, elapsed, length = [0], [], []
    for _ in range(animals):
        own = rng.normal(asymptote, asymptote_sd)
        begun = own * -np.expm1(-rate * rng.uniform(2, 20)) if any_age else rng.uniform(20, 65)
        times = VISITS[[True, *(rng.random(3) < 0.6)]]
        elapsed += list(times)
        length += list(own - (own - begun) * np.exp(-rate * times)
                       + rng.normal(0, error, times.size))
        first.append(len(elapsed))
    return Lengths(np.array(first), np.array(elapsed), np.array(length),
                   np.zeros(animals, np.int64))


SETTINGS = {
    "any age": {}, "chosen sizes": {"any_age": False},
    "one asymptote for all": {"any_age": False, "asymptote_sd": 0.0},
}


def covered(setting, runs):
    """How often the intervals hold asymptote 70 and rate 0.15, and the mean asymptote."""
    hits, found = np.zeros(2, int), []
    for seed in range(runs):
        growth = fit_growth(measured(np.random.default_rng(seed), **SETTINGS[setting]))
        for i, (name, truth) in enumerate((("asymptote_mm", 70.0), ("rate", 0.15))):
            low, high = growth.interval[name]
            hits[i] += low <= truth <= high
        found.append(growth.asymptote_mm)
    return hits, np.array(found)


def straight_line_asymptote(data):
    """The wrong model: increments against measured first lengths, by least squares."""
    count = np.diff(data.first)
    at = np.repeat(data.first[:-1], count)
    years, begun = data.elapsed, data.length[at]
    use = years > 0
    rates = np.linspace(0.02, 0.5, 400)
    best = None
    for rate in rates:
        part = 1 - np.exp(-rate * years[use])
        gap = data.length[use] - begun[use]
        top = (part @ (gap + begun[use] * part)) / (part @ part)
        loss = ((gap - (top - begun[use]) * part) ** 2).sum()
        if best is None or loss < best[0]:
            best = (loss, top)
    return best[1]


@pytest.mark.parametrize("setting", SETTINGS)
def test_growth_is_recovered(setting):
    """12 runs a setting: each 95 % interval holds in at least 8 (false alarm 1 in 5,000)."""
    hits, _ = covered(setting, 12)
    assert hits.min() >= 8


def test_least_squares_on_increments_is_biased_and_the_joint_model_is_not():
    """Direction as in James 1991 (abstract read): with error on both lengths and one asymptote,
    least squares falls short of 70; the joint model's mean stays within 4 SE."""
    _, found = covered("one asymptote for all", 12)
    plain = [straight_line_asymptote(measured(np.random.default_rng(s), animals=2000,
                                              **SETTINGS["one asymptote for all"]))
             for s in range(4)]
    assert abs(found.mean() - 70) < 4 * found.std() / np.sqrt(found.size)
    assert np.mean(plain) < 69.2


@pytest.mark.slow
@pytest.mark.parametrize("setting", SETTINGS)
def test_growth_intervals_hold_the_truth(setting):
    """200 runs: 95 % intervals hold in at least 179 (binomial, false alarm 1 in 2,000)."""
    hits, _ = covered(setting, 200)
    assert hits.min() >= 179


def test_gradient_of_the_growth_likelihood():
    data = measured(np.random.default_rng(1), animals=60)
    data = data._replace(group=np.arange(60) % 2)
    negative = _objective(data, _sizes([False, True], 50, 70.0))
    x = np.concatenate([[72, np.log(0.2), np.log(4.0), np.log(2.0), 0.6],
                        0.3 * np.random.default_rng(0).normal(size=7), [45.0, 1.5]])
    exact = negative(x)[1]
    for i in range(x.size):
        step = np.zeros(x.size)
        step[i] = 1e-5
        rough = (negative(x + step)[0] - negative(x - step)[0]) / 2e-5
        assert exact[i] == pytest.approx(rough, rel=1e-5, abs=1e-4)


def test_a_slip_of_the_pen_is_left_out_and_negative_increments_stay():
    data = measured(np.random.default_rng(5))
    slipped = data.length.copy()
    slipped[data.first[10]] += 25.0
    assert data.first[11] - data.first[10] >= 2
    clean = fit_growth(data)
    growth = fit_growth(data._replace(length=slipped))
    assert growth.notes == (
        "1 animals with a length more than 4.5 error SDs off their curve are left out of growth: "
        "check the lengths and tags",)
    assert growth.measurement_sd_mm == pytest.approx(clean.measurement_sd_mm, abs=0.05)
    assert clean.negative > 50
    assert clean.notes == ()


def test_all_of_a_years_growth_falls_in_its_season():
    days = [dt.date(2020, *d).toordinal() for d in ((1, 15), (3, 31), (7, 16), (10, 31), (12, 31))]
    times = growing_time(np.array(days), (4, 10)) - 2020
    assert times[:2] == pytest.approx([0, 0], abs=0.01)
    assert times[2] == pytest.approx(0.5, abs=0.01)
    assert times[3:] == pytest.approx([1, 1], abs=0.01)
    around = growing_time(np.array(days), (11, 2)) - 2020
    assert np.all(np.diff(around) >= -1e-12) and around[-1] < 1.0


def walked(rng, animals=60_000):
    """Animals of a steady population followed one by one: share of surviving subadults that are
    adults a year later."""
    age = 1.0 + rng.random(animals)
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
