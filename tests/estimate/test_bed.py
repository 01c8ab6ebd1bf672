"""Units dug to density, abundance, recruits; blanks and stocked look-alikes are accounted for."""

import numpy as np
import pytest
from invented import SPECIES, records

from pva.estimate.bed import estimate_bed
from pva.estimate.options import Options
from pva.estimate.recruits import ratio
from pva.estimate.stage_steps import LengthStage, complete

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
    assert bed.refused[0].needed == "list every unit dug, also those without an animal"


def test_animals_without_a_list_of_units_give_no_density():
    bed = estimate_bed(records(animals=[found(0, 60.0)]), OPTIONS, species=SPECIES)
    assert bed.refused[0].why == "animals are listed but not the units dug: blanks are unknown"


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


@pytest.mark.parametrize("length, verdict", [(14.0, "definite"), (19.0, "probable"),
                                             (24.0, "cannot tell")])
def test_unmarked_is_judged_by_what_a_stocked_animal_could_measure(length, verdict):
    """A batch of mean 24 mm, SD 12 % of it, released the same year: 14 mm lies 3.5 SD below, 19 mm
    1.7, 24 mm in the middle."""
    made = records(units=units(40), animals=[found(1, length)],
                   releases=[stocked(24.0, number=800)])
    judged = estimate_bed(made, OPTIONS, species=SPECIES).judged
    assert judged["verdict"].tolist() == [verdict]


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
