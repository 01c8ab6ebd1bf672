"""Every mechanism matters in the direction theory says, and one that does nothing is found out.

Both sides of a comparison meet the same luck (400 futures at the best values of the rates). A test
asks for a difference of more than five standard errors: without any effect of the mechanism the
difference is exactly 0 and the test fails; a difference of pure luck would pass once in 3 million.
"""

from __future__ import annotations

import numpy as np
import pytest
from paired_futures import Futures, changed, clearly_more, futures, written

from pva.decide.rows import StockedRows
from pva.model.record import TALLIES
from pva.results.goals import below_by, judge

SITES = ("Alder Riffle", "Mill Run")
HOSTS = [f"sites.{s}.hosts.main host.per_100m2" for s in SITES]


def lost(found: Futures, adults_below: float) -> np.ndarray:
    """Whether every future falls below a threshold after the clock has started."""
    adults = found.of("adults")
    return adults[:, 2034 - 2026:].min(axis=1) < adults_below


def without(name, **changes):
    return Futures(changed(name, **changes))


def test_a_mechanism_that_does_nothing_is_found_out():
    river = futures("river").of("wild_adults", 2050)
    for same in (river, river + 0.0, -river + 2 * river):
        with pytest.raises(AssertionError, match="difference 0, standard error 0"):
            clearly_more(same, river)
    with pytest.raises(AssertionError, match="difference"):
        clearly_more(river[::-1], river)  # other luck is no effect
    with pytest.raises(AssertionError, match="difference"):
        clearly_more(river - 1, river)  # nor is the wrong direction


# planner


def test_more_animals_give_more_and_are_never_fewer_in_the_same_luck():
    half, one, double = (futures(n).of("wild_adults", 2050)
                         for n in ("sizes-half", "river", "sizes-double"))
    clearly_more(one, half)
    clearly_more(double, one)


def test_the_same_animals_sooner_give_more_wild_born_adults_early():
    sooner, spread = (futures(n).of("wild_adults", 2036) for n in ("sizes-in-two-years", "river"))
    clearly_more(sooner, spread)
    totals = [sum(sum(row.numbers.values()) for row in written(n).resolved.releases)
              for n in ("sizes-in-two-years", "river")]
    assert totals[0] == totals[1]
    clocks = {written(n).resolved.quasi_extinction.from_year for n in ("sizes-in-two-years",
                                                                       "river")}
    assert clocks == {2034}


def test_older_animals_live_better():
    young, middle, old = (futures(n).of("stocked_adults", 2036)
                          for n in ("ages-juveniles", "river", "ages-adults"))
    clearly_more(middle, young)
    clearly_more(old, middle)
    # the age alone: the same first-year survival for all, and juveniles still have a year more
    same = futures("ages-juveniles")
    alike = without("ages-juveniles", **{
        f"releases__{r}__first_year_survival": {"published": "first_year_survival/hatchery"}
        for r in ("to Alder", "to Mill")})
    clearly_more(alike.of("stocked_adults", 2036), same.of("stocked_adults", 2036))
    clearly_more(middle, alike.of("stocked_adults", 2036))


def test_more_juveniles_for_the_same_money():
    dear, cheap = (written(n).resolved for n in ("river", "ages-juveniles-same-money"))
    assert [StockedRows.of(r).cost(StockedRows.of(r).base) for r in (dear, cheap)] == [32000.0] * 2
    clearly_more(futures("ages-juveniles-same-money").of("wild_adults", 2050),
                 futures("ages-juveniles").of("wild_adults", 2050))


def test_the_site_where_adults_live_longer_carries_more():
    clearly_more(futures("sites-alder").of("wild_adults", 2050),
                 futures("sites-mill").of("wild_adults", 2050))


def test_a_larger_share_delivered_gives_more():
    share = {f"releases__{r}__delivered__mean": 0.6 for r in ("to Alder", "to Mill")}
    clearly_more(futures("river").of("wild_adults", 2050),
                 without("river", **share).of("wild_adults", 2050))


def test_the_lead_of_orders_shifts_the_order_sheet_and_nothing_else():
    lead = {f"releases__{r}__order_lead": 0 for r in ("to Alder", "to Mill")}
    late = changed("river", **lead)
    assert np.array_equal(Futures(late).tallies, futures("river").tallies)
    sheets = [StockedRows.of(s.resolved).order_sheet(160) for s in (written("river"), late)]
    for usual, other in zip(*sheets, strict=True):
        assert usual.pop("order_year") == other.pop("order_year") - 3
        assert usual == other


def test_a_stop_rule_releases_fewer():
    given = TALLIES.index("released")
    ruled = futures("sizes-stop-rule").tallies[..., given].sum(axis=(1, 2))
    endless = without("sizes-stop-rule", releases=[
        {"name": r, "until": None} for r in ("to Alder", "to Mill")])
    whole = endless.tallies[..., given].sum(axis=(1, 2))
    assert (ruled <= whole).all()
    clearly_more(whole, ruled)
    clearly_more(endless.of("cost", 2045), futures("sizes-stop-rule").of("cost", 2045))


# sites


def test_carried_young_and_moved_animals_reach_the_empty_riffle():
    alone = futures("sites-alder").of("animals", at="Mill Run")
    assert (alone == 0).all()
    for name in ("sites-carried", "sites-moving"):
        there = futures(name).of("animals", 2050, at="Mill Run")
        assert (there > 0).mean() > 0.99, name
        clearly_more(there, alone[:, -1])
        clearly_more(futures("sites-alder").of("animals", 2050, at="Alder Riffle"),
                     futures(name).of("animals", 2050, at="Alder Riffle"))


def test_animals_washed_out_of_the_river_are_missed():
    lost_ones = without("sites-moving", movement=[
        {"stage": "all", "from": "Alder Riffle", "to": "lost", "share": 0.02}])
    clearly_more(futures("sites-moving").of("animals", 2050), lost_ones.of("animals", 2050))


def test_a_ceiling_takes_adults():
    low = {f"sites__{s}__capacity_per_m2": 0.1 for s in SITES}
    free = {f"sites__{s}__capacity_per_m2": None for s in SITES}
    tight = without("river", **low)
    clearly_more(without("river", **free).of("adults", 2056), tight.of("adults", 2056))
    for site, area in (("Alder Riffle", 1500), ("Mill Run", 1000)):
        assert tight.of("adults", at=site).max() == 0.1 * area


@pytest.mark.parametrize("form", ["beverton_holt", "ricker"])
def test_crowding_takes_young(form):
    crowded = without("river", limits={form: {"adults": 200}})
    clearly_more(futures("river").of("recruits", 2045), crowded.of("recruits", 2045))


# reviewer


def test_lower_adult_survival_is_worse():
    clearly_more(futures("river").of("wild_adults", 2050),
                 futures("goal-survival-lower").of("wild_adults", 2050))


@pytest.mark.parametrize("name", ["goal-higher-target", "goal-earlier", "goal-threshold",
                                  "goal-surer"])
def test_other_terms_change_the_verdict_and_not_the_river(name):
    assert np.array_equal(futures(name).tallies, futures("river").tallies)


def test_harder_terms_are_met_less_often():
    def met(name):
        found = futures(name)
        return judge(found.resolved.goals[0], found.tallies, found.areas, found.resolved)

    clearly_more(met("river"), met("goal-higher-target"))
    clearly_more(met("river"), met("goal-earlier"))
    below = [below_by(futures(n).tallies, futures(n).resolved)[:, -1]
             for n in ("goal-threshold", "river")]
    clearly_more(*below)


# years


def test_without_bad_years_it_is_better():
    clearly_more(without("river", bad_years={"none": "switched off"}).of("wild_adults", 2050),
                 futures("river").of("wild_adults", 2050))


def test_longer_bad_years_and_bad_years_of_the_fish_are_worse():
    drought = "bad_years__drought__"
    for change in ({drought + "length": 3}, {drought + "hosts": 0.1}, {drought + "chance": 0.15}):
        clearly_more(futures("river").of("wild_adults", 2050),
                     without("river", **change).of("wild_adults", 2050))


def test_years_that_differ_more_raise_the_risk():
    def risk(year_sd, **more):
        found = Futures(changed("river", survival__adult__year_sd=year_sd, **{
            "sites__Mill Run__survival__adult__year_sd": year_sd}, **more), replicates=1000)
        return lost(found, 200)

    clearly_more(risk(0.12), risk(0.0))
    together = risk(0.12, year_effects__carry_over=0.6)
    clearly_more(together, risk(0.12))  # bad years in a row do not average out
    apart = risk(0.12, year_effects__between_sites=0.0)
    clearly_more(risk(0.12, year_effects__between_sites=1.0), apart)


# hosts


def test_no_fish_no_young():
    found = futures("host-none")
    assert np.nanmax(found.of("recruits")) == 0
    assert (found.of("wild_adults") == 0).all()
    clearly_more(futures("river").of("recruits", 2040), found.of("recruits", 2040))
    # numbers alone: stocked animals meet a goal on adults with no young growing up
    numbers = found.resolved.goals[1]
    assert judge(numbers, found.tallies, found.areas, found.resolved).mean() > 0.95


def test_fish_back_earlier_is_better():
    late, early, never = (futures(n).of("wild_adults", 2050)
                          for n in ("host-returns", "host-returns-early", "host-none"))
    clearly_more(early, late)
    clearly_more(late, never)
    clearly_more(futures("river").of("wild_adults", 2050), early)
    assert np.nanmax(futures("host-returns").of("recruits")[:, :2036 - 2026 + 1]) == 0
    steep = without("host-returns", **{f"sites__{s}__hosts__main host__ramp_years": 1
                                       for s in SITES})
    clearly_more(steep.of("wild_adults", 2050), late)


def test_stocking_that_waits_for_the_fish_gives_more_in_the_goal_year():
    clearly_more(futures("host-returns-wait").of("wild_adults", 2050),
                 futures("host-returns").of("wild_adults", 2050))


def test_full_fish_not_mussels_limit_the_young():
    full, mussels, fish = (futures(n) for n in ("host-full", "host-full-more-mussels",
                                                "host-full-more-fish"))
    year = 2040
    clearly_more(mussels.of("adults", year), 2 * full.of("adults", year))
    clearly_more(1.5 * full.of("recruits", year), mussels.of("recruits", year))
    clearly_more(fish.of("recruits", year), 2 * full.of("recruits", year))
    # where fish are far from full, the young follow the mussels
    clearly_more(futures("sizes-double").of("recruits", 2034),
                 1.7 * futures("river").of("recruits", 2034))


def test_fish_that_can_carry_more_give_more_young():
    roomy = without("host-full", **{"recruitment__hosts__main host__capacity__value": 4})
    clearly_more(roomy.of("recruits", 2040), futures("host-full").of("recruits", 2040))


def test_immunity_costs_young():
    clearly_more(futures("river").of("recruits", 2045), futures("host-immune").of("recruits", 2045))
    # the first year of young has no immunity yet: nobody was offered any glochidia before
    young = futures("river").of("recruits")
    first = np.flatnonzero(np.nan_to_num(young).sum(axis=0))[0]
    assert np.array_equal(young[:, first], futures("host-immune").of("recruits")[:, first])
    immune, usual = (futures(n).of("recruits") for n in ("host-immune", "river"))
    kept = [immune[:, y - 2026].sum() / usual[:, y - 2026].sum() for y in (2032, 2050)]
    assert kept[1] < kept[0] - 0.02  # the larger the population, the larger the share lost


def test_a_poor_second_host_takes_glochidia_and_a_good_one_gives_young():
    year = 2040
    clearly_more(futures("river").of("recruits", year), futures("two-hosts").of("recruits", year))
    clearly_more(futures("two-hosts-good").of("recruits", year),
                 futures("river").of("recruits", year))


def test_lack_of_mates_costs_young_and_most_where_adults_are_few():
    river, lacking = futures("river"), futures("mates-lacking")
    clearly_more(river.of("wild_adults", 2050), lacking.of("wild_adults", 2050))
    few = without("mates-lacking", **{"releases__to Alder__number": 40,
                                      "releases__to Mill__number": 40})
    year = 2036  # most adults are still those released: about twice as many from twice the number
    clearly_more(lacking.of("recruits", year), 2 * few.of("recruits", year))
    gathered = futures("mates-lacking-one-riffle").of("recruits", year)
    spread = lacking.of("recruits", year)
    gain_else = futures("sites-alder").of("recruits", year) - river.of("recruits", year)
    clearly_more(gathered - spread, gain_else)


# donor


def test_a_collection_harms_the_donor_bed():
    none, taken = (futures(n).of("adults", at="Osier Bed") for n in ("donor-none", "donor"))
    for year in (2030, 2046):
        clearly_more(none[:, year - 2026], taken[:, year - 2026])
    removed = futures("donor").tallies[..., TALLIES.index("collected")].sum(axis=(1, 2))
    assert (removed <= 160).all() and removed.mean() > 150
    clearly_more(*(below_by(futures(n).tallies, futures(n).resolved)[:, -1]
                   for n in ("donor", "donor-none")))


def test_moved_adults_are_missed_in_the_donor_bed_and_found_at_the_riffle():
    moved = futures("sources-mixed")
    kept = without("sources-mixed", **{"releases__moved to Mill__number": 0})
    clearly_more(kept.of("adults", 2030, at="Osier Bed"), moved.of("adults", 2030, at="Osier Bed"))
    clearly_more(moved.of("adults", 2030, at="Mill Run"), kept.of("adults", 2030, at="Mill Run"))
    assert np.array_equal(kept.of("adults", at="Alder Riffle"),
                          moved.of("adults", at="Alder Riffle"))
