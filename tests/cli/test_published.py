"""The catalogue as the command lists it."""

import json

from pva.lifehistory.catalogue import entries, not_found


def test_every_entry_is_listed_with_its_source(call):
    said = call("show", "--published", "--json")
    assert said.exit_code == 0
    document = json.loads(said.stdout)
    assert [e["key"] for e in document["published"]] == [e.key for e in entries()]
    assert all(e["citation"] and e["status"] for e in document["published"])
    assert document["not_found"] == not_found()


def test_the_list_in_words(call):
    said = call("show", "--published")
    assert said.stdout.startswith(f"{len(entries())} published values and ranges; a scenario "
                                  "takes one by {published: KEY}.")
    assert "Looked for and not found" in said.stdout
    usable, refused = said.stdout.split("NOT PUBLISHED for mussels in the wild, refused by key: ")
    nobody, weak = refused.split("For reading only, refused by key: ")
    for entry in entries():
        line = f"\n  {entry.key}: {entry.figure}"
        assert (line in usable) == entry.may_stand
        assert (line in nobody) == (not entry.is_published)
        assert (line in weak) == (entry.is_published and not entry.may_stand)
    assert max(map(len, said.stdout.splitlines()[1:])) <= 160


def test_an_entry_says_species_water_number_method_and_remark(call):
    text = call("show", "--published").stdout
    at = text.index("  adult_survival/pleurobema_riddellii:")
    assert text[at:].split("\n  rec")[0].splitlines()[:5] == [
        "  adult_survival/pleurobema_riddellii: 0.833 per year",
        "      read, confidence high; Ford, Plants-Paris & Ford 2022",
        "      Pleurobema riddellii; Neches River, Texas, 2014-2019; 392 animals, 3 sites; "
        "recapture;",
        "      apparent, SE 0.034; with 0.063 recruits a year it is below 1 in a bed judged "
        "stable: leaving",
        "      the 25 m2 plots counts as death",
    ]


def test_without_either_the_usage_is_told(call):
    said = call("show")
    assert said.exit_code == 2
    assert "Name a SCENARIO, or ask for --published." in said.stderr
