"""From the scenario to plain arrays: what is drawn, spread, calibrated and shared."""

from dataclasses import replace

import numpy as np
import pytest

from pva.engine.run import simulate
from pva.lifehistory.rates import PROBABILITY, LinkMoments
from pva.model.addresses import address
from pva.model.assemble import assemble
from pva.model.draws import DrawTable
from pva.model.matrix import site_matrix
from pva.model.record import T_RECRUITS
from pva.model.recruit_arrays import Calibrations
from pva.model.start import spread
from pva.scenario.scenario import Scenario

SEED = 3
OFF = {"unknown": "off", "years": "off", "individuals": "off"}


def resolve(**written):
    plain = {
        "title": "test", "census": "before breeding", "years": {"first": 2000, "last": 2004},
        "stages": [{"name": "young"}, {"name": "adult", "breeds": True}],
        "survival": {"young": 0.5, "adult": 0.8}, "growth": {"young": 0.4},
        "recruitment": {"per_adult": 0.6}, "start": {"young": 100, "adult": 50},
        "bad_years": {"none": "test"}, "quasi_extinction": {"adults_below": 1},
        "runs": {"draws": 1, "replicates": 1, "seed": SEED},
    }
    return Scenario.from_dict(plain | written).resolved


def classes_by_year(resolved):
    """Animals by census, site and class, summed over origins and draws."""
    model = assemble(resolved, seed=SEED)
    blocks = simulate(model.plan, model.draws, seed=SEED, replicates=1, threads=1)
    return sum(b.stage_sum for b in blocks).sum(axis=1)


# tables by year


def test_a_table_by_year_beside_a_value():
    """The table says what holds in its years; the value is the best value of everything else."""
    scenario = resolve(chance=OFF, survival={
        "young": 0.5, "adult": {"value": 0.8, "by_year": {2000: 0.5, 2002: 0.9}}})
    found = classes_by_year(scenario)[:, 0]
    # adults: .2 of the young grow up, and .5 of the adults live in 2000 and 2001
    assert found[1, 1] == pytest.approx(0.2 * 100 + 0.5 * 50)
    assert found[2, 1] == pytest.approx(0.2 * found[1, 0] + 0.5 * found[1, 1])
    assert found[3, 1] == pytest.approx(0.2 * found[2, 0] + 0.9 * found[2, 1])
    assert site_matrix(scenario, scenario.sites[0]).u[1, 1] == pytest.approx(0.8)


def test_a_draw_moves_the_whole_table_on_the_link_scale():
    table = {2000: 0.5, 2002: 0.9}
    scenario = resolve(chance={"individuals": "off", "years": "off"},
                       runs={"draws": 40, "replicates": 1}, survival={
                           "young": 0.5, "adult": {"value": 0.5, "se": 0.1, "by_year": table}})
    model = assemble(scenario, seed=SEED)
    slot = model.plan.life.survival_slot[0, 1]
    early, late = model.draws.value[:, 0, slot], model.draws.value[:, -1, slot]
    shift = np.log(late / (1 - late)) - np.log(early / (1 - early))
    assert shift == pytest.approx(np.log(9))  # logit .9 - logit .5 in every draw
    assert early.std() > 0.05


# one draw, one slot


def test_rates_that_share_a_draw_keep_their_own_values():
    sites = [{"name": n, "start": {"adult": 100}, "survival": {
        "adult": {"value": v, "se": 0.05, "draw": "common"}}}
        for n, v in (("Quillstone", 0.5), ("Tallow", 0.9))]
    scenario = resolve(sites=sites, recruitment={"per_adult": 0}, chance=OFF)
    found = classes_by_year(scenario)[1]
    assert found[:, 1] == pytest.approx([50, 90])
    drawn = assemble(replace(scenario, chance=replace(scenario.chance, unknown=True),
                             runs=replace(scenario.runs, draws=30)), seed=SEED)
    low, high = (drawn.draws.value[:, 0, drawn.plan.life.survival_slot[s, 1]] for s in (0, 1))
    assert (np.argsort(low) == np.argsort(high)).all()  # the same draw, each by its own law


def test_one_rate_at_several_sites_is_one_draw():
    scenario = resolve(sites=[{"name": n, "start": {"adult": 9}} for n in ("A", "B")],
                       survival={"young": 0.5, "adult": {"value": 0.8, "se": 0.05}},
                       runs={"draws": 20, "replicates": 1})
    model = assemble(scenario, seed=SEED)
    slots = model.plan.life.survival_slot[:, 1]
    assert np.array_equal(*(model.draws.value[:, 0, s] for s in slots))


def test_a_way_to_grow_that_only_one_site_has():
    def river(first, second):
        stages = [{"name": "young"}, {"name": "middle"}, {"name": "adult", "breeds": True}]
        return resolve(
            stages=stages, survival=dict.fromkeys(("young", "middle", "adult"), 0.5),
            growth={"young": {"middle": 0.4}, "middle": {"adult": 0.4}}, chance=OFF,
            recruitment={"per_adult": 0},
            sites=[{"name": n, "start": {"young": 100}} | g
                   for n, g in (("A", first), ("B", second))])

    faster = {"growth": {"young": {"middle": 0.4, "adult": 0.2}}}
    assert classes_by_year(river(faster, {}))[1] == pytest.approx(
        np.array([[20, 20, 10], [30, 20, 0]]))
    assert classes_by_year(river({}, faster))[1] == pytest.approx(
        np.array([[30, 20, 0], [20, 20, 10]]))


# estimates: their link moments are drawn wherever the rate is used


def with_link(rate, mean, se):
    return replace(rate, link=LinkMoments(mean, se, 0.0), estimate=rate.key)


def test_share_of_females_from_estimates_is_drawn():
    scenario = resolve(recruitment={"per_adult": 0.6, "females": 0.4},
                       runs={"draws": 60, "replicates": 1})
    site = scenario.sites[0]
    females = with_link(site.recruitment.females, 0.0, 0.5)
    changed = replace(scenario, sites=(
        replace(site, recruitment=replace(site.recruitment, females=females)),))
    assert np.unique(assemble(changed, seed=SEED).draws.female_share).size == 60
    off = replace(changed, chance=replace(changed.chance, unknown=False))
    assert np.unique(assemble(off, seed=SEED).draws.female_share) == pytest.approx(0.5)


CHAIN = {
    "gravid": 0.8, "glochidia": 100_000,
    "attachment": {"value": 5e-4, "interval": [1e-4, 3e-3]},
    "settlement": {"calibrate": {"recruits_per_adult": {"value": 0.4, "se": 0.1},
                                 "hosts_per_100m2": 10, "adults_per_m2": 0.05}},
    "hosts": [{"name": "drum", "suitability": 0.8, "capacity": 200, "contact": 0.05}],
}


def hosts(recruitment=CHAIN, **written):
    plain = {"recruitment": recruitment, "sites": [{
        "name": "Quillstone", "area_m2": 1000, "start": {"adult": 50},
        "hosts": {"drum": {"per_100m2": 10}}}]}
    return resolve(**(plain | written))


def recruits_per_adult(scenario):
    """First-year recruits over adults, by draw, simulated without luck at the calibration state."""
    model = assemble(scenario, seed=SEED)
    (block,) = simulate(model.plan, model.draws, seed=SEED, replicates=1, threads=1)
    return block.tallies[:, 1, 0, T_RECRUITS] / 50


@pytest.mark.parametrize("linked", [False, True])
def test_the_calibration_target_holds_in_every_draw(linked):
    scenario = hosts(chance={"years": "off", "individuals": "off"},
                     runs={"draws": 24, "replicates": 1})
    target = scenario.sites[0].recruitment.settlement.rate
    if linked:  # attachment from estimates: its draw must reach the calibration as well
        site = scenario.sites[0]
        young = replace(site.recruitment,
                        attachment=with_link(site.recruitment.attachment, -7.6, 0.5))
        scenario = replace(scenario, sites=(replace(site, recruitment=young),))
        assert young.attachment.kind == PROBABILITY
    wanted = DrawTable(draws=24, seed=SEED, unknown=True).means(target)
    assert np.ptp(wanted) > 0.1
    assert recruits_per_adult(scenario) == pytest.approx(wanted, rel=1e-9)


def test_calibration_is_inherited_by_a_change_of_survival_gravid_or_host():
    base = hosts(chance=OFF)
    settled = Calibrations(base).best_of(base.sites[0])[1]
    site = base.sites[0]
    drum = replace(site.recruitment.hosts[0],
                   suitability=replace(site.recruitment.hosts[0].suitability, value=0.4))
    changed = replace(base, sites=(replace(
        site, recruitment=replace(site.recruitment, hosts=(drum,)),
        survival={**site.survival, "adult": replace(site.survival["adult"], value=0.6)}),))
    assert Calibrations(changed).best_of(changed.sites[0])[1] == settled
    assert recruits_per_adult(changed) == pytest.approx(0.5 * 0.4, rel=1e-9)  # half as suitable


def test_attachment_is_calibrated_at_the_stable_shares_of_unequal_mothers():
    stages = [{"name": "young"}, {"name": "small", "length_mm": [30, 50], "breeds": True},
              {"name": "large", "length_mm": [50, 90], "breeds": True}]
    target = {"calibrate": {"glochidia_per_host": 5.0, "hosts_per_100m2": 10,
                            "adults_per_m2": 0.05}}
    scenario = hosts(
        CHAIN | {"attachment": target, "settlement": 0.02,
                 "glochidia": {"at_1_mm": 0.5, "power": 3.0}},
        stages=stages, survival={"young": 0.5, "small": 0.8, "large": 0.9},
        growth={"young": 0.4, "small": 0.1}, chance=OFF, start={"small": 50},
        sites=[{"name": "Quillstone", "area_m2": 1000, "start": {"small": 50},
                "hosts": {"drum": {"per_100m2": 10}}}])
    attachment, settlement = Calibrations(scenario).best_of(scenario.sites[0])
    found = site_matrix(scenario, scenario.sites[0], attachment=attachment, settlement=settlement)
    values, vectors = np.linalg.eig(found.a)
    stable = np.abs(vectors[:, np.argmax(values.real)].real)[1:]
    each = [0.5 * (b**4 - a**4) / (4 * (b - a)) for a, b in ((30, 50), (50, 90))]
    released = 0.05 * 0.5 * 0.8 * (stable @ each) / stable.sum()  # per m2
    load = released * attachment * -np.expm1(-0.5) / 0.1
    assert 200 * -np.expm1(-load / 200) == pytest.approx(5.0, rel=1e-6)


# start numbers


def test_start_is_spread_over_age_classes_by_stable_shares():
    scenario = resolve(
        stages=[{"name": "juvenile", "years": 3}, {"name": "adult", "breeds": True}],
        survival={"juvenile": 0.6, "adult": 0.9}, growth={}, start={"juvenile": 100, "adult": 7},
        recruitment={"per_adult": 0.5})
    model = assemble(scenario, seed=SEED)
    a = site_matrix(scenario, scenario.sites[0]).a
    growth = np.abs(np.linalg.eigvals(a)).max()
    ratio = 0.6 / growth
    exact = 100 * np.array([1, ratio, ratio**2]) / (1 + ratio + ratio**2)
    found = model.draws.start[0, 0]
    assert found.sum() == 107 and found[3] == 7
    assert np.abs(found[:3] - exact).max() < 1 and (found == np.floor(found)).all()
    all_animals = replace(scenario, sites=(replace(scenario.sites[0], start=replace(
        scenario.sites[0].start, numbers={"animals": replace(
            scenario.sites[0].start.numbers["adult"], value=90.0)})),))
    shares = np.linalg.matrix_power(a, 300).sum(axis=1)
    found = assemble(all_animals, seed=SEED).draws.start[0, 0]
    assert found.sum() == 90
    assert np.abs(found - 90 * shares / shares.sum()).max() < 1


@pytest.mark.filterwarnings("error")
def test_equal_shares_where_no_lineage_lasts():
    scenario = resolve(stages=[{"name": "animal", "years": 2, "breeds": True}],
                       survival={"animal": 0.5}, growth={}, recruitment={"per_adult": 0},
                       start={"animal": 10})
    assert assemble(scenario, seed=SEED).draws.start[0, 0].tolist() == [5, 5]


def test_largest_remainder():
    def spread_one(total, weight, *, whole=True):
        return spread(np.array([total]), np.array(weight), whole=whole)[0]

    assert spread_one(10.0, [0.55, 0.26, 0.19]).tolist() == [5, 3, 2]
    assert spread_one(2.6, [1 / 3] * 3).tolist() == [1, 1, 1]
    assert spread_one(2.6, [0.5, 0.5], whole=False) == pytest.approx([1.3, 1.3])
    weight = np.array([0.29, 0.57, 0.14])
    totals = np.arange(50.0)
    together = spread(totals, weight, whole=True)
    for total, found in zip(totals, together, strict=True):
        assert found.sum() == total and np.abs(found - total * weight).max() < 1
        assert (found == spread_one(total, weight)).all()


def test_ceilings_are_rounded_down_for_whole_animals_only():
    for individuals, ceiling in (("on", 30), ("off", 30.9)):
        scenario = resolve(limits={"ceiling": {"animals": 30.9}},
                           chance={"individuals": individuals})
        found = classes_by_year(scenario)[1].sum()
        assert found == pytest.approx(ceiling)


# addresses


def test_addresses_are_of_names():
    assert address("survival", "wild", "Quillstone") == address("survival", "wild", "Quillstone")
    assert address("a", "bc") != address("ab", "c")
    few = assemble(resolve(sites=[{"name": "B", "start": {"adult": 1}}]), seed=SEED).plan
    many = assemble(resolve(sites=[{"name": n, "start": {"adult": 1}} for n in "AB"]),
                    seed=SEED).plan
    assert np.array_equal(few.life.survive_address[:, 0], many.life.survive_address[:, 1])
    addresses = np.concatenate([a.ravel() for part in many[1:] for name, a in part._asdict().items()
                                if name.endswith("_address")])
    assert len(np.unique(addresses)) == len(addresses)
