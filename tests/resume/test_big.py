"""Many sites, many stages, many years; and memory that does not grow with replicates."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from rivers import plain

from pva.results import chunks
from pva.results.run import run
from pva.results.tasks import Tasks
from pva.scenario.scenario import Scenario

TOP = Path(__file__).parents[2]


def question(*, sites: int = 1, stages: int = 2, years: int = 10, **more) -> Scenario:
    """A population that would stay as it is if years and animals were all alike."""
    names = [f"stage {i + 1}" for i in range(stages)]
    # every animal of a young stage grows on; adults are replaced
    written = {
        "title": "Big and invented", "census": "before breeding",
        "years": {"first": 2000, "last": 2000 + years},
        "stages": [{"name": n, "years": 1} for n in names[:-1]] + [
            {"name": names[-1], "breeds": True}],
        "survival": {n: {"value": 0.99, "year_sd": 0.003} for n in names[:-1]} | {
            names[-1]: {"value": 0.9, "year_sd": 0.02}},
        "recruitment": {"per_adult": {"value": 0.1 / 0.99 ** (stages - 1)}},
        "bad_years": {"none": "kept simple"},
        "sites": [{"name": f"reach {i + 1}", "area_m2": 500, "start": {names[-1]: 40}}
                  for i in range(sites)],
        "quasi_extinction": {"adults_below": 1},
        "runs": {"draws": 1, "replicates": 60, "seed": 9},
    }
    return Scenario.from_dict(written | more)


def test_two_hundred_sites():
    data = run(question(sites=200), threads=2)
    assert data.sizes["site"] == 200
    # sums of sites are the river, and sites that are alike differ by luck alone
    by_site = data.adults_at_site.values
    np.testing.assert_allclose(by_site.sum(axis=0), data.adults_mean, rtol=1e-12)
    adults = [40.0, 36.0]  # none are young at the start; then a tenth die and are replaced
    while len(adults) < 11:
        adults.append(0.9 * adults[-1] + 0.1 * adults[-2])
    last = by_site[:, -1]
    assert abs(last.mean() - adults[-1]) < 5 * last.std(ddof=1) / np.sqrt(200) + 0.1
    assert len(np.unique(last)) > 100


def test_a_hundred_stages():
    """Young take 99 years to be adult: adults of the start die away, 0.9 of them a year."""
    data = run(question(stages=100, years=30), threads=1)
    assert data.sizes["stage"] == 100
    expected = 40 * 0.9 ** np.arange(31)
    error = np.sqrt(expected * (1 - 0.9 ** np.arange(31)) / 60) + expected * 0.02
    assert (np.abs(data.adults_mean.values - expected) < 5 * error + 1e-9).all()
    shares = data.animals_by_stage.sel(year=2020, origin="wild").values[0]
    assert (shares[:20] > 0).all() and (shares[21:99] == 0).all()


def test_two_hundred_years():
    data = run(question(years=200), threads=1)
    assert data.sizes["year"] == 201
    extinct = data.extinction_chance.values
    assert (np.diff(extinct) >= 0).all() and extinct[-1] < 1
    assert np.isfinite(data.adults_quantile.values).all()


def test_all_of_it_in_chunks_on_two_threads(tmp_path, monkeypatch):
    scenario = question(sites=20, stages=12, years=60)
    monkeypatch.setattr(chunks, "SITE_YEARS", 20 * 61 * 8)
    with Tasks(keep=tmp_path) as some:
        found = run(scenario, threads=2, tasks=some)
    assert some.total == 8
    assert plain(found) == plain(run(scenario, threads=1))


@pytest.mark.slow
def test_memory_does_not_grow_with_replicates(tmp_path):
    """Ten times the trajectories take less than a tenth more memory, libraries included."""
    peaks = []
    for replicates in (4_000, 40_000):
        keep = tmp_path / str(replicates)
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.big", "--one", str(replicates), "2",
             str(keep)], cwd=TOP, env=os.environ, capture_output=True, text=True, check=True)
        found = json.loads(done.stdout)
        assert found["chunks"] == (0 if replicates == 4_000 else 5)
        peaks.append(found["peak_mb"])
    assert peaks[1] < 1.1 * peaks[0] + 10
