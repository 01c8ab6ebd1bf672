"""A scenario of 1-mm length classes straight from the estimates, against a population followed by
age and own asymptote."""

import sys
from pathlib import Path

import numpy as np
import pytest

import pva
from pva.errors import CannotCompute
from pva.estimate.estimates import Estimate, Estimates, estimate_from_link
from pva.estimate.estimates_write import write_estimates
from pva.estimate.link_scale import Link
from pva.results.growth import fastest_site

sys.path.append(str(Path(__file__).parents[1] / "estimate"))
from test_transitions import SURVIVAL, grown_population  # noqa: E402

STAGES = {"juvenile": (0, 30), "subadult": (30, 50), "adult": (50, 92)}


def link(p):
    return Link(float(np.log(p / (1 - p))), 0.1, 0.0)


@pytest.fixture
def estimates(tmp_path):
    rates = [estimate_from_link(f"survival/{s}", link(p)) for s, p in zip(STAGES, SURVIVAL,
                                                                          strict=True)]
    rates += [Estimate(f"growth_curve/{name}", value) for name, value in (
        ("asymptote_mm", 82.0), ("rate", 0.16), ("asymptote_sd_mm", 5.0))]
    return write_estimates(Estimates({e.key: e for e in rates}, title="invented"),
                           tmp_path / "estimates" / "estimates.yaml")


@pytest.mark.parametrize("recruits", [0.1, 0.35, 0.9])
def test_the_mesh_grows_as_the_population_does(estimates, tmp_path, recruits):
    """To 0.005 a year, which is what a single length forgets of an animal's age and asymptote."""
    scenario = pva.length_mesh(estimates, tmp_path / "scenarios" / "classes.yaml", stages=STAGES,
                               recruits_per_adult=recruits)
    assert len(scenario.resolved.stages) > 60
    _, found = fastest_site(scenario.resolved)
    rate = np.abs(np.linalg.eigvals(found.a)).max()
    assert rate == pytest.approx(grown_population(recruits), abs=0.005)


def test_the_file_is_a_scenario_that_runs(estimates, tmp_path):
    path = tmp_path / "classes.yaml"
    pva.length_mesh(estimates, path, stages=STAGES, recruits_per_adult=0.3, width_mm=5, last=2030)
    scenario = pva.read_scenario(path).with_changes({"runs.draws": 8, "runs.replicates": 4})
    data = pva.run(scenario)
    assert float(data.animals_by_stage.isel(year=0).sum(["origin", "site", "stage"])) == 100


def test_without_recruits_or_survival_no_scenario_is_written(estimates, tmp_path):
    path = tmp_path / "classes.yaml"
    with pytest.raises(CannotCompute, match="the estimates hold no recruits per adult"):
        pva.length_mesh(estimates, path, stages=STAGES)
    with pytest.raises(CannotCompute, match="the estimates hold no value for `survival/larva`"):
        pva.length_mesh(estimates, path, stages={"larva": (0, 20), "adult": (20, 90)},
                        recruits_per_adult=0.3)
    assert not path.exists()


def test_the_command_writes_it_beside_the_estimates(estimates, tmp_path, monkeypatch):
    from click.testing import CliRunner

    from pva.cli import studies

    (tmp_path / "study.yaml").write_text(
        "title: invented\nspecies: [Lampsilis ficta]\nsites: [{name: Tallow Bend}]\nstages:\n"
        + "".join(f"  - {{name: {n}, length_mm: [{a}, {b}]}}\n" for n, (a, b) in STAGES.items()))
    with estimates.open("a") as handle:
        handle.write("recruits_per_adult/Tallow Bend: {value: 0.3}\n")
    monkeypatch.setattr(studies, "estimate_and_write", lambda *_, **__: {})
    monkeypatch.setattr("pva.cli.estimate_words.tell_estimate", lambda *_: None)
    told = CliRunner().invoke(studies.estimate, [str(tmp_path), "--length-classes", "5"])
    assert told.exit_code == 0, told.output
    scenario = pva.read_scenario(tmp_path / "estimates" / "length_classes.yaml")
    assert [s.name for s in scenario.resolved.stages][:2] == ["10 to 15 mm", "15 to 20 mm"]
