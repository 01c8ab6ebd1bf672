"""Writing the estimates file and its covariance, all or nothing."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from pva.estimate.estimates import Estimate, Estimates
from pva.files import write_bytes_atomic, write_text_atomic

COVARIANCE_FILE = "estimates.nc"
HEADER = (
    "Written by `pva estimate`. Numbers may be changed by hand: what is written as value, se,\n"
    "interval and year_sd is then used, and the note on the line should say who and why.\n"
    "value: mean over years; se: what we do not know; year_sd: how years differ;\n"
    "link: the same on the logit scale; apparent: with lost tags counted as deaths."
)


def write_estimates(estimates: Estimates, path) -> Path:
    """Write ``estimates.yaml`` and, where there is one, the covariance beside it.

    Parameters
    ----------
    estimates : Estimates
    path : str or Path
        The YAML file; its folder is made where needed.

    Returns
    -------
    Path
        The YAML file.
    """
    path = Path(path)
    if estimates.covariance.keys:
        _write_covariance(estimates, path.parent / COVARIANCE_FILE)
    yaml = YAML()
    yaml.width = 4096
    text = io.StringIO()
    yaml.dump(_document(estimates), text)
    return write_text_atomic(path, text.getvalue())


def _document(estimates: Estimates) -> CommentedMap:
    document = CommentedMap()
    document.yaml_set_start_comment(HEADER)
    if estimates.title:
        document["title"] = estimates.title
    if estimates.species:
        document["species"] = estimates.species
    for key, estimate in estimates.rates.items():
        document[key] = _entry(estimate)
    for site, stages in estimates.abundance.items():
        block = CommentedMap((stage, _entry(one)) for stage, one in stages.items())
        document[f"abundance/{site}"] = block
    if estimates.covariance.keys:
        document["covariance"] = COVARIANCE_FILE
    if estimates.notes:
        document["notes"] = list(estimates.notes)
    return document


def _entry(estimate: Estimate) -> CommentedMap:
    entry = CommentedMap()
    entry.fa.set_flow_style()
    # the chance of dying sets the digits worth printing: 0.9514, not 0.95
    digits = 4 if estimate.is_probability else 3
    entry["value"] = _rounded(estimate.value, digits)
    for name in ("se", "year_sd"):
        if getattr(estimate, name) is not None:
            entry[name] = _rounded(getattr(estimate, name), 3)
    if estimate.interval is not None:
        entry["interval"] = CommentedSeq(_rounded(x, digits) for x in estimate.interval)
        entry["interval"].fa.set_flow_style()
    if estimate.link is not None:
        link = CommentedMap()
        link.fa.set_flow_style()
        for name in ("mean", "se", "year_sd"):
            link[name] = _rounded(getattr(estimate.link, name), 5)
        entry["link"] = link
    if estimate.apparent is not None:
        entry["apparent"] = _rounded(estimate.apparent, digits)
    if estimate.n is not None:
        entry["n"] = int(estimate.n)
    entry["source"] = CommentedMap(estimate.source.as_written())
    entry["source"].fa.set_flow_style()
    if estimate.note:
        entry["note"] = estimate.note
    return entry


def _rounded(number: float | None, digits: int) -> float | None:
    if number is None or not np.isfinite(number):
        return None
    return float(f"{float(number):.{digits}g}")


def _write_covariance(estimates: Estimates, path: Path) -> None:
    import xarray as xr

    keys = list(estimates.covariance.keys)
    links = [estimates.rates[key].link for key in keys]
    data = xr.Dataset(
        {
            "covariance": (
                ("key", "with_key"),
                estimates.covariance.matrix,
                {"long_name": "joint covariance of the estimates on the logit scale", "units": "1"},
            ),
            "link_mean": (
                ("key",),
                np.array([link.mean for link in links]),
                {"long_name": "mean over years on the logit scale", "units": "1"},
            ),
        },
        coords={"key": keys, "with_key": keys},
        attrs={"title": estimates.title, "species": estimates.species},
    )
    write_bytes_atomic(path, bytes(data.to_netcdf(engine="h5netcdf")))
