"""`extends`, sites and changes by path: only what is written is replaced."""

from __future__ import annotations

from pathlib import Path

import pytest

from pva.errors import FormError, MeaningError
from pva.scenario.scenario import Scenario, read_scenario


@pytest.fixture
def extended(folder):
    """Reads a scenario that extends hosts.yaml with some YAML."""

    def read(text: str, name: str = "changed.yaml") -> Scenario:
        path = folder / name
        path.write_text("extends: hosts.yaml\n" + text, encoding="utf-8")
        return read_scenario(path)

    return read


def adult(scenario, site="Tallow Bend"):
    return scenario.resolved.site(site).survival["adult"]


def test_bare_number_replaces_the_whole_rate(extended):
    rate = adult(extended("survival: {adult: 0.92}\n"))
    assert (rate.value, rate.se, rate.year_sd, rate.link) == (0.92, None, 0.0, None)


def test_written_value_keeps_the_doubt_of_the_estimate(extended):
    rate = adult(extended("survival: {adult: {value: 0.92}}\n"))
    assert (rate.value, rate.se, rate.year_sd, rate.link) == (0.92, 0.0111, 0.0199, None)
    assert rate.source.kind == "given" and "estimate survival/adult" in rate.source.text


def test_interval_takes_the_place_of_se(extended):
    scenario = extended("survival: {juvenile: {interval: [0.6, 0.8]}}\n")
    rate = scenario.resolved.sites[0].survival["juvenile"]
    assert (rate.value, rate.se, rate.interval, rate.year_sd) == (0.72, None, (0.6, 0.8), 0.08)


def test_doubt_added_to_a_bare_number(extended):
    scenario = extended("recruitment: {females: {se: 0.05}}\n")
    rate = scenario.resolved.sites[0].recruitment.females
    assert (rate.value, rate.se) == (0.5, 0.05)


def test_rows_by_name_keep_what_is_not_written(extended):
    scenario = extended(
        "releases:\n  - {name: subadults, number: 0}\n"
        "  - {name: more, site: Tallow Bend, stage: adult, number: 5, first: 2030}\n"
        "  - {name: bend, number: 9}\n"
    )
    first, second, third = scenario.resolved.releases
    assert set(first.numbers.values()) == {0} and first.cost_each == 28 and first.order_lead == 3
    assert second.numbers == {2027: 9, 2030: 9}, "a bare number holds in the years of the table"
    assert third.name == "more"


def test_lists_without_names_are_replaced_whole(extended):
    scenario = extended("collections: []\nreleases: []\nsolve: null\n")
    assert scenario.resolved.collections == () and scenario.resolved.releases == ()
    assert scenario.resolved.solve is None


def test_kinds_that_exclude_each_other_replace(extended):
    scenario = extended(
        "sites:\n  - {name: Quillstone Riffle, hosts: {drum: {per_100m2: 3}}, "
        "start: {adult: 7}}\n"
        "goals:\n  - {name: breeding, running: 3}\n  - {name: adults in 2050, at_most: 9, "
        "in_years: [2050, 2052]}\n"
        "bad_years: {none: to see what floods do}\n"
    )
    quillstone = scenario.resolved.site("Quillstone Riffle")
    assert quillstone.hosts[0].blocked_until is None and quillstone.hosts[0].density.value == 3
    assert {k: r.value for k, r in quillstone.start.numbers.items()} == {"adult": 7}
    other, breeding = scenario.resolved.goals
    assert (breeding.running, breeding.of_years) == (3, None)
    assert other.at_most and other.years == (2050, 2052)
    assert scenario.resolved.bad_years == ()


def test_recruits_per_adult_take_the_place_of_the_chain(extended):
    scenario = extended("recruitment: {per_adult: 0.3}\n")
    recruitment = scenario.resolved.sites[0].recruitment
    assert recruitment.form == "per_adult" and recruitment.hosts == ()
    assert scenario.resolved.base is None


def test_calibration_stays_where_the_base_file_solved_it(extended, folder):
    base = read_scenario(folder / "hosts.yaml").resolved.base
    extended("survival: {adult: 0.8}\n", "middle.yaml")
    (folder / "last.yaml").write_text(
        "extends: middle.yaml\ntitle: Last\nrecruitment: {hosts: [{name: drum, contact: 0.5}]}\n",
        encoding="utf-8",
    )
    last = read_scenario(folder / "last.yaml").resolved
    assert last.base == base
    assert last.sites[0].recruitment.hosts[0].contact.value == 0.5
    assert adult(read_scenario(folder / "last.yaml")).value == 0.8


def test_problem_is_placed_in_the_file_that_wrote_it(extended, folder):
    with pytest.raises(FormError) as caught:
        extended("survival:\n  adult: {valu: 0.9}\n")
    (problem,) = caught.value.problems
    assert (Path(problem.file).name, problem.line, problem.column) == ("changed.yaml", 3, 11)


def test_bare_number_at_a_site_outside_the_inherited_interval_is_refused(extended):
    with pytest.raises(MeaningError) as caught:
        extended("sites: [{name: Tallow Bend, survival: {age 1: 0.95}}]\n")
    assert "the value 0.95 lies outside its interval [0.45, 0.8]" in str(caught.value)


def test_changes_by_path(folder):
    base = read_scenario(folder / "hosts.yaml")
    digest, written = base.digest, base.written
    other = base.with_changes({
        "releases.subadults.number": 500,
        "sites.Quillstone Riffle.hosts.drum.per_100m2": 3,
        "survival.adult.value": 0.93,
        ("goals", "breeding", "at_least"): 30,
        "limits.ricker.adults": 80,
        "collections.0.number": 5,
        "survival.age 1.year_sd": 0.05,
    })
    found = other.resolved
    assert set(found.releases[0].numbers.values()) == {500}
    assert found.sites[0].hosts[0].density.value == 3
    assert (adult(other).value, adult(other).se) == (0.93, 0.0111)
    assert found.goals[1].value == 30 and found.sites[1].limits.ricker == 80
    assert found.collections[0].numbers == {2026: 5, 2027: 5}
    assert found.sites[0].survival["age 1"].year_sd == 0.05
    assert found.base == base.resolved.base
    assert (base.digest, base.written) == (digest, written), "the original is left as it was"
    assert base.with_changes({}).digest == digest
    assert base.with_changes({"chance_wanted": 0.8}).digest == digest, "the same value again"


def test_changes_that_name_nothing_are_refused(folder):
    base = read_scenario(folder / "hosts.yaml")
    with pytest.raises(FormError, match="`releases` has no row called `subadult`. Did you mean "
                                        "`subadults`?"):
        base.with_changes({"releases.subadult.number": 5})
    with pytest.raises(FormError, match="Did you mean `survival`"):
        base.with_changes({"survivals.adult": 0.5})
    with pytest.raises(MeaningError, match="does not exist"):
        base.with_changes({"survival.adlt": 0.5})


def test_changes_of_a_twin_keep_the_calibration(folder):
    base = read_scenario(folder / "hosts.yaml")
    twin = Scenario.from_dict(base.twin())
    changes = {"survival.adult.value": 0.9, "releases.subadults.number": 10}
    one, other = twin.with_changes(changes), base.with_changes(changes)
    assert one.resolved.base == other.resolved.base
    assert adult(one).value == adult(other).value == 0.9
    assert (adult(one).se, adult(one).year_sd) == (adult(other).se, adult(other).year_sd)
    assert one.resolved.releases[0] == other.resolved.releases[0]


def test_written_from_data_extends_a_file(folder):
    scenario = Scenario.from_dict({"extends": "hosts.yaml", "title": "From data"},
                                  base_folder=folder)
    assert scenario.resolved.title == "From data" and scenario.path is None
    assert sorted(scenario.input_digests) == ["covariance.nc", "estimates.yaml", "hosts.yaml"]


def test_release_without_a_name_is_addressed_by_stage_and_site(folder):
    matrix = read_scenario(folder / "matrix.yaml").with_changes(
        {"releases.juvenile at site.number": 20})
    assert set(matrix.resolved.releases[0].numbers.values()) == {20}
