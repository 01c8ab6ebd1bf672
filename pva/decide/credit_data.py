"""A credit as a labelled data set, and as lines of a table."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from pva.decide.credit import Credit
from pva.results.measures import WORDS

COLUMNS = ("year", "weight", "scenario", "baseline", "difference", "low", "high", "draw_low",
           "draw_high", "run_low", "run_high", "discounted", "so_far")


def credit_rows(summary: dict) -> list[list]:
    """Lines of `COLUMNS`, one a year, from a summary of `Credit`."""
    return [[row[name] for name in COLUMNS] for row in summary["years"]]


def credit_dataset(found: Credit) -> xr.Dataset:
    """Credit of every run, and what each year adds in every draw.

    Returns
    -------
    xarray.Dataset
        Dimensions year, draw, replicate, plan; every variable has `long_name` and `units`.
    """
    words = WORDS[found.measure]
    data = xr.Dataset(coords={"year": list(found.period.years), "plan": ["scenario", "baseline"],
                              "draw": np.arange(len(found.runs))})
    for name, dims, values, said, units in (
        ("level_mean", ("plan", "year"), found.levels, f"{words} at the census, mean over runs",
         "animals"),
        ("difference_by_draw", ("draw", "year"), found.by_draw,
         f"{words} of the scenario above the baseline, mean of every parameter draw", "animals"),
        ("weight", ("year",), found.period.weights,
         f"weight of the year at {found.period.rate:g} a year, base year {found.period.base}",
         "1"),
        ("credit", ("draw", "replicate"), found.runs,
         f"discounted animal-years ({words}) above the baseline, every run", "animals year"),
    ):
        data[name] = (dims, values, {"long_name": said, "units": units})
    summary = found.summary()
    data.attrs = {"title": f"{found.titles[0]} above {found.titles[1]}", "Conventions": "CF-1.11",
                  "seed": str(found.seed), "digests": json.dumps(found.digests),
                  "warnings": json.dumps(found.warnings),
                  "summary": json.dumps({k: v for k, v in summary.items() if k != "years"})}
    return data
