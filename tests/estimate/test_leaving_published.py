"""Live and dead encounters together: a published data set, and leaving told from dying."""

import csv

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, records

from pva.estimate.fit import Design, fit
from pva.estimate.histories import from_steps, pack
from pva.estimate.likelihood import ALIVE, DEAD, NONE, SHELL, UNSEEN, loglik_and_gradient
from pva.estimate.likelihood_joint import joint_loglik_and_gradient
from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.files import read_yaml, shipped

SEEN = {1: ALIVE, 2: SHELL, 3: UNSEEN}
ANYWHERE = Options(species=(SPECIES,), shells_anywhere=True, shells_dated_by_death=True)


@pytest.fixture(scope="module")
def published():
    case, _ = read_yaml(shipped("shared/checks/joint_live_dead.yaml"))
    with open(shipped("shared/checks/" + case["data"]), newline="") as handle:
        rows = [[int(x) for x in row] for row in list(csv.reader(handle))[1:]]
    histories = [row[:-1] for row in rows for _ in range(row[-1])]
    assert len(histories) == case["animals"]
    return case, histories


def test_published_histories_by_the_array_level(published):
    """Kery & Schaub 2012 section 9.5, structure of Burnham 1993 (cited in the file)."""
    case, histories = published
    follow, seen = [], []
    for animal, history in enumerate(histories):
        for what in history[history.index(1) + 1 :]:
            follow.append(animal)
            seen.append(SEEN[what])
            if what == 2:
                break
    zero, none = np.zeros(len(seen), int), np.full(len(seen), NONE)
    rows = {"survival": zero, "release": none, "event": none, "detection": zero, "shell": zero}
    one = np.ones((1, 1))
    fitted = fit(from_steps(follow, np.ones(len(seen)), rows, np.ones(len(seen)), np.array(seen),
                            shell_loss=np.inf),
                 Design(survival=one, detection=one, shell=one, staying=one))
    assert -2 * fitted.loglik == pytest.approx(case["minus_two_log_likelihood"], abs=1e-4)
    value = 1 / (1 + np.exp(-fitted.beta))
    se = np.sqrt(np.diag(fitted.covariance)) * value * (1 - value)
    wanted = [case[k] for k in ("survival", "detection", "finding_a_dead_animal", "staying")]
    np.testing.assert_allclose(value, [w["value"] for w in wanted], atol=6e-5)
    np.testing.assert_allclose(se, [w["se"] for w in wanted], atol=6e-5)


def test_published_histories_as_a_study(published):
    """The same through releases, visits and encounters, with the words of a study."""
    case, histories = published
    days = [pd.Timestamp("2000-06-01") + pd.Timedelta(days=365.25) * k for k in range(10)]
    released, met = [], []
    for i, history in enumerate(histories):
        first, tag = history.index(1), f"A{i}"
        released.append({"animal": tag, "tag": tag, "species": SPECIES, "site": "Upper",
                         "date": days[first], "source": "first capture", "number": 1})
        for k in range(first, 10):
            if history[k] != 3:
                met.append({"animal": tag, "tag": tag, "species": SPECIES, "site": "Upper",
                            "visit": f"v{k}", "date": days[k],
                            "status": "shell" if history[k] == 2 else "alive"})
    visits = [{"visit": f"v{k}", "site": "Upper", "first_date": d, "last_date": d,
               "method": "hand"} for k, d in enumerate(days)]
    made = records(releases=released, encounters=met, visits=visits)
    told = estimate_records(made, ANYWHERE)
    model = next(m for m in told.by_species[SPECIES].models
                 if m.name == "survival constant, detection constant, staying constant")
    assert -2 * model.fit.loglik == pytest.approx(case["minus_two_log_likelihood"], abs=0.01)
    rate = model.fit.rate
    assert rate("survival", 0) == pytest.approx(case["survival"]["value"], abs=5e-4)
    assert rate("staying", 0) == pytest.approx(case["staying"]["value"], abs=5e-4)
    assert told.rates["staying/all"].value == pytest.approx(case["staying"]["value"], abs=0.05)
    assert "staying" in told.by_species[SPECIES].models[0].name
    # the wrong model: with no animal leaving, leaving looks like dying
    stayed = next(m for m in told.by_species[SPECIES].models
                  if m.name == "survival constant, detection constant")
    assert stayed.fit.rate("survival", 0) < 0.65
    assert stayed.aicc > model.aicc + 20


RATES = {"survival": 0.8, "release": 0.7, "event": 0.85, "detection": 0.4, "shell": 0.25}


def by_hand(seen, years, keep, staying, loss):
    """Chance of a history: every way to live on, die, shed the tag or leave, step by step."""
    def go(k, where):
        if k == len(seen):
            return 1.0
        what, t = seen[k], years[k]
        last = np.exp(-loss * t) if np.isfinite(loss) else 0.0
        early = last if np.isfinite(loss) else 1.0
        even = (1 - np.exp(-loss * t)) / (loss * t) if np.isfinite(loss) else 1.0
        if what == DEAD:
            last, early, even = 0.0, 1.0, 1.0
        look = {"here": {ALIVE: RATES["detection"], UNSEEN: 1 - RATES["detection"]},
                "away": {UNSEEN: 1.0}, "gone": {UNSEEN: 1.0},
                "shell": {SHELL: RATES["shell"], UNSEEN: 1 - RATES["shell"], DEAD: 1.0}}
        release = RATES["release"] if k == 0 else 1.0
        live = RATES["survival"] ** t * (RATES["event"] if k == 1 else 1.0)
        stay = staying**t
        if where == "here":
            kept = {"here": release * live * stay, "away": release * live * (1 - stay),
                    "shell": release * (1 - live) * even + (1 - release) * early,
                    "gone": release * (1 - live) * (1 - even) + (1 - release) * (1 - early)}
        elif where == "away":
            kept = {"away": live, "shell": (1 - live) * even, "gone": (1 - live) * (1 - even)}
        moves = {"shell": {"shell": last, "gone": 1 - last}, "gone": {"gone": 1.0}}.get(where)
        if moves is None:
            moves = {to: keep[k] * c for to, c in kept.items()}
            moves["gone"] += 1 - keep[k]
        return sum(c * look[to].get(what, 0.0) * go(k + 1, to) for to, c in moves.items())
    return go(0, "here")


@pytest.mark.parametrize("loss", [0.6, np.inf])
def test_chances_and_gradient_against_a_plain_twin(loss):
    years, keep, staying = (0.4, 1.3, 1.0), (0.98, 0.95, 0.97), 0.75
    rates = [np.array([RATES[k]]) for k in RATES]
    seen_at = [(UNSEEN,) * 3, (ALIVE, UNSEEN, SHELL), (UNSEEN, UNSEEN, SHELL), (ALIVE, DEAD),
               (UNSEEN, ALIVE, UNSEEN), (SHELL,)]
    for seen in seen_at:
        steps = [(years[k], 0, 0 if k == 0 else NONE, 0 if k == 1 else NONE, 0, 0, keep[k], what)
                 for k, what in enumerate(seen)]
        h = pack([steps], shell_loss=loss)
        loglik, *slopes = joint_loglik_and_gradient(h, *rates, np.array([staying]))
        assert loglik == pytest.approx(np.log(by_hand(seen, years, keep, staying, loss)), abs=1e-12)
        for i, slope in enumerate(slopes):
            up = [r.copy() for r in (*rates, np.array([staying]))]
            down = [r.copy() for r in up]
            up[i][0] += 1e-6
            down[i][0] -= 1e-6
            rough = (joint_loglik_and_gradient(h, *up)[0]
                     - joint_loglik_and_gradient(h, *down)[0]) / 2e-6
            assert slope[0] == pytest.approx(rough, rel=1e-5, abs=1e-6)
        if np.isfinite(loss):
            nobody_leaves = joint_loglik_and_gradient(h, *rates, np.zeros(0))
            plain = loglik_and_gradient(h, *rates)
            for a, b in zip(nobody_leaves[:6], plain, strict=True):
                np.testing.assert_allclose(a, b, rtol=1e-12)
