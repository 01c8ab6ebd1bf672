"""What written keys mean once defaults, references and sites are followed."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pva.estimate.link_scale import mean_over_years, sd_over_years
from pva.lifehistory.rates import LinkMoments
from pva.model.draws import DrawTable
from pva.scenario.cautions import warnings_of
from pva.scenario.resolved import Calibration, JointCovariance
from pva.scenario.scenario import Scenario, read_scenario
from pva.sources import Source


def resolved(written, **changes):
    return Scenario.from_dict({**written, **changes}).resolved


def test_defaults(plan):
    found = resolved(plan, runs={})
    assert found.numbers == "both sexes" and found.chance_wanted == 0.9
    assert (found.runs.draws, found.runs.replicates, found.runs.seed) == (200, 50, None)
    assert (found.year_effects.between_rates, found.year_effects.between_sites) == (0.0, 1.0)
    assert found.sites[0].name == "site" and found.sites[0].limits.ceiling_adults is None
    assert found.sites[0].recruitment.females.value == 0.5
    assert found.sites[0].recruitment.females.source.kind == "default"
    assert found.quasi_extinction.from_year == 2031, "year after the last release"
    assert found.stage("adult").adult and not found.stage("subadult").adult
    assert found.base is None, "nothing is calibrated"


def test_clock_of_quasi_extinction_stays_when_numbers_are_zero(plan):
    plan["releases"][0]["number"] = 0
    assert resolved(plan).quasi_extinction.from_year == 2031
    assert resolved(plan, releases=[]).quasi_extinction.from_year == 2027
    plan["releases"][0] |= {"number": {2056: 5}, "first": None, "last": None}
    assert resolved(plan).quasi_extinction.from_year == 2056


def test_text_switches_and_numbers(plan):
    found = resolved(plan, chance={"unknown": "off", "years": "yes", "individuals": "on"},
                     recruitment={"per_adult": "4e-1"})
    assert (found.chance.unknown, found.chance.years, found.chance.individuals) == (False, True,
                                                                                    True)
    assert found.sites[0].recruitment.per_adult.value == 0.4


def test_releases_by_first_last_and_interval(plan):
    row = {"stage": "juvenile", "number": 10, "first": 2026, "last": 2031, "interval": 2}
    alone = {"stage": "juvenile", "number": {2030: 5, 2028: 7}, "age": 2}
    found = resolved(plan, releases=[row, alone, {**row, "last": None}]).releases
    assert found[0].numbers == {2026: 10, 2028: 10, 2030: 10}
    assert list(found[1].numbers.items()) == [(2028, 7), (2030, 5)] and found[1].age == 2
    assert found[2].numbers == {2026: 10}
    assert [r.name for r in found] == ["juvenile at site", "juvenile at site (2)",
                                       "juvenile at site (3)"]


def test_rate_of_interval_alone_and_of_a_table(plan):
    plan["survival"] |= {"juvenile": {"interval": [0.2, 0.8]},
                         "subadult": {"by_year": {2030: 0.7, 2028: 0.6}}}
    survival = resolved(plan).sites[0].survival
    assert survival["juvenile"].value == pytest.approx(0.5)
    assert survival["subadult"].value == 0.6
    assert dict(survival["subadult"].by_year) == {2026: 0.6, 2028: 0.6, 2030: 0.7}


def test_value_beside_a_table_holds_until_the_table_begins(plan):
    plan["survival"]["juvenile"] = {"value": 0.5, "by_year": {2030: 0.7}}
    assert dict(resolved(plan).sites[0].survival["juvenile"].by_year) == {2026: 0.5, 2030: 0.7}


def test_matrix_is_taken_apart_into_survival_shares_and_entries(folder):
    found = read_scenario(folder / "matrix.yaml").resolved
    site = found.sites[0]
    assert {k: r.value for k, r in site.survival.items()} == pytest.approx(
        {"juvenile": 0.7, "subadult": 0.8, "adult": 0.9})
    assert site.growth["juvenile"]["subadult"].value == pytest.approx(3 / 7)
    assert site.growth["subadult"]["adult"].value == pytest.approx(0.55 / 0.8)
    assert site.growth["adult"] == {}
    entry = site.recruitment.entries["juvenile", "adult"]
    assert (entry.value, entry.year_sd, entry.effect) == (0.35, 0.3, "recruitment")
    assert found.stage("adult").breeds and found.is_matrix


def test_matrix_at_sites(folder):
    found = read_scenario(folder / "matrix-sites.yaml").resolved
    here, there = found.sites
    assert here.survival["old"].key == "survival/old"
    assert there.survival["old"].key == "survival/old @ B"
    assert (there.survival["old"].value, there.survival["old"].year_sd) == (0.85, 0.03)
    assert there.survival["old"].effect == "survival"
    assert (here.recruitment.dispersion, there.recruitment.dispersion) == (3, 6)
    assert here.recruitment.females.value == 1


def test_estimates_bring_link_moments_and_covariance(folder):
    found = read_scenario(folder / "hosts.yaml").resolved
    rate = found.site("Tallow Bend").survival["adult"]
    assert (rate.key, rate.estimate) == ("survival/adult", "survival/adult")
    assert rate.link == LinkMoments(3.02, 0.23, 0.41)
    assert rate.source == Source("measured", "recaptures 2018-2025")
    assert found.covariance.matrix[0, 1] == 0.01
    start = found.site("Quillstone Riffle").start.numbers
    assert start["adult"].interval == (290, 560)
    assert start["juvenile"].value == 0 and not start["juvenile"].is_uncertain
    assert start["subadult"].distribution == "normal", "an interval from 0 has no lognormal law"


def test_a_scenario_that_leaves_an_estimate_out_draws_the_others_alike(folder):
    """Else what is not known of the others would not cancel when the two are compared."""
    whole = read_scenario(folder / "hosts.yaml")
    less = whole.with_changes({"survival.adult": {"value": 0.93, "se": 0.01}})
    one, other = (DrawTable(draws=16, seed=3, unknown=True, covariance=s.resolved.covariance)
                  for s in (whole, less))
    for key in ("survival/subadult", "growth/subadult"):
        np.testing.assert_array_equal(one._joint[key], other._joint[key])
    keys = less.resolved.covariance.keys[1:]
    part = DrawTable(draws=16, seed=3, unknown=True, covariance=JointCovariance(
        keys, less.resolved.covariance.matrix[1:, 1:]))  # a wrong way
    assert abs(part._joint["survival/subadult"] - one._joint["survival/subadult"]).max() > 0.001


def test_site_rates_replace_what_is_written_and_keep_the_rest(folder):
    found = read_scenario(folder / "hosts.yaml").resolved
    quillstone = found.site("Quillstone Riffle").survival["adult"]
    assert (quillstone.key, quillstone.effect) == ("survival/adult @ Quillstone Riffle",
                                                   "survival/adult")
    assert (quillstone.value, quillstone.se, quillstone.year_sd) == (0.94, 0.01, 0.0199)
    assert quillstone.link is None and quillstone.estimate is None
    bare = found.site("Osprey Shoal").survival["adult"]
    assert (bare.value, bare.se, bare.year_sd) == (0.96, 0.0111, 0.0199)


def test_host_densities(folder):
    found = read_scenario(folder / "hosts.yaml").resolved
    late, plain, table = (site.hosts[0] for site in found.sites)
    assert (late.blocked_until, late.ramp_years, late.density.value) == (2029, 4, 10)
    assert plain.density.key == "hosts/drum @ Tallow Bend"
    assert plain.density.effect == "hosts/drum" and plain.density.year_sd == 2
    assert dict(table.density.by_year) == {2026: 8, 2040: 5}


def test_capacity_is_a_ceiling_on_adults_unless_one_is_written(plan):
    site = {"name": "Bend", "area_m2": 1000, "capacity_per_m2": 2}
    assert resolved(plan, sites=[site]).sites[0].limits.ceiling_adults == 2000
    written = resolved(plan, sites=[site], limits={"ceiling": {"animals": 50},
                                                   "ricker": {"adults": 9}})
    limits = written.sites[0].limits
    assert (limits.ceiling_adults, limits.ceiling_animals, limits.ricker) == (None, 50, 9)
    own = resolved(plan, sites=[{**site, "limits": {"ceiling": {"adults": 7}}}],
                   limits={"ceiling": {"animals": 50}, "beverton_holt": {"adults": 9}})
    limits = own.sites[0].limits
    assert (limits.ceiling_adults, limits.ceiling_animals, limits.beverton_holt) == (7, None, 9)


def test_release_survival_of_the_estimates_multiplies(folder):
    first, second = read_scenario(folder / "hosts.yaml").resolved.releases
    assert not first.times_survival
    assert first.first_year_survival.key == "releases/subadults/first_year_survival"
    assert second.times_survival and second.first_year_survival.key == "release/hatchery"


def test_published_value_brings_citation_and_status(folder):
    found = read_scenario(folder / "everything.yaml").resolved
    gravid = found.sites[0].recruitment.gravid
    assert gravid.source.kind == "published" and gravid.source.status == "derived"
    assert gravid.interval == (0.2, 1.0) and gravid.distribution == "triangular"


def test_calibration_names_target_and_place(folder):
    found = read_scenario(folder / "hosts.yaml").resolved
    settlement = found.sites[0].recruitment.settlement
    assert isinstance(settlement, Calibration)
    assert (settlement.target, settlement.rate.value) == ("recruits_per_adult", 0.4)
    assert (settlement.hosts_per_100m2, settlement.adults_per_m2) == (10, 0.05)
    assert found.base.survival["adult"].key == "survival/adult"
    assert found.base.first_site_hosts == found.sites[0].hosts


def test_bad_years_hold_every_stage(plan):
    kinds = [{"name": "a", "chance": 0.1, "survival": {"adult": 0.5}, "strikes": "separately"},
             {"name": "b", "years": [2040, 2030], "survival": 0.7, "recruitment": 0}]
    one, two = resolved(plan, bad_years=kinds).bad_years
    assert one.survival == {"juvenile": 1, "subadult": 1, "adult": 0.5} and one.strikes == 0
    assert two.years == (2030, 2040) and two.survival["adult"] == 0.7 and two.strikes == 1
    none = resolved(plan, bad_years={"none": "a lake without floods"})
    assert none.bad_years == () and none.no_bad_years_reason == "a lake without floods"


def test_warnings(plan):
    plan["releases"][0] |= {"first": 2056, "last": 2056}
    scenario = Scenario.from_dict(plan)
    assert any("never counted" in w for w in scenario.warnings)
    plan |= {"start": {"project_from": "releases"}, "releases": []}
    assert any("stays empty" in w for w in Scenario.from_dict(plan).warnings)


def test_warning_of_bad_years_counted_twice(folder):
    warnings = read_scenario(folder / "hosts.yaml").warnings
    assert any("flood" in w and "counted twice" in w for w in warnings)


def test_warnings_of_the_question_come_before_notes_of_its_estimates(folder):
    question = read_scenario(folder / "hosts.yaml").resolved
    found = warnings_of(question, SimpleNamespace(notes=("an old note", "another")),
                        already=["raised before"])
    assert found[0] == "raised before" and found[-2:] == ["an old note", "another"]
    assert any("counted twice" in w for w in found[1:-2])


def test_parameter_table_and_assumptions(folder):
    scenario = read_scenario(folder / "hosts.yaml")
    rows = {r["name"]: r for r in scenario.parameters()}
    assert rows["survival/adult"]["doubt"] == "se 0.0111, joint with other estimates"
    assert not rows["survival/adult"]["low_confidence"]
    assert rows["recruitment/attachment"]["doubt"] == "1e-05 to 0.001"
    assert rows["recruitment/attachment"]["low_confidence"]
    assert rows["recruitment/settlement"]["source_kind"] == "calibrated"
    assert list(rows)[:4] == ["survival/age 1", "survival/juvenile", "survival/subadult",
                              "survival/adult"]
    said = " ".join(scenario.assumptions())
    assert "counts both sexes" in said and "Settlement is not measured" in said


def test_a_spread_of_years_beside_an_estimate_keeps_its_doubt_and_covariance(tmp_path):
    (tmp_path / "estimates.yaml").write_text(
        "survival/adult: {value: 0.93, link: {mean: 2.5867, se: 0.154, year_sd: 0.0}, "
        "source: {measured: recaptures}}\n", encoding="utf-8")
    written = {
        "title": "x", "years": {"first": 2000, "last": 2010}, "census": "before breeding",
        "estimates": "estimates.yaml", "stages": [{"name": "adult", "breeds": True}],
        "survival": {"adult": {"estimate": "survival/adult", "year_sd": 0.03}},
        "recruitment": {"per_adult": 0.1}, "start": {"adult": 10}, "bad_years": {"none": "a test"},
        "quasi_extinction": {"adults_below": 1}, "runs": {"draws": 1, "replicates": 1},
    }
    rate = Scenario.from_dict(written, base_folder=tmp_path).resolved.sites[0].survival["adult"]
    assert (rate.estimate, rate.link.se) == ("survival/adult", 0.154)
    mean = float(mean_over_years(rate.link.mean, rate.link.year_sd))
    assert mean == pytest.approx(0.93, abs=1e-4)
    assert float(sd_over_years(rate.link.mean, rate.link.year_sd)) == pytest.approx(0.03, abs=1e-9)
    assert str(rate.source) == "measured: recaptures; spread of years as written here"


def test_assumptions_name_what_bad_years_and_deliveries_do():
    written = {
        "title": "x", "years": {"first": 2000, "last": 2010}, "census": "before breeding",
        "stages": [{"name": "young"}, {"name": "adult", "breeds": True}],
        "survival": {"young": 0.6, "adult": 0.9}, "growth": {"young": 0.5},
        "recruitment": {"per_adult": 0.4}, "start": {"adult": 10},
        "releases": [{"name": "spring", "stage": "young", "number": 10, "first": 2001,
                      "delivered": {"mean": 0.9, "sd": 0.1}}],
        "bad_years": [{"name": "flood", "chance": 0.05, "survival": 0.8, "recruitment": 0.5},
                      {"name": "spill", "years": [2003], "survival": {"adult": 0.2}}],
        "quasi_extinction": {"adults_below": 1}, "runs": {"draws": 1, "replicates": 1},
    }
    told = Scenario.from_dict(written).assumptions()
    for sentence in (
        "A bad year (flood) comes with chance 0.05 a year, lasts a year and multiplies survival by "
        "0.8 and recruitment by 0.5; these numbers carry no source and no doubt.",
        "A bad year (spill) comes in 2003, lasts a year and multiplies survival by stage (young 1, "
        "adult 0.2); these numbers carry no source and no doubt.",
        "Of the planned animals (spring) 90 % are delivered on average, with an SD of 10 % between "
        "years.",
    ):
        assert sentence in told


def test_assumptions_name_what_nobody_has_published(folder):
    from pva.scenario.tables import assumptions_of
    said = assumptions_of(read_scenario(folder / "hosts.yaml").resolved)
    assert ("No value is published for mussels in the wild, and no measurement is named here: "
            "survival/age 1, survival/juvenile, recruitment/attachment. Local judgement alone "
            "stands behind these.") in said


def test_a_number_under_a_catalogue_key_is_shown_beside_the_catalogue(folder):
    from pva.files import shipped
    from pva.scenario.tables import parameters_of
    found = read_scenario(shipped("scenarios/no-field-data.yaml")).resolved
    row = next(r for r in parameters_of(found) if r["name"] == "survival/adult")
    assert row["note"] == "confidence medium; the catalogue says 0.92 (0.83 to 0.98)"
    taken = next(r for r in parameters_of(found) if r["name"] == "recruitment/females")
    assert taken["note"] == "confidence high"
    plain = (folder / "hosts.yaml").read_text(encoding="utf-8")
    own = plain.replace("source: {assumed: never measured here}", "source: {published: attachment}")
    assert own != plain
    (folder / "own.yaml").write_text(own, encoding="utf-8")
    rows = {r["name"]: r for r in parameters_of(read_scenario(folder / "own.yaml").resolved)}
    row = rows["recruitment/attachment"]
    assert row["low_confidence"] and row["source_kind"] == "assumed"
    assert row["source"].startswith("attachment: no published value; released to attached")


def test_releases_of_which_the_same_is_assumed_share_a_sentence(plan):
    row = {k: v for k, v in plan["releases"][0].items() if k != "delivered"}
    plan["releases"] = [{**row, "name": f"row {i}"} for i in range(1, 9)]
    plan.pop("solve", None)
    sentences = Scenario.from_dict(plan).assumptions()
    assert [s for s in sentences if s.startswith("Every planned animal is delivered")] == [
        "Every planned animal is delivered (row 1; row 2; row 3; row 4; row 5; row 6 and 2 more); "
        "deliveries often fall short."]


def test_animals_at_the_start_are_said_to_count_as_wild(plan):
    told = "Animals at the first census count as wild-born"
    for number, said in ((5, True), (0, False)):
        plan["start"] = {"adult": number}
        found = Scenario.from_dict(plan).assumptions()
        assert any(s.startswith(told) for s in found) is said


def test_limits_and_spreads_that_nobody_measured_are_assumptions(tmp_path):
    value, year_sd = (float(f(2.6, 0.3)) for f in (mean_over_years, sd_over_years))
    (tmp_path / "estimates.yaml").write_text(
        f"survival/adult: {{value: {value}, year_sd: {year_sd}, "
        "link: {mean: 2.6, se: 0.154, year_sd: 0.3}, source: {measured: recaptures}}\n",
        encoding="utf-8")
    written = {
        "title": "x", "years": {"first": 2000, "last": 2010}, "census": "before breeding",
        "estimates": "estimates.yaml",
        "stages": [{"name": "young", "years": 1}, {"name": "adult", "breeds": True}],
        "survival": {"young": {"value": 0.6, "year_sd": 0.1},
                     "adult": {"estimate": "survival/adult", "year_sd": 0.03}},
        "recruitment": {"per_adult": 0.1}, "bad_years": [{"name": "flood", "chance": 0.1,
                                                          "survival": 0.8}],
        "sites": [{"name": "A", "area_m2": 100, "capacity_per_m2": 3, "start": {"adult": 10}},
                  {"name": "B", "limits": {"beverton_holt": {"adults": 50}},
                   "start": {"adult": 10}}],
        "quasi_extinction": {"adults_below": 1}, "runs": {"draws": 1, "replicates": 1},
    }
    scenario = Scenario.from_dict(written, base_folder=tmp_path)
    said = scenario.assumptions()
    assert ("Space is limited: at most 300 adults live at A; 50 adults halve the recruits of an "
            "adult at B. These numbers carry no source and no doubt.") in said
    assert ("How much ordinary years differ is written and not measured: survival/young (SD 0.1), "
            "survival/adult (SD 0.03).") in said
    assert any(s.startswith("A good or bad year tells nothing of the next one") for s in said)
    assert not any("counted twice" in w for w in scenario.warnings)  # no spread was measured
    measured = dict(written, survival={"young": 0.6, "adult": {"estimate": "survival/adult"}},
                    year_effects={"carry_over": 0.2})
    scenario = Scenario.from_dict(measured, base_folder=tmp_path)
    assert any("counted twice" in w for w in scenario.warnings)
    said = scenario.assumptions()
    assert "What a year was like carries over to the next with correlation 0.2." in said
    assert not any(s.startswith("How much ordinary years") for s in said)
    steady = dict(written, chance={"years": False})
    assert not any("years differ is" in s for s in
                   Scenario.from_dict(steady, base_folder=tmp_path).assumptions())


def test_warning_of_a_best_value_far_from_the_middle_of_its_interval(plan):
    def told(value, **more):
        rate = {"value": value, "interval": [0.90, 0.95], **more}
        scenario = Scenario.from_dict(plan | {"survival": plan["survival"] | {"adult": rate}})
        return [w for w in scenario.warnings if "far from" in w]

    assert told(0.93) == told(0.92) == told(0.91, distribution="triangular") == []
    assert told(0.91) == [
        "survival/adult: the best value 0.91 is far from 0.929, the middle of its interval 0.9 to "
        "0.95. Runs draw from the interval, whatever the best value: where the value was changed, "
        "change the interval with it"]
