"""Small scenarios on disk and a way to call the command line in this process."""

import pytest
from click.testing import CliRunner

from pva.cli import main

SMALL = """\
title: Small invented plan
years: {first: 2026, last: 2036}
census: before breeding
stages:
  - {name: juvenile, years: 2}
  - {name: adult, breeds: true}
survival:
  juvenile: {value: 0.6, se: 0.05, source: {assumed: expert range}}
  adult: {value: 0.9, se: 0.02, year_sd: 0.03, source: {assumed: expert range}}
recruitment:
  per_adult: {value: 0.4, se: 0.1, source: {assumed: expert range}}
bad_years: {none: kept simple}
start: {adult: 20}
releases:
  - {name: young, stage: juvenile, number: 40, first: 2026, last: 2029, cost_each: 10,
     order_lead: 2, mothers_per_1000: 50}
quasi_extinction: {adults_below: 5}
goals:
  - {name: adults in 2036, measure: adults, at_least: 120, in: 2036}
chance_wanted: 0.8
solve: {vary: number, most: 400}
runs: {draws: 8, replicates: 10, seed: 5}
"""


@pytest.fixture
def call():
    """Call the command line; the result has exit_code, stdout and stderr."""
    def invoke(*arguments, **more):
        return CliRunner().invoke(main, [str(a) for a in arguments], **more)
    return invoke


@pytest.fixture
def small(tmp_path):
    """A small scenario inside a study folder."""
    return write_small(tmp_path / "study" / "scenarios" / "small.yaml")


def write_small(path, **lines):
    """Write the small scenario; `lines` replace whole top-level lines by key (None = leave out)."""
    text = SMALL
    for key, line in lines.items():
        old = next(x for x in text.splitlines(keepends=True) if x.startswith(f"{key}:"))
        text = text.replace(old, "" if line is None else f"{key}: {line}\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    (path.parents[1] / "study.yaml").write_text("title: Small study\n", encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    return path
