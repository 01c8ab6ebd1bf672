"""Quadrats that a survey needs: published answers, simulated surveys, refusals."""

import json

import numpy as np
import pytest

import pva
from pva.decide.effort import Quadrats
from pva.decide.quadrat_effort import (
    chance_to_find,
    change_power,
    density_precision,
    finding_one,
    limit_if_none,
    seeing_change,
)
from pva.errors import MeaningError
from pva.files import read_yaml, shipped

KNOWN = read_yaml(shipped("shared/checks/survey_size.yaml"))[0]


def counts(rng, mean, k, shape):
    return rng.poisson(mean * rng.gamma(k, size=shape) / k)


def test_recruits_at_a_twentieth_per_m2():
    """-ln(0.05) / (0.05 x 0.25) = 239.7; with 60 % found 399.4."""
    for found, needed in ((1.0, 240), (0.6, 400)):
        answer = finding_one(0.05, quadrats=Quadrats(found=found))
        assert answer.effort.quadrats == needed
        assert answer.effort.dug_m2 == needed * 0.25
        assert chance_to_find(needed, 0.05, Quadrats(found=found)) >= 0.95
        assert chance_to_find(needed - 1, 0.05, Quadrats(found=found)) < 0.95


def test_clumped_recruits_by_the_formula():
    """1 - (1 + m / k) ** (-k n), written out here."""
    quadrats = Quadrats(area_m2=0.5, found=0.8, clumping=0.3)
    mean = 0.5 * 0.5 * 0.8
    assert chance_to_find(40, 0.5, quadrats) == pytest.approx(1 - (1 + mean / 0.3) ** (-0.3 * 40))
    assert finding_one(0.5, quadrats=quadrats).exact > \
        finding_one(0.5, quadrats=Quadrats(0.5, 0.8)).exact


def test_none_found_leaves_the_density_that_would_have_been_missed():
    """Zero in 100 quadrats of 0.25 m2 still allow 0.12 per m2 (95 %); the two ways round agree."""
    assert limit_if_none(100, Quadrats(), 0.95) == pytest.approx(0.12, abs=0.0005)
    for k in (None, 0.3):
        quadrats = Quadrats(found=0.7, clumping=k)
        limit = limit_if_none(80, quadrats, 0.9)
        assert chance_to_find(80, limit, quadrats) == pytest.approx(0.9)


def test_precision_by_the_published_law_and_rule():
    """Downing & Downing 1992: 50 at 0.25 a quadrat, 12.5 at 4 (short rule), 11.79 by the law."""
    quarter = density_precision(1.0, quadrats=Quadrats(area_m2=0.25), precision=0.2)
    four = density_precision(16.0, quadrats=Quadrats(area_m2=0.25), precision=0.2)
    assert quarter.rule_of_thumb == pytest.approx(50)
    assert four.rule_of_thumb == pytest.approx(12.5)
    assert four.exact == four.variance_law == pytest.approx(11.79, abs=0.005)
    nb = KNOWN["negative_binomial"]
    clumped = density_precision(nb["mean_per_quadrat"], precision=nb["precision"],
                                quadrats=Quadrats(1.0, clumping=nb["dispersion"]))
    assert clumped.effort.quadrats == nb["quadrats"]


def test_the_law_is_not_trusted_below_even_scatter():
    """At 0.0125 a quadrat the law promises less spread than evenly scattered animals have."""
    answer = density_precision(0.05, quadrats=Quadrats(), precision=0.2)
    assert answer.variance_law < answer.even_scatter == answer.exact == pytest.approx(2000)
    assert answer.by.startswith("even scatter")


def test_precision_is_reached_in_simulated_surveys():
    """4,000 surveys: SD of the density over the density within 4 % of what was wanted."""
    rng = np.random.default_rng(11)
    answer = density_precision(2.0, quadrats=Quadrats(clumping=0.4), precision=0.25)
    found = counts(rng, answer.mean, 0.4, (4000, answer.effort.quadrats)).mean(axis=1)
    assert found.std() / answer.mean == pytest.approx(0.25, rel=0.04)


def test_change_is_found_as_often_as_said():
    """3,000 pairs of surveys: found in 80 % (SE 0.7 %), false alarms 5 % (SE 0.4 %); with half the
    quadrats clearly less often. The spread is estimated from each pair's own counts."""
    rng, quadrats, k = np.random.default_rng(12), Quadrats(1.0, clumping=0.8), 0.8
    answer = seeing_change(2.0, 1.2, quadrats=quadrats)
    number = answer.effort.quadrats

    def share(before, after, n):
        both = [counts(rng, m, k, (3000, n)) for m in (before, after)]
        means = [c.mean(axis=1) for c in both]
        spread = sum(c.var(axis=1, ddof=1) / n / m**2 for c, m in zip(both, means, strict=True))
        return (np.abs(np.log(means[1] / means[0])) > 1.959964 * np.sqrt(spread)).mean()

    assert share(2.0, 1.2, number) == pytest.approx(0.8, abs=0.025)
    assert share(2.0, 2.0, number) == pytest.approx(0.05, abs=0.013)
    assert share(2.0, 1.2, number // 2) < 0.6
    assert change_power(number, 2.0, 1.2, quadrats=quadrats) == pytest.approx(0.8, abs=0.005)


def test_smallest_fall_is_found_with_the_chance_wanted():
    quadrats = Quadrats(clumping=0.5)
    given = seeing_change(4.0, 2.0, quadrats=quadrats, number=120).given
    left = 4.0 * (1 - given["smallest_fall"])
    assert change_power(120, 4.0, left, quadrats=quadrats) == pytest.approx(0.8, abs=1e-6)
    assert seeing_change(0.1, 0.05, quadrats=quadrats, number=5).given["smallest_fall"] is None


@pytest.mark.parametrize("ask, said", [
    (lambda: finding_one(0.0, quadrats=Quadrats()),
     "density is 0. Nothing was computed. Give a number above 0."),
    (lambda: finding_one(0.1, quadrats=Quadrats(found=1.2)),
     "found is 1.2. Nothing was computed. Give a number above 0, up to 1."),
    (lambda: finding_one(0.1, quadrats=Quadrats(), chance=1.0),
     "chance is 1. Nothing was computed. Give a number between 0 and 1, both left out."),
    (lambda: seeing_change(1.0, 1.0, quadrats=Quadrats()),
     "the change is 0. Nothing was computed. Give a number above 0."),
    (lambda: density_precision(1.0, quadrats=Quadrats(clumping=-1.0)),
     "clumping is -1. Nothing was computed. Give a number above 0."),
])
def test_what_lies_outside_is_refused(ask, said):
    with pytest.raises(MeaningError) as caught:
        ask()
    assert str(caught.value) == said


def test_summaries_are_json():
    for answer in (pva.finding_one(0.05, quadrats=pva.Quadrats(cost_each=30.0), number=50),
                   pva.density_precision(1.0, quadrats=pva.Quadrats()),
                   pva.seeing_change(1.0, 0.5, quadrats=pva.Quadrats(), number=50)):
        json.dumps(answer.summary(), allow_nan=False)
    assert answer.summary()["question"] == "change"
