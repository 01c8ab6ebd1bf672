"""Two estimates files side by side, by hand and from the command line."""

import json

import pytest

from pva.decide.what_changed import what_changed
from pva.estimate.estimates import Estimate, Estimates
from pva.estimate.estimates_write import write_estimates
from tests.cli.conftest import call  # noqa: F401


def files():
    before = Estimates({
        "survival/adult": Estimate("survival/adult", 0.95, se=0.01),
        "survival/juvenile": Estimate("survival/juvenile", 0.60, se=0.05),
        "release/hatchery": Estimate("release/hatchery", 0.8, se=0.05),
        "density/Riffle": Estimate("density/Riffle", 0.4, interval=(0.2, 0.592))},
        abundance={"Riffle": {"adult": Estimate("abundance/Riffle/adult", 400.0, se=50.0)}},
        title="2024")
    after = Estimates({
        "survival/adult": Estimate("survival/adult", 0.92, se=0.008),
        "survival/juvenile": Estimate("survival/juvenile", 0.65, se=0.04),
        "growth/subadult": Estimate("growth/subadult", 0.3, se=0.02),
        "density/Riffle": Estimate("density/Riffle", 0.5, se=0.1)},
        abundance={"Riffle": {"adult": Estimate("abundance/Riffle/adult", 390.0, se=40.0)}},
        title="2025")
    return before, after


def test_by_hand():
    told = what_changed(*files())
    rows = {r.key: r for r in told.rows}
    assert told.rows[0].key == "survival/adult"
    assert rows["survival/adult"].in_se == pytest.approx(-3.0)
    assert rows["survival/adult"].verdict == "beyond its doubt"
    assert rows["survival/juvenile"].in_se == pytest.approx(1.0)
    assert rows["density/Riffle"].in_se == pytest.approx(0.1 / 0.1, rel=0.001)
    assert rows["abundance/Riffle/adult"].difference == pytest.approx(-10.0)
    assert (rows["growth/subadult"].verdict, rows["release/hatchery"].verdict) == ("new", "gone")
    assert told.summary()["beyond_its_doubt"] == ["survival/adult"]


def test_a_file_against_itself_changes_nothing():
    before, _ = files()
    told = what_changed(before, before)
    assert {r.difference for r in told.rows} == {0.0}
    assert told.summary()["beyond_its_doubt"] == []


def test_from_the_command_line(call, tmp_path):  # noqa: F811
    paths = [write_estimates(e, tmp_path / e.title / "estimates.yaml") for e in files()]
    done = call("what-changed", paths[0].parent, paths[1], "--out", tmp_path)
    assert done.exit_code == 0, done.stderr
    assert done.stdout.splitlines()[0] == (
        "1 of the 4 numbers in both files moved by more than two standard errors: survival/adult. "
        "Ask why before using them.")
    kept = json.loads((tmp_path / "what-changed.json").read_text("utf-8"))
    assert (kept["before"], kept["after"], kept["compared"]) == ("2024", "2025", 4)
    same = call("what-changed", paths[0], paths[0])
    assert same.stdout.startswith("None of the 5 numbers in both files moved")
    missing = call("what-changed", tmp_path, paths[0])
    assert missing.exit_code == 1 and "estimates.yaml" in missing.stderr
