"""Every term of `differs_by`, from tables on disk and study.yaml to the reported effects."""

import json

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

import pva
from pva.errors import MeaningError

SURVIVAL = ["site", "source", "batch", "stage", "length", "year"]
DETECTION = ["site", "source", "batch", "stage", "length", "year", "visit", "method", "effort",
             "passes"]
FIRST, LAST = 2011, 2016


def tables(folder, rng):
    """Two sites, two sources, three releases; adults survive better than subadults, the hatchery's
    animals less well; finding them takes effort."""
    n = 500
    animals = pd.DataFrame({
        "tag": [f"T{i:05d}" for i in range(n)], "species": "Lampsilis ficta",
        "site": rng.choice(["Lower", "Upper"], n), "source": rng.choice(["hatchery", "river"], n),
        "year": rng.choice([2010, 2011, 2012], n), "length_mm": np.round(rng.uniform(25, 75, n))})
    animals["date"] = animals["year"].astype(str) + "-09-01"
    animals["batch"] = animals["source"] + animals["year"].astype(str)
    animals.drop(columns="year").to_csv(folder / "releases.csv", index=False)
    visits = [(f"{site[0]}{year}", site, f"{year}-08-31", f"{year}-08-31",
               "raft" if year % 2 else "hand", effort * (1 + (site == "Upper")), 1 + (year % 3))
              for year, effort in zip(range(FIRST, LAST + 1), (3, 20, 8, 5, 40, 12), strict=True)
              for site in ("Lower", "Upper")]
    visits = pd.DataFrame(visits, columns=["visit", "site", "first_date", "last_date", "method",
                                           "effort_hours", "passes"])
    visits.to_csv(folder / "visits.csv", index=False)
    yearly = expit(1.6 + 0.6 * (animals["length_mm"] - 50) / 10
                   - 0.4 * np.where(animals["source"] == "hatchery", 1, -1))
    met = []
    alive = np.ones(n, bool)
    for year in range(FIRST, LAST + 1):
        here = animals["year"] < year
        alive &= ~here | (rng.random(n) < yearly)
        for visit in visits[visits["last_date"].str.startswith(str(year))].itertuples():
            chance = expit(0.2 + 0.7 * np.log(visit.effort_hours / 12))
            found = here & alive & (animals["site"] == visit.site) & (rng.random(n) < chance)
            met += [(visit.visit, visit.site, t, visit.last_date, "alive", size) for t, size in
                    zip(animals["tag"][found], animals["length_mm"][found], strict=True)]
    pd.DataFrame(met, columns=["visit", "site", "tag", "date", "status", "length_mm"]).to_csv(
        folder / "encounters.csv", index=False)


STUDY = """
title: Every term (invented)
species: [Lampsilis ficta]
sites: [{{name: Lower}}, {{name: Upper}}]
tables:
  - {{file: releases.csv, is: releases}}
  - {{file: encounters.csv, is: encounters}}
visits: {{from: visits.csv}}
stages:
  - {{name: subadult, length_mm: [0, 50]}}
  - {{name: adult, length_mm: [50, 100]}}
survival: {{differs_by: {survival}, release: {release}, average: {average}}}
detection: {{differs_by: {detection}}}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("every_term")
    tables(folder, np.random.default_rng(44))
    return folder


def told(folder, survival, detection, average="false", release="pooled"):
    (folder / "study.yaml").write_text(STUDY.format(
        survival=json.dumps(survival), detection=json.dumps(detection), average=average,
        release=release))
    return pva.estimate(folder).summary()


def test_survival_by_each_term_is_tried(folder):
    """Stages are always told apart; each other term alone beside them."""
    names = [m["name"] for m in told(folder, SURVIVAL, [])["models"]]
    for term in SURVIVAL:
        wanted = "survival by stage" if term == "stage" else f"survival by stage and {term}"
        assert any(n.startswith(wanted + ",") for n in names)


def test_detection_by_each_term_is_tried(folder):
    names = [m["name"] for m in told(folder, [], DETECTION)["models"]]
    for term in DETECTION:
        assert any(n.endswith(f"detection by {term}") for n in names)


def test_planted_effects_reach_the_summary(folder):
    """Source and length of survival, effort of detection: in the reported model, truth within 3.5
    SE of the effect (length: the stages share it, so only its direction)."""
    summary = told(folder, ["source", "length", "site"], ["effort", "method"], average="true")
    reported = summary["models"][0]["name"]
    assert "source" in reported and "length" in reported
    assert "detection by effort" in reported
    effects = {row["name"]: row for row in summary["effects"]}
    for name, truth in (("survival: source hatchery", -0.4), ("detection: effort", 0.7)):
        assert abs(effects[name]["logit"] - truth) < 3.5 * effects[name]["se"]
        assert abs(truth) > 3 * effects[name]["se"]
    assert effects["survival: length"]["low"] > 0
    averaged = summary["averaged"]
    assert {row["name"] for row in averaged} >= {"survival/adult", "survival/subadult"}
    assert sum(m["weight"] for m in averaged[0]["models"]) == pytest.approx(1.0)
    years = summary["years"]
    assert years["low"] <= years["sd"] <= years["high"] and years["intervals"] == 6
    questions = {row["question"] for row in summary["fit"]["by_question"]}
    assert questions == {"new against earlier marked", "seen against missed"}
    json.dumps(summary, allow_nan=False)


def test_survival_by_source_and_batch_have_rates_of_their_own(folder):
    summary = told(folder, ["source"], ["effort"])
    rates = {row["name"]: row for row in summary["survival"]}
    apart = [logit(rates[f"survival/adult @ {s}"]["apparent"]) for s in ("river", "hatchery")]
    assert apart[0] - apart[1] == pytest.approx(0.8, abs=0.5)


def test_what_survival_cannot_differ_by_is_refused_with_its_line(folder):
    (folder / "study.yaml").write_text(STUDY.format(
        survival='[site, effort]', detection='[bad_years, sex]', average="false",
        release="pooled"))
    with pytest.raises(MeaningError) as caught:
        pva.estimate(folder)
    said = [str(p) for p in caught.value.problems]
    assert said[0].endswith(
        "survival cannot differ by `effort`. How animals were looked for changes who is found, not "
        "who lives or grows: write `effort` under `detection`, or `year` here.")
    assert said[1].endswith("detection cannot differ by `bad_years`. A bad year changes survival: "
                            "name it there, and write `visit` here.")
    assert "detection cannot differ by `sex`. Allowed are site, source, stage, length," in said[2]
    assert "line 12" in said[0] and "line 13" in said[1]
