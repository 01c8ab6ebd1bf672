"""The page of a study: what is kept and fresh is read, what is missing or old is made."""

from __future__ import annotations

import json

import pytest
from conftest import PLAN

from pva.report.build import build_report
from pva.results.store import write_json

YAML_PLAN = json.dumps(PLAN | {"runs": {"draws": 8, "replicates": 3, "seed": 5}, "solve": {
    "vary": "number", "releases": ["juveniles"], "most": 400}})  # JSON is YAML


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A study without tables, its page made once."""
    folder = tmp_path_factory.mktemp("work") / "river"
    (folder / "scenarios").mkdir(parents=True)
    (folder / "study.yaml").write_text("title: A river (invented)\n", encoding="utf-8")
    (folder / "scenarios/base.yaml").write_text(YAML_PLAN, encoding="utf-8")
    steps = []
    page = build_report(folder, threads=1, progress=lambda done, total: steps.append((done, total)))
    assert page == folder / "report.html"
    assert steps[-1] == (4, 4)
    return folder


def test_page_and_results_are_written(study):
    made = sorted(p.name for p in (study / "results").iterdir())
    assert made == ["base.nc", "base.stock.json", "base.summary.json"]
    text = (study / "report.html").read_text(encoding="utf-8")
    assert "A river (invented)" in text and "pva report river" in text


def test_fresh_results_are_read_again(study):
    stock = study / "results/base.stock.json"
    kept = json.loads(stock.read_text(encoding="utf-8"))
    write_json(stock, kept | {"reachable": True, "number": 77, "chance_at_number": 0.81,
                              "total_animals": 308.0, "low": 70.0, "high": 80.0})
    before = (study / "results/base.nc").stat().st_mtime_ns
    text = build_report(study, threads=1).read_text(encoding="utf-8")
    assert "About 77 juveniles a year" in text
    assert (study / "results/base.nc").stat().st_mtime_ns == before


def test_results_of_another_question_are_made_anew(study):
    stock = study / "results/base.stock.json"
    kept = json.loads(stock.read_text(encoding="utf-8"))
    write_json(stock, kept | {"digest": "another", "number": 77})
    (study / "results/base.nc").write_bytes(b"damaged")
    build_report(study, threads=1)
    again = json.loads(stock.read_text(encoding="utf-8"))
    assert again["digest"] != "another" and again["number"] != 77
    assert (study / "results/base.nc").stat().st_size > 1000
