"""Closed-form estimates of an open population, against Jolly 1965."""

import csv
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, marked_study

from pva.estimate.following import follow
from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.estimate.visit_by_visit import Sums, open_population, sums_of
from pva.files import read_yaml, shipped


@pytest.fixture(scope="module")
def capsids():
    case, _ = read_yaml(shipped("shared/checks/capsids.yaml"))
    with open(shipped("shared/checks/" + case["data"]), newline="") as handle:
        rows = list(csv.DictReader(handle))
    columns = ("caught", "released", "marked", "seen_again", "seen_before_and_after_not_then")
    sums = Sums(*(np.array([float(r[c]) if r[c] else np.nan for r in rows]) for c in columns))
    return case, open_population(sums)


@pytest.mark.parametrize("column, key", [("alive", "alive"), ("survival", "survival"),
                                         ("joining", "joining")])
def test_capsids(capsids, column, key):
    """Jolly 1965 (cited in the file): survival to 0.0006, numbers to 0.3; survival above 1 and a
    negative number joining are not cut."""
    case, table = capsids
    wanted = case[key]
    begin = wanted["first_sample"] - 1
    told = table[column].to_numpy()[begin : begin + len(wanted["published"])]
    tolerance = wanted.get("tolerance", case["tolerance"])
    np.testing.assert_allclose(told, wanted["published"], atol=tolerance)
    if column == "survival":
        assert told.max() > 1
    if column == "joining":
        assert told.min() < 0


def test_standard_errors_of_capsid_survival_are_near_the_published(capsids):
    """Recalled from the paper: 0.114 0.110 0.107 0.064; the formulae differ by up to 4 %."""
    _, table = capsids
    np.testing.assert_allclose(table["survival_se"][:4], [0.114, 0.110, 0.107, 0.064], rtol=0.04)


def test_estimates_from_records_agree_with_the_fitted_model():
    """Ordinary survival 0.9 a year: a visit's crude estimate lies within 3 of its SE; untagged
    animals were not recorded, so that no number alive is given."""
    made = marked_study(np.random.default_rng(5), releases=[("2018-06-01", 400, "hatchery")],
                        visits=["2019-06-01", "2020-06-01", "2021-06-01", "2022-06-01"],
                        survival=0.9, detection=0.6)
    told = estimate_records(made, Options(species=(SPECIES,), release_separate=False))
    table = told.tables["visit_by_visit"]
    assert table["visit"].tolist() == ["release", "v0", "v1", "v2", "v3"]
    gap = (table["survival"] - 0.9) / table["survival_se"]
    assert np.nanmax(np.abs(gap)) < 3
    assert table["alive"].isna().all()
    summary = told.summary()["visit_by_visit"]
    assert summary["label"] == "visit by visit, not limited to 1"
    assert summary["rows"][0]["survival"] == pytest.approx(table["survival"][0])


def test_sums_keep_the_identity_of_the_columns():
    """Missed and met again at one visit: z(i+1) = z(i) + r(i) - m(i+1), as in Jolly's table."""
    made = marked_study(np.random.default_rng(8), releases=[
        ("2018-06-01", 80, "hatchery"), ("2019-06-20", 60, "hatchery")],
        visits=["2019-06-01", "2020-06-01", "2021-06-01", "2022-06-01"], detection=0.5)
    sums, when = sums_of(follow(made), made, "Quillstone Riffle")
    assert len(when) == 5
    for i in range(1, 4):
        assert sums.missed[i + 1] == sums.missed[i] + sums.seen_again[i] - sums.marked[i + 1]


def test_a_reader_meets_no_animal_without_a_tag():
    """Every other visit works by the tag: it says nothing of how many animals there are in all."""
    made = marked_study(np.random.default_rng(6), releases=[("2018-06-01", 200, "hatchery")],
                        visits=["2019-06-01", "2020-06-01", "2021-06-01", "2022-06-01"])
    by_hand = {"v0", "v2"}
    made.visits["method"] = ["hand search" if v in by_hand else "reader"
                             for v in made.visits["visit"]]
    wild = made.encounters[made.encounters["visit"].isin(by_hand)].assign(animal=None, tag=None)
    made = replace(made, encounters=pd.concat([made.encounters, wild], ignore_index=True))
    table = estimate_records(made, Options(species=(SPECIES,))).tables["visit_by_visit"]
    table = table.set_index("visit")
    assert np.isfinite(table.at["v0", "alive"]) and np.isfinite(table.at["v2", "alive"])
    assert table.loc[["v1", "v3"], "alive"].isna().all()
    assert table["joining"].isna().all()
