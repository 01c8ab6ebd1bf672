"""The resolved twin: reading it gives the same scenario, whatever the scenario holds."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from pva.scenario.scenario import Scenario, read_scenario

ALONE = sorted((Path(__file__).parents[2] / "scenarios").glob("*.yaml"))
OWN = ["hosts.yaml", "matrix.yaml", "everything.yaml", "matrix-sites.yaml"]


def same(one, other) -> bool:
    """Equality of resolved scenarios, arrays included."""
    joint, also = one.covariance, other.covariance
    if (joint is None) != (also is None):
        return False
    if joint is not None and not (
        joint.keys == also.keys and np.array_equal(joint.matrix, also.matrix)
    ):
        return False
    without = (dataclasses.replace(r, covariance=None) for r in (one, other))
    first, second = without
    return first == second


def assert_round_trip(scenario: Scenario, folder: Path) -> None:
    again = Scenario.from_dict(scenario.twin())
    assert same(again.resolved, scenario.resolved)
    (folder / "twin.yaml").write_text(scenario.twin_yaml(), encoding="utf-8")
    read = read_scenario(folder / "twin.yaml")
    assert same(read.resolved, scenario.resolved)
    assert again.digest == read.digest == scenario.digest
    assert read.twin() == scenario.twin()


@pytest.mark.parametrize("name", OWN)
def test_twin_reads_back_as_the_same_scenario(folder, tmp_path, name):
    assert_round_trip(read_scenario(folder / name), tmp_path)


@pytest.mark.parametrize("path", ALONE, ids=lambda p: p.stem)
def test_twin_of_shipped_scenario(path, tmp_path):
    assert_round_trip(read_scenario(path), tmp_path)


def test_twin_of_deliveries_and_options(tmp_path):
    base = read_scenario(ALONE[0].parent / "no-field-data.yaml")
    row = dict(base.written["releases"][0], name="first way", delivered_so_far={2026: 12, 2028: 40})
    scenario = base.with_changes({
        "releases": [row, dict(row, name="second way", delivered_so_far=None)],
        "solve": {"options": [{"name": "a", "releases": ["first way"]},
                              {"name": "b", "releases": ["second way"]}], "most": 900}})
    _, made, left, _ = scenario.resolved.releases
    assert (made.name, made.numbers, made.made) == (
        "first way, delivered so far", {2026: 12, 2028: 40}, True)
    assert (made.delivered_mean, made.delivered_sd) == (1, 0)
    assert min(left.numbers) == 2029 and not left.made
    assert left.delivered_mean == row["delivered"]["mean"]
    assert scenario.resolved.solve.releases == ("first way", "second way")
    assert_round_trip(scenario, tmp_path)
    assert ("Released already, and counted as it was (first way, delivered so far): 12 in 2026, 40 "
            "in 2028.") in scenario.assumptions()


def test_twin_holds_estimates_with_link_moments_and_covariance(folder):
    scenario = read_scenario(folder / "hosts.yaml")
    twin = scenario.twin()
    assert twin["survival"]["adult"] == {
        "value": 0.95, "se": 0.0111, "year_sd": 0.0199, "estimate": "survival/adult",
        "link": {"mean": 3.02, "se": 0.23, "year_sd": 0.41},
        "source": {"measured": "recaptures 2018-2025"},
    }
    assert twin["covariance"]["keys"] == ["survival/adult", "survival/subadult", "growth/subadult"]
    assert "estimates" not in twin


def test_twin_marks_defaults_only():
    scenario = read_scenario(Path(__file__).with_name("files") / "matrix.yaml")
    lines = scenario.twin_yaml().splitlines()
    assert "numbers: both sexes  # default" in lines
    assert "census: before breeding" in lines
    assert "    recruitment: 0.1" in lines
    assert "    hosts: 1  # default" in lines


def test_digest_is_independent_of_file_name_comments_and_order(tmp_path):
    text = (Path(__file__).with_name("files") / "matrix.yaml").read_text(encoding="utf-8")
    (tmp_path / "one.yaml").write_text(text, encoding="utf-8")
    turned = "# a remark\n" + "".join(sorted(text.splitlines(keepends=True)[:1])) + text.replace(
        text.splitlines(keepends=True)[0], "")
    (tmp_path / "two.yaml").write_text(turned.replace("0.35", "3.5e-1"), encoding="utf-8")
    one, two = read_scenario(tmp_path / "one.yaml"), read_scenario(tmp_path / "two.yaml")
    assert one.digest == two.digest
    changed = text.replace("0.35", "0.36")
    (tmp_path / "one.yaml").write_text(changed, encoding="utf-8")
    assert read_scenario(tmp_path / "one.yaml").digest != one.digest
