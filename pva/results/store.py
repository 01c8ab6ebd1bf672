"""Results on disk: a NetCDF file a run, its summary beside it, each whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import xarray as xr

from pva.files import write_bytes_atomic, write_text_atomic
from pva.files.unfinished import tidy


def write_json(path: Path, document: dict) -> Path:
    """Write a summary; NaN is refused rather than written."""
    return write_text_atomic(path, json.dumps(document, indent=1, allow_nan=False,
                                              ensure_ascii=False) + "\n")


def write_dataset(path: Path, data: xr.Dataset) -> Path:
    """Write a data set as NetCDF that plain `xarray.open_dataset` reads."""
    return write_bytes_atomic(path, bytes(data.to_netcdf(engine="h5netcdf")))


def read_dataset(path: Path) -> xr.Dataset:
    """Read a data set back, all of it, and close the file."""
    tidy(path.parent)  # if its writer was killed, what it had ready takes its place first
    with xr.open_dataset(path, engine="h5netcdf") as data:
        return data.load()
