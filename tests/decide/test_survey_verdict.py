"""When a survey tells success from failure: known by hand, and on a small scenario."""

import numpy as np
import pytest
from scipy.stats import poisson

import pva
from pva.decide.effort import Quadrats
from pva.decide.survey_verdict import best_edge, said_right, survey_verdict, surveyed
from pva.errors import CannotCompute, MeaningError
from tests.cli.conftest import write_small


def with_area(path, *, goal=75):
    """The small scenario with an area, more replicates and another goal."""
    write_small(path, runs="{draws: 8, replicates: 40, seed: 5}")
    text = path.read_text(encoding="utf-8").replace(
        "start: {adult: 20}", "sites:\n  - {name: Riffle, area_m2: 800, start: {adult: 20}}")
    text = text.replace("at_least: 120", f"at_least: {goal}")
    path.write_text(text.replace("{name: young,", "{name: young, site: Riffle,"), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("verdict") / "study" / "scenarios"
    return pva.read_scenario(with_area(folder / "small.yaml"))


def test_edge_between_two_known_counts():
    """Success lives at 12, failure at 4, Poisson: the best edge and its chance by the exact sums,
    which 40,000 surveys reach within 0.01."""
    rng = np.random.default_rng(31)
    happened = np.arange(40_000) % 4 < 2
    found = rng.poisson(np.where(happened, 12.0, 4.0))
    exact = [min(poisson.sf(c - 1, 12), poisson.cdf(c - 1, 4)) for c in range(30)]
    assert best_edge(found, happened) == int(np.argmax(exact))
    right = said_right(found, happened)
    lesser = min(right[happened].mean(), right[~happened].mean())
    assert lesser == pytest.approx(max(exact), abs=0.01)


def test_nothing_to_tell_is_right_half_the_time():
    """No difference between the two: an edge tried on the runs it was chosen on would promise more
    than one half; on the other half of the runs it does not (400 runs, SE 2.5 %)."""
    rng = np.random.default_rng(32)
    happened = rng.random(400) < 0.5
    right = said_right(rng.poisson(8.0, 400), happened)
    assert right.mean() == pytest.approx(0.5, abs=0.08)


def test_surveys_have_the_mean_and_spread_of_their_law():
    """Two sites, k 0.4: mean and variance of the animals found within 3 % over 40,000 surveys."""
    animals = np.tile(np.array([300.0, 100.0]), (40_000, 1, 1))
    area = np.array([1000.0, 500.0])
    found = surveyed(animals, area=area, number=90, quadrats=Quadrats(0.25, 0.8, 0.4),
                     rng=np.random.default_rng(33))[:, 0]
    mean = animals[0, 0] / area * 0.25 * 0.8
    here = 90 * area / area.sum()
    assert found.mean() == pytest.approx((here * mean).sum(), rel=0.03)
    assert found.var() == pytest.approx((here * (mean + mean**2 / 0.4)).sum(), rel=0.03)


def test_a_small_plan(small):
    """More quadrats tell earlier and better, and nothing beats counting all."""
    answers = [survey_verdict(small, number=n, quadrats=Quadrats(clumping=0.5), seed=3)
               for n in (20, 400)]
    few, many = (a.years for a in answers)
    assert [r.year for r in few] == list(range(2027, 2037))
    assert np.mean([r.right for r in many]) > np.mean([r.right for r in few])
    assert all(m.everything_counted == f.everything_counted for m, f in zip(many, few, strict=True))
    assert np.mean([r.everything_counted for r in many]) > np.mean([r.right for r in many])
    assert all(r.low <= r.right <= r.high for r in many)
    assert sum(answers[0].runs) == answers[0].draws * answers[0].replicates


def test_without_failures_nothing_is_said(tmp_path):
    path = with_area(tmp_path / "study" / "scenarios" / "small.yaml", goal=0)
    answer = survey_verdict(pva.read_scenario(path), number=50, quadrats=Quadrats())
    assert answer.years == () and answer.year is None and answer.runs[1] == 0


def test_refusals(small, tmp_path):
    with pytest.raises(MeaningError, match="there is no site `Nowhere` in the scenario"):
        survey_verdict(small, number=50, quadrats=Quadrats(), sites=("Nowhere",))
    with pytest.raises(MeaningError, match="a survey does not count `cost`"):
        survey_verdict(small, number=50, quadrats=Quadrats(), counted="cost")
    with pytest.raises(MeaningError, match="4000 quadrats of 0.25 m2 are more than the 800 m2"):
        survey_verdict(small, number=4000, quadrats=Quadrats())
    bare = pva.read_scenario("scenarios/three-stage-branching.yaml")
    with pytest.raises(CannotCompute, match="is not known. Without it|is not known. without it"):
        survey_verdict(bare, number=50, quadrats=Quadrats())
