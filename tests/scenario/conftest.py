"""Scenario files of the tests, in a folder with estimates and their joint covariance."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

FILES = Path(__file__).with_name("files")
KEYS = ["survival/adult", "survival/subadult", "growth/subadult"]
COVARIANCE = np.array([[0.0529, 0.01, 0.0], [0.01, 0.04, 0.002], [0.0, 0.002, 0.0625]])


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    """Copy of the test files with `covariance.nc` beside the estimates."""
    made = tmp_path_factory.mktemp("scenarios") / "files"
    shutil.copytree(FILES, made)
    xr.Dataset({"covariance": (("key", "key_2"), COVARIANCE)}, coords={"key": KEYS}).to_netcdf(
        made / "covariance.nc", engine="h5netcdf"
    )
    return made


@pytest.fixture
def plan() -> dict:
    """A small written scenario, free to be changed by a test."""
    return {
        "title": "A small plan (invented)",
        "years": {"first": 2026, "last": 2056},
        "census": "before breeding",
        "stages": [
            {"name": "juvenile", "years": 2},
            {"name": "subadult", "length_mm": [30, 50]},
            {"name": "adult", "length_mm": [50, 92], "breeds": True},
        ],
        "survival": {"juvenile": 0.6, "subadult": {"value": 0.8, "se": 0.03},
                     "adult": {"value": 0.93, "se": 0.02, "year_sd": 0.03}},
        "growth": {"subadult": 0.3},
        "recruitment": {"per_adult": 0.4},
        "start": {"adult": 100},
        "releases": [{"name": "hatchery fish", "stage": "subadult", "number": 200,
                      "first": 2026, "last": 2030}],
        "bad_years": [{"name": "flood", "chance": 0.05, "survival": 0.8}],
        "quasi_extinction": {"adults_below": 20},
        "goals": [{"name": "many", "measure": "adults", "at_least": 500, "in": 2050}],
        "runs": {"draws": 10, "replicates": 10, "seed": 1},
    }
