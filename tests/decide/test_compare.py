"""Paired comparisons, and answers that must not be given: on the demo with stand-in estimates."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from pva.decide.compare import compare, difference, groups
from pva.model.draws import scramble_of_draw
from pva.results.run import run
from pva.results.summary import run_summary
from pva.scenario.scenario import read_scenario

PROJECT = Path(__file__).parents[2]
FEW = {"runs.draws": 64, "runs.replicates": 10}


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Reads a demo scenario, with some estimates replaced by other text."""
    study = tmp_path_factory.mktemp("study")
    shutil.copytree(PROJECT / "scenarios" / "hesperwell" / "scenarios", study / "scenarios")
    (study / "estimates").mkdir()
    true = (PROJECT / "tests" / "demo" / "true_estimates.yaml").read_text(encoding="utf-8")

    def read(name, **estimates):
        lines = [next((f"survival/{k}: {v}" for k, v in estimates.items()
                       if line.startswith(f"survival/{k}:")), line) for line in true.splitlines()]
        (study / "estimates" / "estimates.yaml").write_text("\n".join(lines), encoding="utf-8")
        return read_scenario(study / "scenarios" / f"{name}.yaml").with_changes(FEW)

    return read


def test_the_answer_flips_when_adults_survive_two_hundredths_less(demo):
    base, lower = (demo(n).with_changes({"runs.draws": 400, "runs.replicates": 2})
                   for n in ("base", "survival-lower"))
    first, other = (run_summary(run(s))["all_goals"]["verdict"] for s in (base, lower))
    assert (first, other) == ("met", "not met")
    joint = {d.outcome: d for d in compare([base, lower]).differences[lower.resolved.title]}
    assert joint["all goals"].difference < -0.1
    assert joint["all goals"].settled


def test_a_demo_scenario_against_its_copy_differs_by_exactly_nothing(demo):
    rows, = compare([demo("base"), demo("base")]).differences.values()
    assert {(d.difference, d.low, d.high) for d in rows} == {(0.0, 0.0, 0.0)}
    assert all(d.settled and d.more_runs is None for d in rows)


def test_always_in_one_and_never_in_the_other_is_not_exactly_one():
    """As a chance never seen in 20 draws may be 1 - 0.05^(1/20) = 14 %, so may what differs."""
    never, always = np.zeros((20, 5)), np.ones((20, 5))
    edge = 0.05 ** (1 / 20)
    found = difference("lost", never, always, groups(20, doubtful=True), certain=False)
    assert (found.difference, found.low, found.high) == (1, pytest.approx(edge), 1)
    back = difference("lost", always, never, groups(20, doubtful=True), certain=False)
    assert (back.low, back.high, back.settled) == (-1, pytest.approx(-edge), True)
    alike = difference("lost", never, always, groups(20, doubtful=False), certain=False)
    assert alike.low == pytest.approx(0.05 ** (1 / 100))  # replicates of draws that are all alike
    sure = difference("lost", never, always, groups(20, doubtful=True), certain=True)
    assert (sure.low, sure.high) == (1, 1)


def test_with_bounds_in_place_of_survival_the_verdict_is_cannot_tell_yet(demo):
    """Two visits: survival cannot be told apart from detection, so it has bounds and no value."""
    bounds = "{value: null, interval: [0.80, 1.0], source: {measured: two visits}}"
    two_visits = demo("base", adult=bounds)
    rate = two_visits.resolved.sites[0].survival["adult"]
    assert (rate.interval, rate.distribution, rate.value) == ((0.8, 1.0), "uniform", 0.9)
    assert rate.source.text == "two visits; only the range 0.8 to 1 is known"
    joint = run_summary(run(two_visits))["all_goals"]
    assert joint["verdict"] == "cannot tell yet"
    assert joint["draw_low"] < 0.1 and joint["draw_high"] > 0.9
    said = [w for w in two_visits.warnings if w.startswith("only a range is known of")]
    assert said == ["only a range is known of survival/adult: any value in it is drawn alike, and "
                    "the goals are judged by every draw, not by their mean"]
    # the simulation's interval alone would have given a verdict
    assert joint["high"] < 0.8


def test_an_estimate_at_its_limit_is_a_range_too(demo):
    limit = "{value: 1.0, interval: [0.80, 1.0], source: {measured: few}}"
    rate = demo("base", adult=limit).resolved.sites[0].survival["adult"]
    assert (rate.value, rate.distribution) == (0.9, "uniform")


def test_an_estimate_that_tells_nothing_is_refused_with_its_reason(demo):
    from pva.errors import MeaningError

    nothing = "{value: null, source: {measured: x}, note: '0 animals seen again'}"
    with pytest.raises(MeaningError) as caught:
        demo("base", juvenile=nothing)
    assert str(caught.value).endswith(
        "the estimate `survival/juvenile` tells neither a value nor a range (0 animals seen "
        "again). Write a `value` or an `interval` you are ready to defend beside it, or use a "
        "published value.")


@pytest.mark.parametrize("draws", [1, 80])
def test_as_many_more_runs_as_said_settle_about_half_of_the_differences(draws):
    """A true difference of one standard error: of those not settled, 0.6 are with the runs said.

    About 400 cases, so a share below 0.5 would happen by luck in fewer than 1 of 10,000.
    """
    luck, runs = np.random.default_rng(1), 400 // draws
    true = 1 / math.sqrt(draws * runs)
    settled, kinds = [], set()
    for _ in range(600):
        away = luck.normal(true, 1, (draws, runs))
        found = difference("x", np.zeros_like(away), away, _scramble(draws))
        if found.settled or found.more_runs > 50:
            continue
        kinds.add(found.more_of)
        times = math.ceil(found.more_runs)
        shape = (draws * (times - 1), runs) if draws > 1 else (draws, runs * (times - 1))
        both = np.concatenate([away, luck.normal(true, 1, shape)], 0 if draws > 1 else 1)
        both = luck.permutation(both)
        settled.append(difference("x", np.zeros_like(both), both, _scramble(len(both))).settled)
    assert kinds == {"draws" if draws > 1 else "replicates"}
    assert len(settled) > 300
    assert np.mean(settled) >= 0.5


def _scramble(draws):
    return scramble_of_draw(draws) if draws > 1 else np.zeros(1, int)
