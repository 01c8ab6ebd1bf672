"""`pva sensitivity` from the command line."""

import json


def test_sensitivity_writes_and_says_the_same(call, small):
    done = call("sensitivity", small, "--json")
    assert done.exit_code == 0, done.stderr
    summary = json.loads(done.stdout)
    folder = small.parents[1] / "results"
    assert json.loads((folder / "small.sensitivity.json").read_text("utf-8")) == summary
    drawn = (folder / "small.sensitivity.svg").read_text("utf-8")
    assert drawn.startswith("<svg xmlns=") and "survival: adult" in drawn


def test_sensitivity_in_words(call, small):
    done = call("sensitivity", small)
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("The chance of meeting all goals is ")
    assert "; of rates moved one at a time it depends most on " in lines[0]
    assert "Verdict on \"adults in 2036\" by the chance wanted: 50 %: " in done.stdout
    assert "nothing is released" in done.stdout and "* as written" in done.stdout


def test_without_goals_nothing_flips(call, small):
    text = small.read_text(encoding="utf-8")
    start, end = text.index("goals:"), text.index("chance_wanted:")
    small.write_text(text[:start] + text[end:], encoding="utf-8")
    done = call("sensitivity", small)
    assert done.exit_code == 0, done.stderr
    assert done.stdout.startswith("The chance of not falling below the threshold is ")
    assert "flips" not in done.stdout.splitlines()[0]


def test_a_chance_that_no_rate_moves_says_so(call, small):
    text = small.read_text(encoding="utf-8").replace("at_least: 120", "at_least: 1")
    small.write_text(text, encoding="utf-8")
    done = call("sensitivity", small)
    assert done.exit_code == 0, done.stderr
    assert done.stdout.splitlines()[0].endswith(
        "stays so whichever single rate is moved within what is known of it or by one step.")


def test_growth_is_named_with_its_elasticities(call, small):
    done = call("sensitivity", small)
    assert "moves the long-run growth rate most, in percent: the yearly survival of the stage " \
        "adult (+0." in done.stdout
