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
    assert "gravid_share" in said.stdout
    assert "Looked for and not found" in said.stdout


def test_without_either_the_usage_is_told(call):
    said = call("show")
    assert said.exit_code == 2
    assert "Name a SCENARIO, or ask for --published." in said.stderr
