"""Keys with an empty value: unknown ones are refused, known ones taken away, commas explained."""

from __future__ import annotations

import pytest

from pva.errors import FormError
from pva.estimate.estimates_file import read_estimates
from pva.field import read_study
from pva.files import read_yaml
from pva.scenario.load import take_written
from pva.scenario.scenario import read_scenario

BASE = """\
title: Base
years: {first: 2026, last: 2030}
census: before breeding
stages: [{name: juvenile, years: 2}, {name: adult, breeds: true}]
survival: {juvenile: 0.6, adult: {value: 0.9, se: 0.02}}
recruitment: {per_adult: 0.3}
start: {adult: 100}
bad_years: {none: a test}
quasi_extinction: {adults_below: 2}
runs: {draws: 1, replicates: 1, seed: 1}
"""


def written(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_an_extending_file_takes_a_known_key_away_with_null(tmp_path):
    written(tmp_path, "base.yaml", BASE)
    path = written(tmp_path, "more.yaml", "title: More\nextends: base.yaml\n"
                   "survival: {adult: {se: null, year_sd: null}}\nlimits: null\n")
    adult = read_scenario(path).resolved.sites[0].survival["adult"]
    assert adult.value == 0.9 and not adult.se


def test_an_extending_file_cannot_hide_an_unknown_key_behind_null(tmp_path):
    written(tmp_path, "base.yaml", BASE)
    path = written(tmp_path, "more.yaml", "title: More\nextends: base.yaml\nlimit: null\n"
                   "survival: {adult: {years_sd: null}}\n")
    with pytest.raises(FormError) as caught:
        read_scenario(path)
    assert [(p.line, p.what, p.todo) for p in caught.value.problems] == [
        (3, "`limit` is not a key of a scenario", "Did you mean `limits`?"),
        (4, "`years_sd` is not a key of `survival.adult`", "Did you mean `year_sd`?"),
    ]


def test_data_with_an_unknown_empty_key_are_refused_and_their_null_is_kept_in_merging():
    data = take_written({"title": "x", "limit": None})
    assert data.data["limit"] is None


@pytest.mark.parametrize("text", [
    "a: {2026: null, 2027: 5}", "a: {2026: , 2027: 5}", "a: {2026: ~}", "a:\n  2026:\n  2027: 4",
    "a: ['0,6', 1]", "a: {'1': '', b: 2}", "a: {b: 1, c}",
])
def test_keys_of_digits_that_have_a_colon_or_words_are_read(tmp_path, text):
    read_yaml(written(tmp_path, "plain.yaml", text + "\n"))


def test_a_comma_in_a_number_is_told_in_estimates_and_studies_too(tmp_path):
    path = written(tmp_path, "estimates.yaml", "survival/adult: {value: 0,95, se: 0.01}\n")
    with pytest.raises(FormError) as caught:
        read_estimates(path)
    assert str(caught.value).endswith(
        "estimates.yaml, line 1, column 27: `value: 0,95` is read as 0 and a key `95`. A decimal "
        "or thousands comma was probably meant, but within braces a comma ends a value: write a "
        "point for decimals and no separator for thousands. Here: 0.95.")
    path = written(tmp_path, "study.yaml", "title: x\nvisits: {made_of_days: 1,5}\n")
    with pytest.raises(FormError) as caught:
        read_study(path)
    assert "`made_of_days: 1,5` is read as 1 and a key `5`" in str(caught.value)
