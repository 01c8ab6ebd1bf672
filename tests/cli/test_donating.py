"""`pva donor` from the command line."""

import json

ROW = """\
collections:
  - {stage: adult, number: 2, first: 2026, last: 2028}
"""


def test_donor_writes_and_says_the_same(call, small):
    small.write_text(small.read_text("utf-8") + ROW, encoding="utf-8")
    done = call("donor", small, "--below", "5", "--added-risk", "0.2", "--json")
    assert done.exit_code == 0, done.stderr
    summary = json.loads(done.stdout)
    folder = small.parents[1] / "results"
    assert json.loads((folder / "small.donor.json").read_text("utf-8")) == summary
    assert summary["threshold"] == 5 and summary["added_risk"] == 0.2
    assert (folder / "small.donor.svg").read_text("utf-8").startswith("<svg xmlns=")
    said = call("donor", small, "--below", "5", "--added-risk", "0.2")
    assert said.stdout.startswith(("At most ", "Take none: "))
    assert "\"Take none\" is a valid answer." in said.stdout


def test_nothing_taken_is_refused_in_words(call, small):
    done = call("donor", small)
    assert done.exit_code == 1
    assert done.stderr.startswith("nothing is taken from any site, so there is no donor to judge.")
