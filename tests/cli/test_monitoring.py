"""`pva monitor` from the command line."""

import json

from tests.decide.test_survey_verdict import with_area

SAFE = "Nobody works in water alone"


def test_recruits_in_words_and_files(call, tmp_path):
    done = call("monitor", "recruits", "--density", "0.05", "--found", "0.6", "--cost", "40",
                "--quadrats", "100", "--out", tmp_path)
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == ("400 quadrats of 0.25 m2 find at least one with a chance of 95 %, where "
                        "0.05 per m2 live, if 60 % are found.")
    assert lines[1] == "That is 100 m2 of bed dug, a cost of 16,000."
    assert lines[3].startswith("With 100 quadrats the chance is 53 %; if they find none, up to 0.2 "
                               "per m2 may still live there")
    summary = json.loads((tmp_path / "recruits.effort.json").read_text("utf-8"))
    assert summary["effort"]["quadrats"] == 400
    svg = (tmp_path / "recruits.effort.svg").read_text("utf-8")
    assert svg.startswith("<svg xmlns=") and ">400<" in svg


def test_every_advice_names_harm_and_safety(call):
    for asked in (("recruits", "--density", "0.05"), ("density", "--density", "1"),
                  ("change", "--density", "4", "--to", "2"),
                  ("survival", "--animals", "200", "--visits", "5", "--precision", "0.02")):
        done = call("monitor", *asked)
        assert done.exit_code == 0, done.stderr
        assert SAFE in done.stdout and "harms:" in done.stdout
        assert "permits" in done.stdout and "licensed practice" in done.stdout
        summary = json.loads(call("monitor", *asked, "--json").stdout)
        assert summary["question"] == asked[0]


def test_density_says_where_the_short_rule_misleads(call):
    done = call("monitor", "density", "--density", "1")
    assert "even scatter 100, published variance law 120, its short rule 50" in done.stdout
    assert "do not use it here" in done.stdout
    assert "do not use it here" not in call("monitor", "density", "--density", "16").stdout


def test_survival_that_years_forbid(call):
    done = call("monitor", "survival", "--animals", "200", "--visits", "4", "--precision", "0.01",
                "--year-sd", "0.05")
    assert done.exit_code == 0, done.stderr
    assert ("No number of tags gives 0.01 with 4 visits: the years alone leave 0.025. More years "
            "are needed.") in done.stdout


def test_one_visit_is_refused(call):
    done = call("monitor", "survival", "--animals", "200", "--visits", "1", "--json")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["problems"][0]["code"] == "one-visit"


def test_verdict_writes_and_says(call, tmp_path):
    path = with_area(tmp_path / "study" / "scenarios" / "small.yaml")
    done = call("monitor", "verdict", path, "--quadrats", "400", "--clumping", "0.5")
    assert done.exit_code == 0, done.stderr
    summary = json.loads((tmp_path / "study" / "results" / "small.verdict.json").read_text("utf-8"))
    first = done.stdout.splitlines()[0]
    if summary["year"] is None:
        assert first.startswith("In no year does one survey of 400 quadrats that counts adults")
    else:
        assert first.startswith(f"{summary['year']} is the first year in which one survey of "
                                "400 quadrats")
    assert SAFE in done.stdout
    assert (tmp_path / "study" / "results" / "small.verdict.svg").is_file()
    again = call("monitor", "verdict", path, "--quadrats", "400", "--clumping", "0.5", "--json")
    assert json.loads(again.stdout) == summary


def test_verdict_with_too_few_failures_cannot_tell(call, tmp_path):
    path = with_area(tmp_path / "study" / "scenarios" / "small.yaml", goal=0)
    done = call("monitor", "verdict", path, "--quadrats", "50")
    assert done.exit_code == 0, done.stderr
    assert done.stdout.startswith("Cannot tell yet from when on one survey of 50 quadrats")
