"""`pva credit` on disk and in words."""

import csv
import json

import pytest
import xarray as xr

from tests.cli.conftest import write_small


@pytest.fixture
def pair(tmp_path):
    folder = tmp_path / "study" / "scenarios"
    base = write_small(folder / "none.yaml", releases="[]", goals=None, title="Nothing is done")
    base.write_text(base.read_text(encoding="utf-8").split("  - {name: young")[0]
                    + "quasi_extinction: {adults_below: 5}\nruns: {draws: 8, replicates: 10, "
                    "seed: 5}\n", encoding="utf-8")
    return write_small(folder / "small.yaml"), base


def test_credit_writes_the_same_answer_three_times(call, pair):
    plan, base = pair
    result = call("credit", plan, "--baseline", base, "--rate", 0.03, "--claimed", 100, "--json")
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    folder = plan.parents[1] / "results"
    assert json.loads((folder / "small.credit.json").read_text(encoding="utf-8")) == said
    with (folder / "small.credit.csv").open(encoding="utf-8", newline="") as handle:
        lines = list(csv.DictReader(handle))
    assert [int(line["year"]) for line in lines] == list(range(2026, 2037))
    total = sum(float(line["difference"]) / 1.03 ** i for i, line in enumerate(lines))
    assert total == pytest.approx(said["credit"]["mean"])
    assert float(lines[-1]["so_far"]) == pytest.approx(total)
    with xr.open_dataset(folder / "small.credit.nc") as data:
        assert float(data.credit.mean()) == pytest.approx(total)
    assert said["claimed"]["number"] == 100 and 0 <= said["claimed"]["chance"] <= 1
    assert said["cost"]["plain"] == 1600
    assert len(said["cautions"]) == 3 and "agency" in said["cautions"][0]


def test_credit_in_words(call, pair):
    plan, base = pair
    result = call("credit", plan, "--baseline", base, "--rate", 0.03)
    first = result.stdout.splitlines()[0]
    assert first.startswith('"Small invented plan" gives ')
    assert ("(adults, 2026 to 2036, discounted at 3 % a year to 2026) above "
            '"Nothing is done" (simulation error ') in first
    for words in ("years in which the baseline holds more count negative", "Without discount: ",
                  "per animal-year", "not a credit that anybody has granted",
                  "The baseline drives it"):
        assert words in result.stdout


def test_a_copy_is_said_to_give_nothing(call, pair):
    plan, _ = pair
    result = call("credit", plan, "--baseline", plan, "--rate", 0, "--quiet")
    assert result.stdout == ('"Small invented plan" and "Small invented plan" hold the same adults '
                             "in every year 2026 to 2036: the credit is 0.\n")


@pytest.mark.parametrize("more, code, words", [
    (["--rate", 3], 1, "Write a share such as 0.03 for 3 %"),
    ([], 2, "Missing option '--rate'"),
    (["--rate", 0.03, "--from", 2000], 1, "the first year counted, 2000, lies outside the years"),
])
def test_what_is_refused(call, pair, more, code, words):
    result = call("credit", pair[0], "--baseline", pair[1], *more)
    assert result.exit_code == code
    assert words in " ".join(result.stderr.split())
