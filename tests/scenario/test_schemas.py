"""The schemas for editors: they take every shipped file and refuse broken ones."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from pva.field.schema import study_schema
from pva.files import read_yaml
from pva.scenario.scenario import read_scenario
from pva.scenario.schema import scenario_schema
from pva.scenario.spec import every_key

TOP = Path(__file__).resolve().parents[2]
SHIPPED = [f for f in sorted((TOP / "scenarios").rglob("*.yaml")) if "made_by" not in f.parts]
STUDIES = [f for f in SHIPPED if f.name == "study.yaml"]
SCENARIOS = [f for f in SHIPPED if f not in STUDIES]
OF_SCENARIO = Draft202012Validator(scenario_schema())
OF_STUDY = Draft202012Validator(study_schema())


def as_json(document):
    """Numbers as keys (years) become text, as they do for an editor."""
    return json.loads(json.dumps(document))


def refusals(validator, document):
    """Where a schema refuses a document, and what it says of the innermost fault."""
    found = []
    for error in validator.iter_errors(as_json(document)):
        while error.context:
            error = max(error.context, key=lambda e: len(e.absolute_path))
        found.append((".".join(map(str, error.absolute_path)), error.message))
    return found


def test_both_are_schemas():
    Draft202012Validator.check_schema(scenario_schema())
    Draft202012Validator.check_schema(study_schema())


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.relative_to(TOP).as_posix())
def test_every_shipped_file_is_taken(path):
    validator = OF_STUDY if path in STUDIES else OF_SCENARIO
    assert refusals(validator, read_yaml(path)[0]) == []


def test_there_are_many_shipped_files():
    assert len(SCENARIOS) > 40 and len(STUDIES) >= 1


@pytest.mark.parametrize("name", ["no-field-data", "teasel", "questions/river",
                                  "questions/host-returns", "questions/sites-moving"])
def test_resolved_twins_are_taken(name):
    assert refusals(OF_SCENARIO, read_scenario(TOP / f"scenarios/{name}.yaml").twin()) == []


BROKEN = [
    ("questions/river.yaml", lambda d: d.update(surival={}), "",
     "Additional properties are not allowed ('surival' was unexpected)"),
    ("questions/river.yaml", lambda d: d.pop("census"), "", "'census' is a required property"),
    ("questions/river.yaml", lambda d: d["survival"]["adult"].update(value=93),
     "survival.adult.value", "93 is greater than the maximum of 1"),
    ("questions/river.yaml", lambda d: d["goals"][0].update(measure="adlts"), "goals.0.measure",
     "'adlts' is not one of ['adults', 'animals', 'wild_adults', 'stocked_adults', 'females', "
     "'recruits', 'adults_per_m2', 'sites_occupied', 'replacement_ratio', 'wild_share', "
     "'heterozygosity', 'glochidia_per_host', 'cost']"),
    ("questions/river.yaml", lambda d: d.update(census="in spring"), "census",
     "'in spring' is not one of ['before breeding', 'after breeding']"),
    ("questions/river.yaml", lambda d: d["runs"].update(draws="many"), "runs.draws",
     "'many' is not of type 'integer'"),
    ("questions/river.yaml", lambda d: d["survival"]["adult"].update(interval=[0.9]),
     "survival.adult.interval", "[0.9] is too short"),
    ("questions/river.yaml", lambda d: d["survival"]["adult"].update(source={"guess": "mine"}),
     "survival.adult.source", "'guess' is not one of ['measured', 'published', 'calibrated', "
     "'assumed', 'default', 'given']"),
    ("questions/sizes-double.yaml", lambda d: d["releases"][0].update(numbr=3), "releases.0",
     "Additional properties are not allowed ('numbr' was unexpected)"),
]


@pytest.mark.parametrize("name, spoil, where, message", BROKEN)
def test_broken_scenarios_are_refused(name, spoil, where, message):
    document = read_yaml(TOP / "scenarios" / name)[0]
    spoil(document)
    assert (where, message) in refusals(OF_SCENARIO, document)


@pytest.mark.parametrize("spoil, where, message", [
    (lambda d: d["tables"][0].update({"is": "relases"}), "tables.0.is",
     "'relases' is not one of ['releases', 'visits', 'encounters', 'reader log', 'units', "
     "'animals', 'hosts']"),
    (lambda d: d.pop("title"), "", "'title' is a required property"),
    (lambda d: d["survival"].update(differs_by=["colour"]), "survival.differs_by.0",
     "'colour' is not one of ['site', 'source', 'stage', 'length', 'batch', 'year', 'species', "
     "'bad_years']"),
    (lambda d: d["sites"][0].update(area=5), "sites.0",
     "Additional properties are not allowed ('area' was unexpected)"),
])
def test_broken_studies_are_refused(spoil, where, message):
    document = read_yaml(TOP / "scenarios/hesperwell/study.yaml")[0]
    spoil(document)
    assert (where, message) in refusals(OF_STUDY, document)


def test_every_key_is_there_with_its_words():
    text = json.dumps(scenario_schema(), ensure_ascii=False)
    for key in every_key():
        assert json.dumps(key.meaning, ensure_ascii=False)[1:-1] in text, key.path


def test_defaults_and_ranges_are_there():
    parts = scenario_schema()["$defs"]
    draws = parts["RunsSpec"]["properties"]["draws"]
    assert draws["default"] == 200 and draws["anyOf"][0]["minimum"] == 1
    wanted = parts["ScenarioSpec"]["properties"]["chance_wanted"]
    assert wanted["default"] == 0.9 and wanted["anyOf"][0]["maximum"] == 1


def test_words_about_a_study_name_each_key():
    for key, part in study_schema()["properties"].items():
        assert part["description"], key
