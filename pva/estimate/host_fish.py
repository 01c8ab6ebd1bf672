"""Host fish per 100 m2 and glochidia per fish, for recruitment through hosts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import t

from pva.estimate.combined import Told, quotient, weighted_sum
from pva.estimate.density import density
from pva.estimate.designs import simple
from pva.estimate.estimates import Estimate
from pva.estimate.refusal import Refusal
from pva.estimate.removal import removal
from pva.estimate.unit_options import UnitOptions
from pva.field.records import FieldRecords
from pva.sources import Source

PER = 100.0  # m2
NEEDED = ("`area_m2` of every sample, or `effort` with `hosts: effort_m2`, the m2 that a unit of "
          "it fishes")


@dataclass(frozen=True)
class Hosts:
    """Host fish of a study.

    Parameters
    ----------
    rows : list of dict
        Density of every host, site and year.
    loads : list of dict
        Glochidia per fish of every host and site.
    rates : dict of str to Estimate
        ``hosts/HOST/SITE`` (fish per 100 m2, latest year) and ``glochidia_per_host/HOST/SITE``.
    refused : tuple of Refusal
    notes : tuple of str
    """

    rows: list[dict] = field(default_factory=list)
    loads: list[dict] = field(default_factory=list)
    rates: dict[str, Estimate] = field(default_factory=dict)
    refused: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()


def estimate_hosts(records: FieldRecords, options: UnitOptions) -> Hosts:
    """Estimate host densities and loads.

    A sample is one site, day and host; several rows of it with `pass` 1, 2, ... are passes of one
    removal fishing, others are stretches fished one after the other.

    Parameters
    ----------
    records : FieldRecords
    options : UnitOptions
    """
    table = _with_area(records.hosts, options)
    rows, refused = [], []
    for (host, site), own in table.groupby(["host", "site"], sort=True):
        if own["fished_m2"].isna().all():
            refused.append(Refusal(f"hosts/{host}/{site}", "nobody says how much river was fished",
                                   NEEDED))
            continue
        for year, of_year in own.dropna(subset=["fished_m2"]).groupby("year", sort=True):
            row = _density(host, site, year, of_year, options)
            (refused if isinstance(row, Refusal) else rows).append(row)
    loads = [row for (host, site), own in table.groupby(["host", "site"], sort=True)
             if (row := _load(host, site, own)) is not None]
    rates = _densities(rows, options) | _loads(loads)
    return Hosts(rows, loads, rates, tuple(refused), _notes(rows, options))


def _with_area(hosts: pd.DataFrame, options: UnitOptions) -> pd.DataFrame:
    for name in ("area_m2", "pass"):
        if name not in hosts:
            hosts = hosts.assign(**{name: np.nan})
    by_effort = hosts["effort"].astype(float) * (options.effort_m2 or np.nan)
    area = hosts["area_m2"].astype(float)
    return hosts.assign(fished_m2=area.where(area.notna(), by_effort),
                        year=pd.to_datetime(hosts["date"]).dt.year)


def _density(host, site, year, own: pd.DataFrame, options: UnitOptions) -> dict | Refusal:
    shared = {"name": f"hosts/{host}/{site}", "host": host, "site": site, "year": int(year),
              "fish": int(own["count"].sum())}
    passes = own["pass"].notna()
    if passes.any():
        return _by_removal(own[passes], shared)
    told = density(own["count"].to_numpy(float), own["fished_m2"].to_numpy(float) / PER)
    ends, by = told.told, told.method
    if host in options.catches:
        ends, by = quotient(ends, options.catches[host].told), f"{by}, one pass corrected"
    return shared | {"value": ends.value, "low": ends.low, "high": ends.high, "samples": told.units,
                     "fished_m2": told.area_m2 * PER, "interval_by": by, "caught_per_pass": None}


def _by_removal(own: pd.DataFrame, shared: dict) -> dict | Refusal:
    """Stretches fished pass by pass, each a sample of one day."""
    told, area, caught = [], 0.0, []
    for _, sample in own.groupby("date"):
        catches = sample.groupby("pass")["count"].sum()
        area += float(sample["fished_m2"].iloc[0])
        found = removal(catches.to_numpy())
        if found is None and catches.sum() == 0:
            told.append(Told(0.0, 0.0, 0.0))
            continue
        if found is None:
            return Refusal(f"{shared['name']} {shared['year']}", "catches do not fall from pass to "
                           f"pass ({', '.join(f'{c:.0f}' for c in catches)})",
                           "one more pass, or the share caught by a pass under `hosts: "
                           "efficiency` and no `pass`")
        told.append(found.fish)
        caught.append(found.caught_per_pass)
    ends = weighted_sum(np.full(len(told), PER / area), told)
    if not ends.value:
        ends = Told(0.0, 0.0, -np.log(0.05) * PER / area)
    return shared | {"value": ends.value, "low": ends.low, "high": ends.high, "samples": len(told),
                     "fished_m2": area,
                     "interval_by": "removal, pass by pass",
                     "caught_per_pass": float(np.mean(caught)) if caught else None}


def _load(host, site, own: pd.DataFrame) -> dict | None:
    """Mean glochidia per fish; samples differ, so they are the unit."""
    own = own[own["glochidia_per_fish"].notna() & (own["count"] > 0)]
    if not len(own):
        return None
    fish, mean = own["count"].to_numpy(float), own["glochidia_per_fish"].to_numpy(float)
    told = simple(fish * mean, fish)
    row = {"name": f"glochidia_per_host/{host}/{site}", "host": host, "site": site,
           "value": told.value, "se": told.se, "low": None, "high": None,
           "samples": len(own), "fish": int(fish.sum())}
    if told.se and told.value > 0:
        half = float(t.ppf(0.975, told.degrees)) * told.se / told.value
        row |= {"low": told.value * float(np.exp(-half)), "high": told.value * float(np.exp(half))}
    return row


def _densities(rows: list[dict], options: UnitOptions) -> dict[str, Estimate]:
    out = {}
    for row in rows:  # years in order: the last stays
        notes = ["fish per 100 m2; one year alone: write how years differ in the scenario"]
        if row["value"] == 0:
            notes.append("none caught: the high end is a one-sided 95 % limit")
        if row["samples"] == 1 and row["caught_per_pass"] is None:
            notes.append("one sample, as if fish were spread evenly: where they school, the "
                         "interval is too narrow")
        if row["caught_per_pass"] is None and row["host"] not in options.catches:
            notes.append("as if a pass caught every fish: a low estimate")
        out[row["name"]] = Estimate(
            row["name"], row["value"], interval=(row["low"], row["high"]), n=row["fish"],
            source=Source("measured", f"{row['fish']} fish on {row['fished_m2']:.0f} m2 fished, "
                          f"{row['year']}"), note="; ".join(notes))
    return out


def _loads(loads: list[dict]) -> dict[str, Estimate]:
    return {row["name"]: Estimate(
        row["name"], row["value"], se=row["se"],
        interval=None if row["low"] is None else (row["low"], row["high"]), n=row["samples"],
        source=Source("measured", f"{row['fish']} fish in {row['samples']} samples"),
        note="a target of calibration, not a check") for row in loads}


def _notes(rows: list[dict], options: UnitOptions) -> tuple[str, ...]:
    taken = sorted({r["host"] for r in rows if r["caught_per_pass"] is None}
                   - set(options.catches))
    if not taken:
        return ()
    return (f"Host fish ({', '.join(taken)}) are counted as if one pass caught every fish: host "
            "densities are low estimates",)
