"""Apparent and corrected survival: lost tags (constant, with age), leaving, availability."""

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES
from lost_from_view import AROUND, study

from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.estimate.staying import Staying, met_in_and_out, staying_outside
from pva.estimate.tag_loss import retention

RELEASES = [("2015-09-01", 400), ("2016-09-20", 400)]
VISITS = ["2016-09-01", "2017-09-05", "2018-08-20", "2020-09-10", "2021-09-01"]
PLAIN = {"species": (SPECIES,), "release_separate": False}


def told_of(rng, **facts):
    options = Options(**PLAIN, **facts.pop("options", {}))
    return estimate_records(study(rng, releases=RELEASES, visits=VISITS, **facts), options)


def off(estimate, truth):
    """Distance from the truth in standard errors, logit scale."""
    return (estimate.link.mean - np.log(truth / (1 - truth))) / estimate.link.se


def meetings(rng, *, loss, shape, animals=400, years=(1, 2, 3.2, 4, 5, 6)):
    """Meetings of animals with two marks; the second mark is lost at 0.06 a year."""
    rows = []
    for animal in range(animals):
        tag = (rng.exponential() / loss) ** (1 / shape)
        second = rng.exponential() / 0.06
        dies, since = rng.exponential(-1 / np.log(0.92)), 0.0
        for t in years:
            has = t < tag, t < second
            if t > dies or not any(has):
                break
            if rng.random() < 0.7:
                rows.append((animal, since, t, *has))
                if not all(has):
                    break
                since = t
    return pd.DataFrame(rows, columns=["animal", "start", "end", "has_tag", "has_second"])


@pytest.mark.slow
@pytest.mark.parametrize("loss, shape, name", [
    (0.03, 1.0, "loss constant"), (0.012, 2.0, "loss changing with the age of the mark")])
def test_retention_is_recovered_and_the_kind_of_loss_told(loss, shape, name):
    """40 runs each: first-year retention inside its 95 % interval at least 33 times (false alarm 1
    in 700); the right kind has the lower AICc at least 28 times; retention to age 6 within 0.02 on
    average."""
    rng = np.random.default_rng(3)
    inside, right, sixth = 0, 0, []
    for _ in range(40):
        told = retention(meetings(rng, loss=loss, shape=shape))
        low, high = told.interval
        inside += low < np.exp(-loss) < high
        right += told.name == name
        sixth.append(float(told.kept(0, 6)))
        assert {told.name, told.rival.name} == {
            "loss constant", "loss changing with the age of the mark"}
    assert inside >= 33 and right >= 28
    assert np.mean(sixth) == pytest.approx(np.exp(-loss * 6**shape), abs=0.02)


def test_a_constant_loss_misses_marks_that_get_worse_with_age():
    """The wrong model: marks that wear out, taken to be lost at a constant rate."""
    told = retention(meetings(np.random.default_rng(5), loss=0.012, shape=2.0, animals=1500))
    assert told.name.startswith("loss changing") and told.rival.aicc - told.aicc > 10
    truth = np.exp(-0.012 * (36 - 25))
    assert float(told.kept(5, 6)) == pytest.approx(truth, abs=0.03)
    assert float(told.rival.kept(5, 6)) > truth + 0.05


def test_two_percent_of_tags_lost_turn_95_into_931():
    """Survival 0.95, 2 % of tags lost a year: apparent 0.931, corrected within 3 SE of the truth;
    the apparent interval alone would shut the truth out."""
    facts = {"releases": [("2015-09-01", 1200), ("2016-09-20", 1200)], "visits": VISITS,
             "survival": 0.95, "detection": 0.7}
    made = study(np.random.default_rng(11), tag_loss=-np.log(0.98), second_loss=-np.log(0.97),
                 **facts)
    told = estimate_records(made, Options(**PLAIN))
    estimate = told.rates["survival/all"]
    assert abs(off(estimate, 0.95)) < 3
    assert estimate.apparent == pytest.approx(0.931, abs=0.006)
    row = told.summary()["survival"][0]
    assert row["apparent"] < row["corrected"] and row["corrected_for"] == ["lost tags"]
    assert "leaving the site counts as death" in estimate.note
    alone = {**made.__dict__, "releases": made.releases.assign(second_mark=None),
             "encounters": made.encounters[made.encounters["tag"].notna()]}
    wrong = estimate_records(type(made)(**alone), Options(**PLAIN)).rates["survival/all"]
    assert wrong.interval[1] < 0.95
    assert "lost tags count as deaths" in wrong.note


def test_tags_lost_faster_with_age_are_corrected():
    told = told_of(np.random.default_rng(13), survival=0.9, detection=0.7, tag_loss=0.012,
                   tag_shape=2.0, second_loss=0.05)
    assert told.summary()["tag_retention"]["model"] == "loss changing with the age of the mark"
    assert len(told.summary()["tag_retention"]["models"]) == 2
    assert abs(off(told.rates["survival/all"], 0.9)) < 3


def test_leaving_given_as_a_number_is_corrected_with_its_doubt():
    """Survival 0.9, staying 0.9: apparent near 0.81, and the doubt about staying widens."""
    given = {"given": (Staying(0.9, 0.02, "a telemetry study (invented)"),)}
    sure = {"given": (Staying(0.9, 0.0, "a telemetry study (invented)"),)}
    told, certain = (told_of(np.random.default_rng(17), staying=0.9, options=o)
                     for o in (given, sure))
    estimate = told.rates["survival/all"]
    assert abs(off(estimate, 0.9)) < 3
    assert estimate.apparent == pytest.approx(0.81, abs=0.02)
    assert estimate.link.se > 1.2 * certain.rates["survival/all"].link.se
    assert ("corrected for leaving the site: 0.900 a year (SE 0.020; a telemetry study (invented))"
            in told.notes)
    wrong = told_of(np.random.default_rng(17), staying=0.9).rates["survival/all"]
    assert wrong.interval[1] < 0.87


def test_leaving_is_told_from_meetings_outside_the_site():
    """Surroundings searched half as well as the site (0.3 against 0.6): staying 0.9 recovered."""
    options = {"outside": (AROUND,), "outside_searched": 0.5}
    made = study(np.random.default_rng(19), releases=RELEASES, visits=VISITS, staying=0.9,
                 outside=0.3)
    table = met_in_and_out(made, (AROUND,))
    stays = staying_outside(table, 0.5)
    assert abs(stays.value - 0.9) < 3 * stays.se and stays.se < 0.02
    as_well = staying_outside(table, 1.0)  # the wrong search: too few seem to have left
    assert as_well.value > 0.9 + 3 * as_well.se
    told = estimate_records(made, Options(**PLAIN, **options))
    assert abs(off(told.rates["survival/all"], 0.9)) < 3
    assert told.rates["survival/all"].apparent < 0.84


@pytest.mark.slow
def test_staying_is_covered_in_simulations():
    """40 runs: the 95 % interval (2 SE) holds 0.9 at least 33 times (false alarm 1 in 700)."""
    rng, inside = np.random.default_rng(23), 0
    for _ in range(40):
        made = study(rng, releases=[("2015-09-01", 150), ("2016-09-20", 150)], visits=VISITS[:3],
                     staying=0.9, outside=0.3)
        stays = staying_outside(met_in_and_out(made, (AROUND,)), 0.5)
        inside += abs(stays.value - 0.9) < 1.96 * stays.se
    assert inside >= 33


def test_availability_is_told_from_passes_and_does_not_bias_survival():
    """70 % within reach at a visit, 3 passes of 0.4 each: availability and survival within 3 SE."""
    told = told_of(np.random.default_rng(29), available=0.7, detection=0.4, passes=3)
    estimate = told.rates["availability/all"]
    assert abs(estimate.value - 0.7) < 3 * estimate.se and estimate.se < 0.05
    assert abs(off(told.rates["survival/all"], 0.9)) < 3
    assert "those that stay out of reach count as dead" in estimate.note
    assert told.summary()["availability"][0]["name"] == "availability/all"


def test_every_animal_within_reach_is_told_as_such():
    told = told_of(np.random.default_rng(31), available=1.0, detection=0.4, passes=3)
    estimate = told.rates["availability/all"]
    assert estimate.interval[1] == pytest.approx(1.0) and estimate.value > 0.9
