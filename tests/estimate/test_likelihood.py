"""The compiled likelihood against a plain twin that follows one animal by hand."""

import itertools

import numpy as np
import pytest

from pva.estimate.fit import Design, fit, objective
from pva.estimate.histories import from_table, pack
from pva.estimate.likelihood import ALIVE, DEAD, NONE, SHELL, UNSEEN, loglik_and_gradient
from pva.estimate.profiles import profile_interval

SURVIVAL, RELEASE, EVENT = np.array([0.8, 0.6, 0.9]), np.array([0.7]), np.array([0.85])
DETECTION, FOUND = np.array([0.3, 0.55, 0.4]), np.array([0.25])
RATES = SURVIVAL, RELEASE, EVENT, DETECTION, FOUND
YEARS, KEEP, LOSS = (0.4, 1.3, 1.0), (0.98, 0.95, 0.97), 0.6


def chance_by_hand(seen):
    """Sum over the step in which the animal dies (with its release or later) or sheds its tag, and
    that in which its shell leaves the bed."""
    live = [SURVIVAL[k] ** YEARS[k] * (1.0, EVENT[0], 1.0)[k] for k in range(3)]
    total, steps = 0.0, len(seen)
    fates = [("lives", steps), ("lost with the release", 0)]
    for fate, step in [*fates, *itertools.product(("dies", "sheds"), range(steps))]:
        chance = 1.0
        for k in range(step):
            chance *= KEEP[k] * live[k] * (RELEASE[0] if k == 0 else 1.0)
            chance *= {UNSEEN: 1 - DETECTION[k], ALIVE: DETECTION[k]}.get(seen[k], 0.0)
        if fate == "sheds":
            chance *= (1 - KEEP[step]) * all(what == UNSEEN for what in seen[step:])
        elif fate == "lost with the release":
            chance *= KEEP[0] * (1 - RELEASE[0]) * after_death(seen, 0, early=True)
        elif fate == "dies":
            chance *= KEEP[step] * (1 - live[step]) * (RELEASE[0] if step == 0 else 1.0)
            chance *= after_death(seen, step)
        total += chance
    return total


def after_death(seen, step, early=False):
    """Chance of what is seen from the step of death on."""
    if seen[step] == DEAD:
        return 1.0
    total = 0.0
    for gone in range(step, len(seen) + 1):  # the shell is there at the visits before `gone`
        chance = 1.0
        for k in range(step, min(gone + 1, len(seen))):
            lost = LOSS * YEARS[k]
            lasts = (1 - np.exp(-lost)) / lost if k == step and not early else np.exp(-lost)
            chance *= 1 - lasts if k == gone else lasts
        for k in range(step, len(seen)):
            there = {UNSEEN: 1 - FOUND[0], SHELL: FOUND[0]} if k < gone else {UNSEEN: 1.0}
            chance *= there.get(seen[k], 0.0)
        total += chance
    return total


def one_history(seen):
    return pack([steps_of(seen)], shell_loss=LOSS)


def steps_of(seen):
    first, second = (0, NONE, NONE), (NONE, 0, NONE)
    return [
        (YEARS[k], k, first[k], second[k], k, 0, KEEP[k], what) for k, what in enumerate(seen)
    ]


def outcomes():
    """Every history of three visits; nothing is looked at after a shell."""
    for seen in itertools.product((UNSEEN, ALIVE, SHELL), repeat=3):
        if SHELL in seen:
            seen = seen[: seen.index(SHELL) + 1]
        yield seen


@pytest.mark.parametrize("seen", sorted({*outcomes(), (ALIVE, DEAD), (UNSEEN, DEAD)}))
def test_every_history_has_the_chance_worked_out_by_hand(seen):
    expected = chance_by_hand(seen)
    loglik, *_ = loglik_and_gradient(one_history(seen), *RATES)
    if expected == 0.0:
        assert loglik == -np.inf
    else:
        assert loglik == pytest.approx(np.log(expected), abs=1e-12)


def test_chances_of_all_histories_sum_to_one():
    total = sum(np.exp(loglik_and_gradient(one_history(s), *RATES)[0]) for s in set(outcomes()))
    assert total == pytest.approx(1.0, abs=1e-12)


def test_gradient_is_exact():
    rng = np.random.default_rng(3)
    possible = sorted(s for s in {*outcomes(), (ALIVE, DEAD)} if chance_by_hand(s) > 0)
    histories = pack([steps_of(seen) for seen in possible], shell_loss=LOSS)
    design = Design(survival=rng.normal(size=(3, 2)), detection=np.eye(3),
                    release=np.ones((1, 1)), event=np.ones((1, 1)),
                    shell=np.ones((1, 1)))
    negative = objective(histories, design, np.full(design.size, 0.1))
    beta = rng.normal(size=design.size)
    exact = negative(beta)[1]
    for i in range(design.size):
        step = np.zeros(design.size)
        step[i] = 1e-5
        rough = (negative(beta + step)[0] - negative(beta - step)[0]) / 2e-5
        assert exact[i] == pytest.approx(rough, rel=1e-6, abs=1e-6)


def random_history(rng):
    """Up to six steps: releases, bad years, visits with and without a search for shells; it ends
    unseen, alive (an animal that was removed), with its shell, or taken as dead since last seen."""
    steps, size = [], rng.integers(1, 7)
    for k in range(size):
        visited = rng.random() < 0.85
        what = ALIVE if visited and rng.random() < 0.5 else UNSEEN
        last = k == size - 1
        if last and visited and rng.random() < 0.5:
            what = rng.choice([SHELL, DEAD])
        steps.append((rng.uniform(0.1, 3.0), rng.integers(4),
                      rng.integers(2) if k == 0 and rng.random() < 0.7 else NONE,
                      0 if rng.random() < 0.3 else NONE, rng.integers(5) if visited else NONE,
                      rng.integers(2) if what == SHELL or visited else NONE,
                      rng.uniform(0.8, 1.0), what))
    return steps


@pytest.mark.parametrize("seed", range(20))
def test_gradient_of_random_models_is_exact(seed):
    """Against central differences of the log likelihood, on random histories and designs."""
    rng = np.random.default_rng(seed)
    histories = pack([random_history(rng) for _ in range(30)], shell_loss=rng.choice([0.0, 0.7]))
    sizes = {"survival": 4, "release": 2, "event": 1, "detection": 5, "shell": 2}
    design = Design(**{kind: rng.normal(size=(rows, rng.integers(1, rows + 1)))
                       for kind, rows in sizes.items()})
    negative = objective(histories, design, np.zeros(design.size))
    beta = rng.normal(size=design.size)
    value, exact = negative(beta)
    assert value < 1e9  # every history is possible
    for i in range(design.size):
        step = np.zeros(design.size)
        step[i] = 1e-5
        rough = (negative(beta + step)[0] - negative(beta - step)[0]) / 2e-5
        assert exact[i] == pytest.approx(rough, rel=2e-6, abs=2e-6)


def simulate(rng, *, survival, detection, years, animals):
    """Captures of animals released at the first visit."""
    table = np.zeros((animals, len(years) + 1), int)
    table[:, 0] = 1
    alive = np.ones(animals, bool)
    for k, length in enumerate(years):
        alive &= rng.random(animals) < survival**length
        table[:, k + 1] = alive & (rng.random(animals) < detection)
    return table


def covered(rng, years, told_years, runs=60):
    inside, one = 0, np.ones((len(years), 1))
    for _ in range(runs):
        table = simulate(rng, survival=0.9, detection=0.6, years=years, animals=250)
        fitted = fit(from_table(table, years=told_years), Design(survival=one, detection=one))
        estimate, se = fitted.logit("survival", np.ones(1))
        inside += abs(estimate - np.log(9)) < 1.96 * se
    return inside


def test_unequal_intervals_are_covered_and_ignoring_them_fails():
    """60 runs: 95 % intervals hold the truth in at least 50 (binomial, false alarm 1 in 2,000);
    taking the intervals as one year each must miss almost always."""
    years = np.array([2.5, 1.0, 0.5, 3.0])
    assert covered(np.random.default_rng(11), years, years) >= 50
    assert covered(np.random.default_rng(11), years, None) <= 10


def test_a_rate_stuck_at_one_has_a_one_sided_limit():
    """40 animals seen at both later visits, no death in 80 chances: the exact one-sided 95 % limit
    of survival is .05^(1/80)."""
    table = np.ones((40, 3), int)
    fitted = fit(from_table(table), Design(survival=np.ones((2, 1)), detection=np.ones((2, 1))))
    assert fitted.stuck.all()
    assert fitted.rank == 2
    low, high = profile_interval(fitted, np.array([1.0, 0.0]))
    assert high == np.inf
    assert 1 / (1 + np.exp(-low)) == pytest.approx(0.05 ** (1 / 80), abs=2e-4)
