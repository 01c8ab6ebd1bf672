"""The same numbers for any threads, blocks and neighbours; new names shift nobody's luck."""

import numpy as np
import pytest
from questions import SEED, resolve, tallies

from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.model.record import TALLIES

RATES = {
    "young": {"value": 0.5, "se": 0.05, "year_sd": 0.1},
    "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.04},
}


def river(*names, releases=(), **written):
    """Sites with good and bad years, bad years, releases and movement."""
    sites = [{"name": n, "area_m2": 800, "start": {"young": 30, "adult": 40}} for n in names]
    plain = {
        "years": 12, "stages": [{"name": "young"}, {"name": "adult", "breeds": True}],
        "survival": RATES, "growth": {"young": {"value": 0.4, "year_sd": 0.1}},
        "recruitment": {"per_adult": {"value": 0.3, "year_sd": 0.1}, "dispersion": 2},
        "year_effects": {"between_rates": 0.4, "between_sites": 0.6, "carry_over": 0.2},
        "bad_years": [{"name": "flood", "chance": 0.2, "survival": 0.6, "strikes": 0.5}],
        "sites": sites, "releases": list(releases), "runs": {"draws": 3, "replicates": 1},
        "limits": {"ceiling": {"animals": 150}},
    }
    return resolve(**(plain | written))


def put(name, site, number=20):
    return {"name": name, "site": site, "stage": "young", "number": number, "first": 2000,
            "last": 2008, "delivered": {"mean": 0.8, "sd": 0.1}}


@pytest.mark.parametrize("individuals", ["on", "off"])
def test_threads_and_blocks_do_not_matter(individuals):
    chance = {"individuals": individuals}
    scenario = river("Quillstone", "Tallow", releases=[put("a", "Tallow")], chance=chance)
    usual = tallies(scenario, 90, threads=1)
    for how in ({"threads": 2}, {"threads": 2, "size": 7}, {"threads": 1, "size": 64},
                {"threads": 3, "size": 1}):
        assert np.array_equal(tallies(scenario, 90, **how), usual), how
    with_sums = [assemble(scenario, seed=SEED)]
    blocks = [list(simulate(m.plan, m.draws, seed=SEED, replicates=90, threads=t))
              for m in with_sums for t in (1, 2)]
    for one, other in zip(*blocks, strict=True):
        assert one.first == other.first and np.array_equal(one.stage_sum, other.stage_sum)
        assert np.array_equal(one.draw, other.draw)


def test_a_replicate_alone_is_the_same_replicate():
    scenario = river("Quillstone", releases=[put("a", "Quillstone")])
    many = tallies(scenario, 50).reshape(3, 50, *tallies(scenario, 1).shape[1:])
    alone = tallies(scenario, 1, first_replicate=37)
    assert np.array_equal(many[:, 37], alone)
    assert np.array_equal(many[:, :20].reshape(60, *many.shape[2:]), tallies(scenario, 20))
    assert not np.array_equal(many[:, 36], alone)


def test_some_draws_alone_are_the_same_draws():
    scenario = river("Quillstone", releases=[put("a", "Quillstone")])
    model = assemble(scenario, seed=SEED)
    later = type(model.draws)(*(part[1:] for part in model.draws))
    blocks = list(simulate(model.plan, later, seed=SEED, replicates=9, first_draw=1, size=4))
    many = tallies(scenario, 9)
    assert np.array_equal(np.concatenate([b.tallies for b in blocks]), many[9:])
    assert np.concatenate([b.draw for b in blocks]).tolist() == [1] * 9 + [2] * 9
    other = np.concatenate([b.tallies for b in simulate(model.plan, later, seed=SEED,
                                                        replicates=9)])
    assert not np.array_equal(other, many[9:])


def test_a_scenario_and_its_copy_differ_by_nothing():
    one, two = (river("Quillstone", "Tallow", releases=[put("a", "Tallow")]) for _ in range(2))
    assert (tallies(one, 40) - tallies(two, 40) == 0).all()


def test_another_seed_is_other_luck_and_seed_0_is_a_seed():
    scenario = river("Quillstone")
    model = assemble(scenario, seed=0)
    found = [np.concatenate([b.tallies for b in simulate(model.plan, model.draws, seed=s,
                                                         replicates=5)]) for s in (0, 1, 0)]
    assert np.array_equal(found[0], found[2]) and not np.array_equal(found[0], found[1])


def test_a_new_site_shifts_nobody():
    few, many = river("Quillstone", "Tallow"), river("Osprey", "Quillstone", "Tallow")
    assert np.array_equal(tallies(few, 30), tallies(many, 30)[:, :, 1:])


def test_a_new_site_shifts_nobody_with_correlation_by_distance():
    def along(*places):
        sites = [{"name": n, "river_km": km, "start": {"adult": 30}} for n, km in places]
        return river(sites=sites, limits={},
                     year_effects={"between_sites": {"river_km": 10}, "between_rates": 0.4})

    few = tallies(along(("Quillstone", 1), ("Tallow", 9)), 30)
    last = along(("Quillstone", 1), ("Tallow", 9), ("Osprey", 14))
    first_and_between = along(("Osprey", 5), ("Quillstone", 1), ("Tallow", 9))
    assert np.array_equal(few, tallies(last, 30)[:, :, :2])
    assert np.array_equal(few, tallies(first_and_between, 30)[:, :, 1:])
    moved = along(("Quillstone", 1), ("Tallow", 12))  # the place decides, not the name
    assert np.array_equal(few[:, :, 0], tallies(moved, 30)[:, :, 0])
    assert not np.array_equal(few[:, :, 1], tallies(moved, 30)[:, :, 1])


def test_a_new_release_row_shifts_no_wild_animal_of_other_sites():
    names = ("Quillstone", "Tallow")
    without = tallies(river(*names, releases=[put("b", "Quillstone")]), 30)
    with_it = tallies(river(*names, releases=[put("a", "Tallow"), put("b", "Quillstone")]), 30)
    assert np.array_equal(without[:, :, 0], with_it[:, :, 0])
    assert not np.array_equal(without[:, :, 1], with_it[:, :, 1])


def test_a_number_released_leaves_the_environment_alone():
    """Delivered shares and the wild animals that never met a released one stay the same."""
    few, many = (tallies(river("Quillstone", releases=[put("a", "Quillstone", n)],
                               limits={}, recruitment={"per_adult": 0}), 40) for n in (50, 55))
    wild = [TALLIES.index(n) for n in ("wild_animals", "wild_adults")]
    assert np.array_equal(few[..., wild], many[..., wild])
    given = TALLIES.index("released")
    assert (few[..., given] <= many[..., given]).all()
    # one share delivered, rounded both times
    assert np.abs(many[..., given] - 1.1 * few[..., given]).max() <= 0.5 + 1.1 * 0.5


def test_a_new_rate_shifts_no_other():
    """Another rate that differs between years leaves the years of the others as they were."""
    plain = {"chance": {"individuals": "off"}, "bad_years": {"none": "test"}, "limits": {},
             "recruitment": {"per_adult": 0.0}}
    before = tallies(river("Quillstone", growth={"young": 0.4}, **plain), 20)
    after = tallies(river("Quillstone", growth={"young": {"value": 0.4, "year_sd": 0.1}},
                          **plain), 20)
    animals = [TALLIES.index(n) for n in ("wild_animals", "wild_adults")]
    assert not np.array_equal(before[..., animals], after[..., animals])
    # survival of adults alone: a population of adults never grows
    only_adults = [{"name": "Quillstone", "start": {"adult": 40}}]
    before, after = (
        tallies(river(sites=only_adults, growth={"young": g}, **plain), 20)
        for g in (0.4, {"value": 0.4, "year_sd": 0.1}))
    assert np.array_equal(before, after)


def test_other_individuals_share_environment_and_draws():
    scenario = river("Quillstone", releases=[put("a", "Quillstone")])
    one, other = tallies(scenario, 30), tallies(scenario, 30, other_individuals=True)
    given = TALLIES.index("released")
    assert np.array_equal(one[..., given], other[..., given])
    assert not np.array_equal(one, other)
    off = river("Quillstone", releases=[put("a", "Quillstone")], chance={"individuals": "off"})
    assert np.array_equal(tallies(off, 30), tallies(off, 30, other_individuals=True))


def test_off_layers_are_off():
    scenario = river("Quillstone", chance={"years": "off", "individuals": "off", "unknown": "off"})
    found = tallies(scenario, 5)
    assert (found == found[:1]).all()
    by_draw = tallies(river("Quillstone", chance={"years": "off", "individuals": "off"}), 4)
    assert len(np.unique(by_draw[:, -1, 0, 0])) == 3  # one per draw
