"""A scenario told over the past: releases as made, bad years as they happened, records cut off."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from pva.decide.past import past_of
from pva.decide.seen import QUADRATS, RECAPTURES, all_seen
from pva.errors import CannotCompute
from pva.estimate.estimates import Estimate, Estimates
from pva.estimate.options import options_of
from pva.field import read_records, read_study
from pva.field.until import last_year, records_before
from pva.scenario.scenario import Scenario

TOP = Path(__file__).resolve().parents[2]
ASSUMED = {"source": {"assumed": "test"}}
WRITTEN = {
    "title": "Past of the invented river", "years": {"first": 2017, "last": 2025},
    "census": "before breeding",
    "stages": [{"name": "age 1", "years": 1}, {"name": "juvenile", "years": 1},
               {"name": "subadult", "length_mm": [30, 50]},
               {"name": "adult", "length_mm": [50, 95], "breeds": True}],
    "survival": {n: {"value": v, **ASSUMED} for n, v in
                 (("age 1", 0.6), ("juvenile", 0.7), ("subadult", 0.85), ("adult", 0.93))},
    "growth": {"subadult": {"value": 0.3, **ASSUMED}},
    "recruitment": {"per_adult": {"value": 0.1, **ASSUMED}},
    "bad_years": [{"name": "flood", "chance": 0.05, "survival": 0.7}],
    "sites": [{"name": n, "area_m2": a, "start": {"adult": 0}} for n, a in
              (("Quillstone Riffle", 1500), ("Tallow Bend", 1100))],
    "releases": [{"name": "old", "site": "Tallow Bend", "stage": "subadult", "number": 1,
                  "first": 2017, "last": 2017, "source": "hatchery",
                  "first_year_survival": {"value": 0.7, **ASSUMED}}],
    "quasi_extinction": {"adults_below": 1, "from": 2025},
    "runs": {"draws": 8, "replicates": 4, "seed": 1},
}


@pytest.fixture(scope="module")
def study():
    return read_study(TOP / "scenarios/hesperwell")


@pytest.fixture(scope="module")
def records(study):
    return read_records(study)


@pytest.fixture(scope="module")
def resolved():
    return Scenario.from_dict(WRITTEN).resolved


def test_releases_as_made(records, resolved):
    """Numbers by site, stage and year are those of the release tables; batches are not marked."""
    past = past_of(resolved, records, ("2019 flood",))
    rows = {r.name: (r, m) for r, m in zip(past.resolved.releases, past.marked, strict=True)}
    young, marked = rows["age 1 1 of hatchery to Quillstone Riffle"]
    assert young.numbers == {2019: 900.0, 2021: 900.0} and marked.sum() == 0
    adults, marked = rows["adult 1 of Osprey Shoal to Tallow Bend"]
    assert adults.numbers == {2018: 110.0} and marked.tolist() == [0, 110] + [0] * 6
    made = records.releases
    made = made[made["site"].isin(["Quillstone Riffle", "Tallow Bend"])
                & made["source"].ne("first capture")]
    assert sum(sum(r.numbers.values()) for r in past.resolved.releases) == made["number"].sum()
    assert past.marked.sum() == made["animal"].notna().sum()
    hatchery = next(r for r in past.resolved.releases if r.source == "hatchery")
    assert hatchery.first_year_survival.value == 0.7
    assert past.notes[-1] == ("Releases whose source has neither a row in the scenario nor an "
                              "estimate survive their first year like residents: Osprey Shoal.")


def test_release_survival_of_another_source_is_its_estimate(records, resolved):
    told = Estimates({"release/Osprey Shoal": Estimate("release/Osprey Shoal", 0.9, se=0.03)})
    past = past_of(resolved, records, ("2019 flood",), estimates=told)
    row = next(r for r in past.resolved.releases if r.source == "Osprey Shoal")
    assert (row.first_year_survival.value, row.times_survival) == (0.9, True)


def test_a_flood_before_the_surveys_belongs_to_the_model_year_before(records, resolved):
    """Crews come from July to October: the flood of 2019 lies between the censuses of 2018 and
    2019; one of November 2019 lies after that of 2019. No other year floods."""
    for named, year in (("2019 flood", 2018), ("2019-11 flood", 2019), ("2019-05 flood", 2018)):
        flood, = past_of(resolved, records, (named,)).resolved.bad_years
        assert (flood.years, flood.chance) == ((year,), 0.0)
    assert past_of(resolved, records, ()).resolved.bad_years[0].years == ()


def test_what_does_not_fit_is_refused(records, resolved):
    with pytest.raises(CannotCompute) as caught:
        past_of(resolved, records, ("2019 spill",))
    assert str(caught.value) == (
        "the scenario has no kind of bad year for `2019 spill` of the study. Nothing was run. Add "
        "it under `bad_years`, called `spill`.")
    with pytest.raises(CannotCompute, match="rows of releases are earlier than 2019, the first"):
        past_of(replace(resolved, first=2019), records, ())
    elsewhere = replace(resolved, sites=(replace(resolved.sites[0], name="Elsewhere"),))
    with pytest.raises(CannotCompute, match="no release was made at the sites and in the years"):
        past_of(elsewhere, records, ())


def test_counts_of_the_field(study, records, resolved):
    """Adults dug and tagged animals seen alive, counted here in another way."""
    told = Estimates({f"detection/{m}": Estimate(f"detection/{m}", v, se=0.02)
                      for m, v in (("antenna", 0.7), ("hand search", 0.4))})
    options = options_of(study)
    seen, notes = all_seen(records, options, told, resolved)
    assert notes == []
    by = {(s.what, s.site, s.when): s for s in seen}
    dug = by[QUADRATS, "Quillstone Riffle", "2025"]
    animals = records.animals.merge(records.units[["survey", "site", "unit", "excavated"]],
                                    on=["survey", "site", "unit"], suffixes=("", "_unit"))
    own = animals[(animals["survey"] == "2025") & (animals["site"] == "Quillstone Riffle")
                  & (animals["excavated_unit"] != False) & (animals["length_mm"] >= 50)]  # noqa: E712
    assert (dug.count, dug.units, dug.unit_m2) == (len(own), 108.0, 0.25)
    met = by[RECAPTURES, "Tallow Bend", "2022-10"]
    assert met.detection == (0.7, 0.02) and met.year == 2022 and met.count > 200
    _, notes = all_seen(records, options, Estimates({}), resolved)
    assert notes[0].startswith("Visits left out because the chance of being seen is not known")


def test_records_before_a_year(records):
    """What is left and what is cut add up, and nothing dated later stays."""
    assert last_year(records) == 2025
    cut = records_before(records, 2025)
    assert last_year(cut) == 2024
    assert not cut.encounters["visit"].str.startswith("2025").any()
    assert len(cut.visits) == len(records.visits) - 3
    assert set(cut.units["survey"]) == set(cut.animals["survey"]) == {"2019", "2022"}
    assert len(cut.releases) == (pd.to_datetime(records.releases["date"]).dt.year < 2025).sum()
    assert last_year(records_before(records, 1990)) is None
