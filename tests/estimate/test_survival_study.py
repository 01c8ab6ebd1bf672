"""From field records to survival: what is recovered, what is refused, and in which words."""

import numpy as np
import pytest
from invented import SPECIES, marked_study, records

from pva.errors import MeaningError
from pva.estimate.following import follow
from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.estimate.tag_loss import meetings, retention

VISITS = ["2019-08-15", "2020-10-01", "2022-07-20", "2023-09-10"]
RELEASES = [("2018-09-01", 250, "hatchery"), ("2019-09-20", 250, "hatchery"),
            ("2020-10-20", 200, "hatchery")]
PLAIN = Options(species=(SPECIES,))


def row(told, name):
    return next(r for r in told.summary()["survival"] if r["name"] == name)


@pytest.fixture(scope="module")
def told():
    made = marked_study(np.random.default_rng(21), releases=RELEASES, visits=VISITS,
                        survival=0.9, release_survival=0.7, detection=0.6)
    return estimate_records(made, PLAIN)


def test_survival_after_release_is_its_own_number(told):
    """One data set, fixed seed: both true values within 3 SE (1 false alarm in 370 each)."""
    for name, truth in (("survival/all", 0.9), ("release/hatchery", 0.7)):
        estimate = told.rates[name]
        gap = estimate.link.mean - np.log(truth / (1 - truth))
        assert abs(gap) < 3 * estimate.link.se
    pooled = Options(species=(SPECIES,), release_separate=False)
    made = told.records
    mixed = estimate_records(made, pooled).rates["survival/all"]
    assert mixed.value < 0.87  # the wrong model: pooling drags yearly survival down


def test_summary_has_every_promised_key(told):
    summary = told.summary()
    assert {"rows", "survival", "detection", "tag_retention", "growth", "models", "fit", "density",
            "recruits", "level"} <= set(summary)
    assert {"name", "apparent", "corrected", "se", "low", "high", "year_sd", "n"} <= set(
        summary["survival"][0])
    assert {"name", "parameters", "loglik", "aicc", "weight"} <= set(summary["models"][0])
    assert summary["models"][0]["name"].startswith("survival ")
    assert sum(m["weight"] for m in summary["models"]) == pytest.approx(1.0)
    assert set(summary["fit"]) >= {"overdispersion", "p_value"}
    assert summary["tag_retention"] is None
    assert "level" in summary and summary["level"] == 3
    assert summary["level_words"] == "tags and three visits or more; no animal was measured twice"


def test_joint_covariance_has_the_rates_of_the_file(told):
    assert told.covariance.keys == ("survival/all", "release/hatchery")
    spread = np.sqrt(np.diag(told.covariance.matrix))
    assert spread == pytest.approx([told.rates[k].link.se for k in told.covariance.keys])
    assert told.covariance.matrix[0, 1] < 0  # survival and release survival compete


def test_two_visits_give_bounds_and_no_point():
    made = marked_study(np.random.default_rng(2), releases=RELEASES[:1], visits=VISITS[:1],
                        survival=0.9, detection=0.6)
    told = estimate_records(made, PLAIN)
    assert told.level == 2
    estimate = told.rates["survival/all"]
    assert estimate.value is None and estimate.link is None
    assert estimate.note == (
        "bounds: with two visits survival cannot be told apart from detection")
    low, high = estimate.interval
    assert low < 0.9 < high == 1.0
    assert low == pytest.approx(0.6 * 0.9, abs=0.12)


def test_a_few_days_give_no_yearly_figure():
    made = marked_study(np.random.default_rng(2), releases=[("2018-09-01", 60, "hatchery")],
                        visits=["2018-09-12"], survival=0.9)
    note = estimate_records(made, PLAIN).rates["survival/all"].note
    assert "over 11 days" in note and "nor from so short an interval for a year" in note


def test_too_few_animals_are_refused_with_the_number_needed():
    made = marked_study(np.random.default_rng(6), releases=[("2018-09-01", 12, "hatchery")],
                        visits=VISITS, survival=0.9, detection=0.2)
    told = estimate_records(made, PLAIN)
    refused = next(r for r in told.summary()["refused"] if r["what"] == "survival")
    assert "of 12 marked animals were seen again; fewer than 10 tell nothing" in refused["why"]
    assert refused["needed"].endswith("marked animals at this rate")
    assert told.rates.get("survival/all") is None


def test_one_release_with_survival_by_interval_is_not_reported():
    """One release: the model with survival by interval cannot tell release survival, and is shown
    after those that can."""
    made = marked_study(np.random.default_rng(9), releases=RELEASES[:1], visits=VISITS,
                        survival=0.85, release_survival=0.7)
    result = estimate_records(made, PLAIN).by_species[SPECIES]
    by_year = [m for m in result.models if m.name.startswith("survival by year, release")]
    assert by_year and all(not m.fit.told[m.laid.design.slices["release"]].all() for m in by_year)
    assert "by year" not in result.models[0].name


def test_tag_loss_is_corrected_and_shown_beside_apparent_survival():
    """Tags kept 0.93 a year, second marks 0.9, survival 0.9: corrected within 3 SE, apparent below
    it by about the loss."""
    made = marked_study(np.random.default_rng(33), releases=RELEASES, visits=VISITS, survival=0.9,
                        detection=0.7, tag_kept=0.93, second_kept=0.9)
    kept = retention(meetings(made))
    assert abs(kept.logit[0] - np.log(0.93 / 0.07)) < 3 * np.sqrt(kept.covariance[0, 0])
    told = estimate_records(made, PLAIN)
    estimate = told.rates["survival/all"]
    assert abs(estimate.link.mean - np.log(9)) < 3 * estimate.link.se
    assert estimate.apparent / estimate.value == pytest.approx(kept.tag, abs=0.01)
    shown = row(told, "survival/all")
    assert shown["apparent"] < shown["corrected"]


def test_animals_heard_only_have_three_readings():
    made = marked_study(np.random.default_rng(4), releases=RELEASES, visits=VISITS, survival=0.9,
                        detection=0.8, heard=0.25)
    shown = row(estimate_records(made, PLAIN), "survival/all")
    assert shown["heard_dead"] < shown["apparent"]
    assert shown["heard_low"] <= 0.9 <= shown["heard_high"] + 3 * shown["se"]
    assert shown["heard_dead"] < 0.85


def test_an_animal_met_at_another_site_is_followed_there():
    encounters = [{"animal": "A", "tag": "A", "site": s, "visit": v, "date": d, "status": "alive"}
                  for s, v, d in (("Upper", "v0", "2019-08-01"), ("Lower", "v1", "2020-08-02"),
                                  ("Upper", "v1", "2020-08-03"), ("Lower", "v2", "2021-08-01"))]
    visits = [{"visit": f"v{k}", "site": s, "first_date": d, "last_date": d, "method": "hand"}
              for s in ("Upper", "Lower") for k, d in enumerate(
                  ("2019-08-01", "2020-08-02", "2021-08-01"))]
    made = records(
        releases=[{"animal": "A", "tag": "A", "species": SPECIES, "site": "Upper",
                   "date": "2018-08-01", "source": "hatchery", "number": 1}],
        encounters=encounters, visits=visits)
    followed = follow(made)
    assert followed.steps.groupby("follow")["site"].first().tolist()[0] == "Upper"
    assert followed.notes == (
        "3 animals were met alive at another site and are followed there from then",)


def test_a_shell_counts_for_the_interval_that_its_date_says():
    """A shell dated before a visit but written on a later sheet ends the earlier interval."""
    visits = [{"visit": f"v{k}", "site": "Upper", "first_date": d, "last_date": d,
               "method": "hand"} for k, d in enumerate(("2019-08-01", "2020-08-01", "2021-08-01"))]
    made = records(
        releases=[{"animal": "A", "tag": "A", "species": SPECIES, "site": "Upper",
                   "date": "2018-08-01", "source": "hatchery", "number": 1}],
        encounters=[{"animal": "A", "tag": "A", "site": "Upper", "visit": "v2",
                     "date": "2020-03-01", "status": "shell"}],
        visits=visits)
    steps = follow(made).steps
    assert steps["status"].tolist() == ["", "shell"]
    assert steps["visit"].tolist() == ["v0", "v1"]


def test_a_removed_animal_leaves_the_sample_alive():
    visits = [{"visit": f"v{k}", "site": "Upper", "first_date": d, "last_date": d,
               "method": "hand"} for k, d in enumerate(("2019-08-01", "2020-08-01", "2021-08-01"))]
    made = records(
        releases=[{"animal": "A", "tag": "A", "species": SPECIES, "site": "Upper",
                   "date": "2018-08-01", "source": "hatchery", "number": 1}],
        encounters=[{"animal": "A", "tag": "A", "site": "Upper", "visit": "v1",
                     "date": "2020-08-01", "status": "removed"}],
        visits=visits)
    assert follow(made).steps["status"].tolist() == ["", "removed"]


def test_another_model_can_be_asked_for_by_its_name(told):
    other = told.summary()["models"][1]["name"]
    asked = estimate_records(told.records, PLAIN, model=other)
    assert asked.summary()["models"][0]["name"] == other
    with pytest.raises(MeaningError) as caught:
        estimate_records(told.records, PLAIN, model=other.replace("detection", "detecton"))
    assert caught.value.problems[0].what.endswith(f"; the nearest is `{other}`")


def test_second_marks_that_nobody_wrote_down_are_no_losses():
    """True retention 0.95 and 0.90; at the first two visits no second mark was noted where the tag
    could be read. Taken for losses, they would say that two in three second marks fall off."""
    made = marked_study(np.random.default_rng(8), releases=[("2018-06-01", 300, "hatchery")],
                        visits=["2019-06-01", "2020-06-01", "2021-06-01", "2022-06-01"],
                        tag_kept=0.95, second_kept=0.90)
    whole = retention(meetings(made))
    early = made.encounters["visit"].isin(["v0", "v1"]) & made.encounters["tag"].notna()
    made.encounters.loc[early, "second_mark"] = None
    told = estimate_records(made, Options())
    half = told.by_species[SPECIES].retention
    assert half.meetings < whole.meetings
    assert half.second_mark > 0.8 and abs(half.tag - 0.95) < 3 * half.se
    assert ("no second mark was written down at Quillstone Riffle v0, Quillstone Riffle v1: these "
            "meetings tell nothing of tag loss") in told.notes
