"""Units dug to density, abundance, recruits; blanks and stocked look-alikes are accounted for."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, records

from pva.estimate.bed import estimate_bed
from pva.estimate.combined import Told
from pva.estimate.options import Options
from pva.estimate.recruits_per_adult import ratio
from pva.estimate.stage_steps import LengthStage, complete
from pva.estimate.unit_options import Found, UnitOptions
from pva.field.spec import StratumSpec

STAGES = complete([LengthStage("juvenile", 0, 30), LengthStage("subadult", 30, 50),
                   LengthStage("adult", 50, 92)])
OPTIONS = Options(stages=STAGES, areas={"Tallow Bend": 1000.0}, species=(SPECIES,))


def units(number, **more):
    return [{"survey": "2025", "site": "Tallow Bend", "date": "2025-09-10", "unit": f"u{k}",
             "area_m2": 0.25, "excavated": True, **more} for k in range(number)]


def found(unit, length, **more):
    return {"survey": "2025", "site": "Tallow Bend", "unit": f"u{unit}", "species": SPECIES,
            "length_mm": length, "status": "alive", **more}


def stocked(length, date="2025-05-01", number=1):
    return {"animal": None, "species": SPECIES, "site": "Tallow Bend", "date": date,
            "batch": "HU25", "batch_mark": "blue", "length_mm": length, "source": "hatchery",
            "number": number}


def with_units(**more):
    return replace(OPTIONS, units=UnitOptions(**more))


def test_abundance_is_density_times_area_by_stage():
    made = records(units=units(100), animals=[found(3, 60.0), found(9, 71.0), found(50, 44.0)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert bed.density["density/Tallow Bend"].value == pytest.approx(3 / 25)
    assert bed.abundance["Tallow Bend"]["adult"].value == pytest.approx(2 / 25 * 1000)
    none = bed.abundance["Tallow Bend"]["juvenile"]
    assert none.value == 0.0
    assert none.interval[1] == pytest.approx(119.8, abs=0.1)
    assert none.note == "none found: the high end is a one-sided 95 % limit"


def test_density_is_refused_until_blanks_are_accounted_for():
    made = records(units=units(12), animals=[found(k, 60.0) for k in range(12)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert bed.density == {}
    assert bed.refused[0].why.startswith("not one of 12 units is blank")
    assert bed.refused[0].needed == (
        "list every unit dug, also those without an animal; if none was blank, say how many were "
        "dug under `density: units_dug`")
    assured = with_units(dug={("Tallow Bend", "2025"): 12})
    assert "density/Tallow Bend" in estimate_bed(made, assured, species=SPECIES).density


def test_density_is_refused_where_fewer_units_are_listed_than_were_dug():
    made = records(units=units(12), animals=[found(2, 60.0)])
    bed = estimate_bed(made, with_units(dug={("Tallow Bend", "2025"): 40}), species=SPECIES)
    assert bed.density == {}
    assert bed.refused[0].why == "40 units were dug by the field sheet, 12 are listed"


def test_animals_without_a_list_of_units_give_no_density():
    bed = estimate_bed(records(animals=[found(0, 60.0)]), OPTIONS, species=SPECIES)
    assert bed.refused[0].why == "animals are listed but not the units dug: blanks are unknown"


def aside(made, rows):
    """Records whose reader set aside so many animals in units not listed."""
    table = pd.DataFrame({"code": ["animal-in-unlisted-unit"] * rows})
    return replace(made, account=replace(made.account, set_aside=table))


def test_units_without_a_table_of_animals_give_no_density():
    """An empty table says that none were found; no table says nothing."""
    some = records(units=units(40))

    def told(*kinds):
        tables = pd.DataFrame({"is": kinds, "in": 0, "used": 0, "flagged": 0, "set_aside": 0})
        return estimate_bed(replace(some, account=replace(some.account, tables=tables)), OPTIONS,
                            species=SPECIES)

    assert not told("units").density
    assert [r.why for r in told("units").refused] == [
        "units were dug, but no table says which animals were found in them: a blank unit cannot "
        "be told from one whose animals were not entered"]
    assert told("units", "animals").density["density/Tallow Bend"].value == 0


def test_animals_in_units_not_listed_raise_doubt_about_blanks():
    made = records(units=units(40), animals=[found(k, 60.0) for k in range(9)])
    bed = estimate_bed(aside(made, 1), OPTIONS, species=SPECIES)
    assert "density/Tallow Bend" in bed.density
    assert bed.notes == (
        "Animals in units that are not listed: 1. If units were dug and not listed, blank ones may "
        "be missing too, and densities are too high",)
    bed = estimate_bed(aside(made, 2), OPTIONS, species=SPECIES)
    assert bed.density == {}
    assert bed.refused[0].why == (
        "2 of 11 animals lie in units that are not listed: blanks are unknown")


def test_surface_units_stay_out_of_the_density():
    made = records(units=units(50) + [dict(u, unit=u["unit"] + "s", excavated=False)
                                      for u in units(20)], animals=[found(1, 60.0)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert bed.density["density/Tallow Bend"].n == 50
    assert bed.notes == ("Units looked at on the surface only are left out of the density "
                         "(Tallow Bend 2025: 20)",)


def test_surveys_of_the_surface_are_told_in_one_note():
    dug = [dict(u, survey=survey) for survey in ("2023", "2025") for u in units(50) + [
        dict(u, unit=u["unit"] + "s", excavated=False) for u in units(20)]]
    bed = estimate_bed(records(units=dug, animals=[]), OPTIONS, species=SPECIES)
    assert bed.notes == ("Units looked at on the surface only are left out of the density "
                         "(Tallow Bend 2023: 20, Tallow Bend 2025: 20)",)


def test_a_surface_survey_is_a_lower_limit():
    made = records(units=units(40, excavated=False), animals=[found(1, 60.0)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert bed.density["density/Tallow Bend"].note == "surface only: a lower limit"


@pytest.mark.parametrize("length, areas, verdict", [
    (12.0, True, "definite"), (14.0, True, "probable"), (19.0, True, "cannot tell"),
    (24.0, True, "cannot tell"), (14.0, False, "definite"), (19.0, False, "probable"),
    (24.0, False, "cannot tell"),
])
def test_unmarked_is_judged_by_what_a_stocked_animal_could_measure(length, areas, verdict):
    """A batch of 800, mean 24 mm, SD 12 % of it, released the same year: 12 mm lies 4.2 SD below,
    14 mm 3.5, 19 mm 1.7, 24 mm in the middle. With the area of the site known, 8 of the 800 were to
    be expected in the 1 % dug, which makes single small ones less certain."""
    made = records(units=units(40), animals=[found(1, length)],
                   releases=[stocked(24.0, number=800)])
    options = OPTIONS if areas else replace(OPTIONS, areas={})
    judged = estimate_bed(made, options, species=SPECIES).judged
    assert judged["verdict"].tolist() == [verdict]
    assert judged["wild"].notna().all() == areas


def test_marked_and_grown_animals_are_no_recruits():
    made = records(units=units(40), animals=[found(1, 20.0, batch_mark="blue"), found(2, 55.0),
                                             found(3, 20.0, tag="T1")])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert len(bed.judged) == 0
    assert bed.recruits[0]["definite"] == 0
    assert bed.recruits[0]["density_high"] == pytest.approx(-np.log(0.05) / 10)


def test_before_any_stocking_every_small_animal_is_a_recruit():
    made = records(units=units(40), animals=[found(1, 20.0)],
                   releases=[stocked(24.0, date="2025-10-01")])
    assert estimate_bed(made, OPTIONS, species=SPECIES).judged["verdict"].tolist() == ["definite"]


def test_recruits_per_adult_is_exact():
    """5 recruits and 10 adults: the exact 95 % interval of 5 in 15 is 0.1182 to 0.6162."""
    value, low, high = ratio(5, 10)
    assert value == 0.5
    assert (low / (1 + low), high / (1 + high)) == pytest.approx((0.1182, 0.6162), abs=1e-4)
    none = ratio(0, 10)
    assert none[:2] == (0.0, 0.0)
    assert none[2] / (1 + none[2]) == pytest.approx(1 - 0.05 ** (1 / 10), abs=1e-9)


CURVE = SimpleNamespace(asymptote_mm=82.0, rate=0.16, asymptote_sd_mm=5.0, measurement_sd_mm=1.2,
                        covariance=np.zeros((4, 4)), curves={}, growth_lost_years=None,
                        length_after=lambda length, years: 82 * -np.expm1(-0.16 * years))


def test_recruits_per_adult_needs_adults():
    made = records(units=units(40), animals=[found(1, 20.0)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES, growth=CURVE)
    assert bed.ratios == {}
    assert [(r.what, r.why) for r in bed.refused] == [(
        "recruits_per_adult/Tallow Bend", "0 adults were found in the units of survey 2025")]


def test_doubtful_young_widen_recruits_per_adult():
    """Two young and ten adults: 0.2; the low end counts definite young alone."""
    grown = [found(k, 60.0) for k in range(10)]
    sure = records(units=units(60), animals=[*grown, found(20, 12.0), found(21, 12.0)])
    told = estimate_bed(sure, OPTIONS, species=SPECIES, growth=CURVE).ratios
    plain = told["recruits_per_adult/Tallow Bend"]
    assert plain.value == pytest.approx(0.2)
    assert plain.interval == pytest.approx(ratio(2, 10)[1:])
    doubtful = records(units=units(60), animals=[*grown, found(20, 12.0), found(21, 12.0)],
                       releases=[stocked(12.0, number=800)])
    row = estimate_bed(doubtful, OPTIONS, species=SPECIES, growth=CURVE).recruits[0]
    assert row["cannot_tell"] == 2
    assert row["per_adult"] < 0.1
    assert row["per_adult_low"] == 0.0
    assert row["per_adult_high"] >= plain.interval[1]


def test_clumped_animals_widen_recruits_per_adult():
    spread = [found(k, 60.0) for k in range(10)] + [found(20 + k, 12.0) for k in range(5)]
    heaped = [found(k // 5, 60.0) for k in range(10)] + [found(20, 12.0) for k in range(5)]
    told = [estimate_bed(records(units=units(60), animals=a), OPTIONS, species=SPECIES,
                         growth=CURVE).ratios["recruits_per_adult/Tallow Bend"].interval
            for a in (spread, heaped)]
    assert told[0] == pytest.approx(ratio(5, 10)[1:])
    assert told[1][0] < told[0][0] and told[1][1] > told[0][1]


STRATA = (StratumSpec(name="edge", site="Tallow Bend", area_m2=200, transects=["1", "2"]),
          StratumSpec(name="middle", site="Tallow Bend", area_m2=800, cost_each=4.0))


def in_strata():
    edge = [dict(u, transect=1.0 + k % 2) for k, u in enumerate(units(20))]
    middle = [dict(u, unit=f"m{k}", stratum="middle") for k, u in enumerate(units(20))]
    animals = [found(k, 60.0) for k in range(5)] + [dict(found(0, 60.0), unit="m3")]
    return records(units=[*edge, *middle], animals=animals)


def test_strata_are_weighted_by_their_area():
    """1 per m2 on 200 m2 and 0.2 on 800: 0.36, where the units alone would say 0.6."""
    options = with_units(design="stratified", strata=STRATA)
    bed = estimate_bed(in_strata(), options, species=SPECIES)
    assert bed.density["density/Tallow Bend"].value == pytest.approx(0.36)
    assert bed.rows[0]["interval_by"] == "Poisson by stratum"
    assert bed.abundance["Tallow Bend"]["adult"].value == pytest.approx(360)
    assert estimate_bed(in_strata(), OPTIONS, species=SPECIES).density[
        "density/Tallow Bend"].value == pytest.approx(0.6)


def test_where_the_next_units_are_best_dug():
    """Area x SD over the root of the cost."""
    bed = estimate_bed(in_strata(), with_units(design="stratified", strata=STRATA),
                       species=SPECIES)
    edge = 200 * np.std([1] * 5 + [0] * 15, ddof=1)
    middle = 800 * np.std([1] + [0] * 19, ddof=1) / 2
    assert [r["share"] for r in bed.next_units] == pytest.approx(
        [edge / (edge + middle), middle / (edge + middle)])


def test_units_in_no_stratum_and_strata_without_units_are_refused():
    options = with_units(design="stratified", strata=STRATA)
    lost = estimate_bed(records(units=units(30), animals=[found(1, 60.0)]), options)
    assert lost.refused[0].why == "30 units lie in no stratum (u0, u1, u2)"
    edge = [dict(u, transect="1") for u in units(30)]
    bare = estimate_bed(records(units=edge, animals=[found(1, 60.0)]), options)
    assert bare.refused[0].why == "no unit was dug in the stratum middle"


def searched(dug_words=("no", "yes")):
    """40 units looked over, 10 of them dug: 6 animals at the surface of these, 6 only by digging,
    9 at the surface of the others."""
    made = [dict(u, excavated=k < 10) for k, u in enumerate(units(40))]
    surface, below = (w == "yes" for w in dug_words)
    animals = [found(k, 60.0, excavated=surface) for k in range(6)]
    animals += [found(k, 60.0, excavated=below) for k in range(2, 8)]
    animals += [found(k, 60.0) for k in range(15, 24)]
    return records(units=made, animals=animals)


def test_surface_counts_are_corrected_by_the_units_dug():
    """15 seen on 10 m2, 12 there for every 6 seen: 3 per m2."""
    bed = estimate_bed(searched(), with_units(design="double"), species=SPECIES)
    assert bed.density["density/Tallow Bend"].value == pytest.approx(3.0)
    assert bed.rows[0]["interval_by"] == "double sampling by ratio"
    assert bed.rows[0]["units"] == 40
    shown = bed.density["surface_search/adult"]
    assert shown.value == 0.5
    assert shown.interval == pytest.approx((0.2109, 0.7891), abs=1e-4)  # 6 of 12, exact
    assert "Digging is taken to find every animal in a unit" in bed.notes


def test_double_sampling_needs_to_know_how_animals_were_found():
    made = searched()
    bed = estimate_bed(replace(made, animals=made.animals.assign(excavated=None)),
                       with_units(design="double"), species=SPECIES)
    assert bed.refused[0].why == (
        "animals in units dug do not say whether they were seen at the surface")


def test_a_surface_survey_is_corrected_by_shares_from_elsewhere():
    """2 adults seen on 10 m2, half are seen: 0.4 per m2, with the doubt of the share."""
    made = records(units=units(40, excavated=False), animals=[found(1, 60.0), found(5, 60.0)])
    shares = {s.name: Found(Told(0.5, 0.4, 0.6), "a trial") for s in STAGES}
    plain = estimate_bed(made, OPTIONS, species=SPECIES).density["density/Tallow Bend/adult"]
    bed = estimate_bed(made, with_units(surface=shares), species=SPECIES)
    told = bed.density["density/Tallow Bend/adult"]
    assert told.value == pytest.approx(0.4)
    assert told.interval[0] < 2 * plain.interval[0] and told.interval[1] > 2 * plain.interval[1]
    assert told.note == "surface, corrected for what it misses"


def test_efficiency_of_digging_is_taken_out():
    made = records(units=units(40), animals=[found(1, 60.0), found(5, 60.0)])
    bed = estimate_bed(made, with_units(efficiency=Found(Told(0.8, 0.8, 0.8))), species=SPECIES)
    plain = estimate_bed(made, OPTIONS, species=SPECIES)
    for name, told in bed.density.items():
        assert told.value == pytest.approx(plain.density[name].value / 0.8)
        assert told.interval == pytest.approx([x / 0.8 for x in plain.density[name].interval])


def test_starts_that_differ_widen_the_interval():
    """Two starts of 30 units: 10 animals in each, or all 20 in one."""
    made = [dict(u, start="A" if k < 30 else "B") for k, u in enumerate(units(60))]
    even = [found(k, 60.0) for k in (*range(10), *range(30, 40))]
    uneven = [found(k, 60.0) for k in range(20)]
    options = with_units(design="systematic")
    rows = [estimate_bed(records(units=made, animals=a), options, species=SPECIES).rows[0]
            for a in (even, uneven)]
    assert rows[0]["interval_by"] == "Poisson"
    assert rows[1]["interval_by"] == "Poisson, widened because the starts differ"
    assert rows[1]["high"] > 1.5 * rows[0]["high"]


def test_donor_and_reference_sites():
    """A donor bed is planned with at its low end; stocking there is told."""
    made = records(units=units(40), animals=[found(1, 60.0)], releases=[stocked(24.0)])
    bed = estimate_bed(made, with_units(roles={"Tallow Bend": "donor"}), species=SPECIES)
    assert bed.abundance["Tallow Bend"]["adult"].note == "donor bed: plan with the low end"
    assert bed.notes == ("Animals were released at Tallow Bend, which the study calls a donor "
                         "site: unmarked animals there may be stocked ones",)


def test_rows_may_stand_for_several_animals_or_for_none():
    made = records(units=units(40), animals=[found(1, 60.0, number=3), found(2, 20.0, number=0)])
    bed = estimate_bed(made, OPTIONS, species=SPECIES)
    assert bed.rows[0]["animals"] == 3
    assert bed.counts["animals"].tolist()[:3] == [0, 3, 0]
