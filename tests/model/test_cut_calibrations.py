"""Draws in which a calibrated share would exceed 1 are counted and told."""

from __future__ import annotations

from pva.model.assemble import assemble
from pva.scenario.scenario import Scenario

WRITTEN = {
    "title": "weak attachment", "years": {"first": 2000, "last": 2005},
    "census": "before breeding",
    "stages": [{"name": "young", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {"young": 0.6, "adult": 0.9},
    "recruitment": {
        "glochidia": 50000, "attachment": {"value": 1e-4, "interval": [1e-5, 1e-3]},
        "settlement": {"calibrate": {"recruits_per_adult": 0.4, "hosts_per_100m2": 10,
                                     "adults_per_m2": 0.05}},
        "hosts": [{"name": "drum", "suitability": 0.8, "contact": 0.05}]},
    "sites": [{"name": "A", "area_m2": 1000, "start": {"adult": 50},
               "hosts": {"drum": {"per_100m2": 10}}}],
    "bad_years": {"none": "a test"}, "quasi_extinction": {"adults_below": 5},
    "runs": {"draws": 40, "replicates": 1, "seed": 1},
}


def test_cut_draws_are_counted():
    model = assemble(Scenario.from_dict(WRITTEN).resolved, seed=1)
    cut, = model.warnings
    settlement = model.plan.recruits.chain_slot[0, 4]
    at_one = int((model.draws.value[:, 0, settlement] == 1).sum())
    assert 0 < at_one < 40
    assert cut == (
        f"in {at_one} of 40 parameter draws settlement would have to exceed 1 to reach its target; "
        "it was cut at 1, so these draws have fewer recruits than the target says")


def test_nothing_is_said_where_nothing_was_cut():
    strong = Scenario.from_dict(WRITTEN).with_changes(
        {"recruitment.attachment": {"value": 1e-3, "interval": [5e-4, 2e-3]}})
    assert assemble(strong.resolved, seed=1).warnings == ()
