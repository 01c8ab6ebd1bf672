"""The demo cut to its first two visits: what the records no longer tell is not made up."""

from __future__ import annotations

import csv
import shutil

import pytest
from ruamel.yaml import YAML

from pva.cli.estimate_words import answer_of_estimate
from pva.estimate import estimate, write_estimates
from pva.field import read_study
from pva.files import shipped
from pva.results.run import run
from pva.results.summary import run_summary
from pva.scenario.scenario import read_scenario

LATER = ("2020", "2021", "2022", "recaptures")
# nobody met a juvenile again by then: its survival must be put in by judgement
JUVENILES = """\
extends: base.yaml
title: two visits only
survival:
  juvenile: {value: 0.65, interval: [0.4, 0.85], year_sd: 0.05, source: {assumed: expert range}}
runs: {draws: 80, replicates: 20, seed: 41}
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two") / "study"
    shutil.copytree(shipped("scenarios/hesperwell"), folder,
                    ignore=shutil.ignore_patterns("made_by", "estimates"))
    yaml = YAML()
    written = yaml.load(folder / "study.yaml")
    written["tables"] = [t for t in written["tables"]
                         if t["is"] not in ("releases", "encounters")
                         or not any(word in t["file"] for word in LATER)]
    with (folder / "study.yaml").open("w", encoding="utf-8") as handle:
        yaml.dump(written, handle)
    with (folder / "field" / "visits.csv").open(encoding="utf-8", newline="") as handle:
        head, *rows = csv.reader(handle)
    with (folder / "field" / "visits.csv").open("w", encoding="utf-8", newline="") as handle:
        csv.writer(handle).writerows([head, *(r for r in rows if r[0] < "2020")])
    (folder / "scenarios" / "two.yaml").write_text(JUVENILES, encoding="utf-8")
    return folder


@pytest.mark.slow
def test_two_visits_bound_survival_and_the_verdict_cannot_be_told(study):
    found = estimate(read_study(study))
    summary = found.summary()
    adult = next(r for r in summary["survival"] if r["name"] == "survival/adult")
    assert adult["low"] < 0.9 and adult["high"] == 1.0
    # the invented truth lies inside every interval that is given: adults .94, subadults .84,
    # hatchery animals through release .78, the flood of 2019 .78
    truth = {"survival/adult": 0.94, "survival/subadult": 0.84, "release/hatchery": 0.78,
             "bad_year/2019 flood": 0.78}
    held = {r["name"]: r["low"] <= truth[r["name"]] <= r["high"] for r in summary["survival"]
            if r["name"] in truth}
    assert held == dict.fromkeys(truth, True)
    assert "sits at its limit: it is at least 0.8" in answer_of_estimate(summary)
    write_estimates(found, study / "estimates" / "estimates.yaml")
    told = run_summary(run(read_scenario(study / "scenarios" / "two.yaml")))
    assert told["all_goals"]["verdict"] == "cannot tell yet"
    assert told["all_goals"]["draw_low"] == 0 and told["all_goals"]["draw_high"] == 1
