"""What a donor can give, against a bed whose answer is known."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest

from pva.decide.donor import donor
from pva.errors import CannotCompute, MeaningError
from pva.lifehistory.laws import drawn_values
from pva.lifehistory.rates import POSITIVE, Rate
from pva.report.donor_words import answer_of_donor, judged_table, ways_table
from pva.report.figures.donor import donor_figure
from pva.scenario.scenario import Scenario

# A bed of about 1,000 adults (700 to 1,400) that neither breed nor die. Harmed is a bed below 600.
START = {"value": 1000, "interval": [700, 1400]}
BED = {
    "title": "known by hand", "years": {"first": 2000, "last": 2005}, "census": "before breeding",
    "stages": [{"name": "young"}, {"name": "adult", "breeds": True}],
    "survival": {"young": 1, "adult": 1}, "growth": {"young": 0}, "recruitment": {"per_adult": 0},
    "bad_years": {"none": "worked out by hand"},
    "sites": [{"name": "bed", "role": "donor", "start": {"adult": START, "young": 50}},
              {"name": "here", "start": {"adult": 0}}],
    "collections": [{"site": "bed", "stage": "adult", "number": 1, "first": 2000, "last": 2001}],
    "quasi_extinction": {"adults_below": 1}, "chance": {"individuals": False},
    "runs": {"draws": 1000, "replicates": 1, "seed": 3},
}


def bed(**changes):
    return Scenario.from_dict(copy.deepcopy(BED) | changes)


def test_largest_collection_by_hand():
    """Held at its lower limit, 700 adults, the bed falls below 600 when more than 100 are taken."""
    answer = donor(bed(), below=600)
    low, best = answer.judged
    assert low.start == "lower limit" and low.adults == pytest.approx(700, rel=1e-6)
    assert low.largest == low.surely == answer.number == 49  # 700 is 699.99... on the log scale
    assert best.adults == 1000 and best.largest == 200 and low.risk == 0
    once = {(w.stage, w.spread): w.total for w in answer.ways}
    assert once["adult", True] == 98 and once["adult", False] in (98, 99)
    assert once["young", True] == once["young", False] * 2 == 100  # all there are, each year
    assert [w.all_there for w in answer.ways] == [False, False, True, True]
    assert not low.all_there and not best.all_there
    _, rows = ways_table(answer.summary())
    assert [row[2] for row in rows] == [
        "98", "99", "100, as many a year as are there at first",
        "50, as many a year as are there at first"]


def test_the_most_that_may_be_taken_is_rounded_down():
    summary = donor(bed(), below=600).summary()
    low, best = summary["judged"]
    low |= {"largest": 108, "surely": 97}
    best |= {"largest": 1169}
    said = answer_of_donor(summary | {"number": 108})
    assert said.startswith("At most 100 adult animals a year (97 where simulation error is not to "
                           "matter, the safe choice), 2000 to 2001: ")
    assert said.endswith("from the best value, 1,000 adults, it would be 1,160.")
    assert judged_table(summary)[1][1][3] == "1,160"


def test_zero_adds_exactly_nothing_and_more_never_lowers_the_risk():
    river = copy.deepcopy(BED)
    river.update({
        "survival": {"young": 0.5, "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.05}},
        "growth": {"young": 0.5}, "recruitment": {"per_adult": 0.2}, "chance": {},
        "runs": {"draws": 16, "replicates": 20, "seed": 3}})
    answer = donor(Scenario.from_dict(river))
    for judged in answer.judged:
        first, *rest = judged.curve
        assert (first.number, first.added, first.low, first.high) == (0, 0.0, 0.0, 0.0)
        added = [t.added for t in judged.curve]
        assert added == sorted(added) and added[-1] > 0.3
    low, best = answer.judged
    assert low.largest < best.largest and answer.number == low.largest
    assert answer.threshold == round(low.adults / 2)
    more = donor(Scenario.from_dict(river), added_risk=0.3)
    assert more.number > answer.number
    json.dumps(answer.summary(), allow_nan=False)


def test_take_none_where_any_collection_is_too_much():
    answer = donor(bed(), below=699, added_risk=0.01)
    assert answer.number == 0 and answer.judged[0].years_to_regain is None
    assert answer.judged[0].risk == 0 and answer.judged[1].largest > 0


def test_a_bed_that_fails_by_itself_gives_nothing():
    """Its risk is 1 already, and nothing can be added to that: no reason to take it all."""
    answer = donor(bed(), below=701)
    assert answer.judged[0].risk == 1 and answer.number == 0
    assert {w.total for w in answer.ways} == {0}


def test_years_to_regain_by_hand():
    """Only young are added: 100 a year by movement from a nursery that never empties."""
    river = copy.deepcopy(BED)
    river.update({
        "survival": {"young": 1, "adult": 0.5}, "growth": {"young": 1},
        "sites": [{"name": "bed", "start": {"adult": 100, "young": 0}},
                  {"name": "here", "start": {"adult": 0}}],
        "collections": [{"site": "bed", "stage": "adult", "number": 1, "first": 2000}],
        "releases": [{"site": "bed", "stage": "young", "number": 50, "first": 2000, "last": 2011}],
        "years": {"first": 2000, "last": 2012}})
    answer = donor(Scenario.from_dict(river), below=70, added_risk=0.5)
    # each year half die and 50 young grow up: 100 stay 100; what was taken halves every year
    low = answer.judged[0]
    assert low.largest == 60  # 100 - 60 = 40, half and 50: 70 at the next census
    # 30 short in 2001, 15, 7.5, 3.75: within 5 % of 100 from the fourth year on
    assert low.years_to_regain == 4


def test_best_value_and_lower_limit_are_those_of_the_start():
    law = Rate("x", POSITIVE, 1000, interval=(700, 1400))
    assert float(drawn_values(law, np.array([0.025]))[0]) == pytest.approx(700)


@pytest.mark.parametrize("changes, asked, kind, message", [
    ({"collections": [], "sites": [{"name": "bed", "start": {"adult": 9}}]}, None, CannotCompute,
     "nothing is taken from any site, so there is no donor to judge. Nothing was run. Write a "
     "collection (collections: - {site, stage, number, first, last}), or a release whose source is "
     "a site."),
    ({"collections": []}, None, CannotCompute,
     "no row says when animals are taken from bed, and of which stage. Nothing was run. Write a "
     "collection there (collections: - {site, stage, number, first, last}); its number does not "
     "matter."),
    ({}, "bedd", MeaningError,
     "the scenario has no site `bedd`. Nothing was run. Did you mean `bed`?"),
    ({"collections": BED["collections"] + [{"site": "here", "stage": "adult", "number": 1,
                                            "first": 2000}]}, None, MeaningError,
     "animals are taken from several sites: bed, here. Nothing was run. Say which is asked about, "
     "with --site."),
])
def test_a_donor_that_cannot_be_judged(changes, asked, kind, message):
    with pytest.raises(kind) as caught:
        donor(bed(**changes), site=asked)
    assert str(caught.value) == message


def test_figure_names_both_numbers():
    summary = donor(bed(), below=600).summary()
    figure = donor_figure("donor", summary)
    assert "up to 49 a year" in figure.alternative and "up to 200 a year" in figure.alternative
    assert len(figure.data.rows) == sum(len(j["curve"]) for j in summary["judged"])
