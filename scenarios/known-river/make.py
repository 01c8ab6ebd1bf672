"""An invented river of which everything is known: makes a study, spoils it, holds it to the truth.

    python scenarios/known-river/make.py FOLDER                    a study with its field tables
    python scenarios/known-river/make.py FOLDER --spoil MISTAKE    the same, spoilt on purpose
    python scenarios/known-river/make.py FOLDER --compare          its estimates beside the truth

The page docs/learn-by-truth.md tells how to use it. River, animals and records are invented.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
from pathlib import Path

import numpy as np
import pandas as pd

SITE, SPECIES, SOURCE = "Known Riffle", "Lampsilis ficta", "hatchery"
TRUTH = {
    "survival, a year": 0.90,
    "release survival": 0.70,
    "staying, a year": 0.93,
    "found at a visit": 0.60,
    "largest size, mm": 80.0,
    "growth rate, a year": 0.25,
    "density, per m2": 0.9,
}
CALLED = dict(zip(TRUTH, ("survival/all", "release/hatchery", "staying/all",
                          "detection/hand search", "asymptote_mm", "rate",
                          "density/Known Riffle"), strict=True))
AREA, UNITS, UNIT_AREA, SIZE_SD, ERROR_SD = 600, 160, 0.25, 3.0, 0.8
EACH_YEAR, RELEASES, VISITS = 150, range(2015, 2019), range(2015, 2022)
HEARD_ALIVE, SHELL_FOUND, SHELL_HEARD, SHELL_YEARS = 0.3, 0.4, 0.5, 4.0
MISTAKES = {
    "pooled": "release survival pooled with later survival",
    "no-blanks": "blank units left out, and the field sheet said to list every unit",
    "heard-alive": "every tag that was heard written down as an animal seen alive",
    "two-visits": "one release and one visit after it, so that nobody was met three times",
    "no-shells": "shells left out",
}


def animals(rng: np.random.Generator) -> pd.DataFrame:
    """Hidden lives, one row an animal: days of release, death and leaving; sizes; the shell."""
    released = np.repeat([dt.date(y, 5, 15).toordinal() for y in RELEASES], EACH_YEAR)
    number = released.size
    year = 365.25
    die = rng.exponential(-year / np.log(TRUTH["survival, a year"]), number)
    leave = rng.exponential(-year / np.log(TRUTH["staying, a year"]), number)
    at_once = rng.random(number) >= TRUTH["release survival"]
    return pd.DataFrame({
        "tag": [f"98200041{n:07d}" for n in 1_000_000 + rng.choice(900_000, number, False) * 10],
        "released": released,
        "born": released - rng.integers(2, 4, number) * year,
        "died": released + np.where(at_once, 1.0, die),
        "left": released + leave,
        "largest": rng.normal(TRUTH["largest size, mm"], SIZE_SD, number),
        "shell_gone": rng.exponential(SHELL_YEARS * year, number),
        "shell_found": False,
    })


def length(of: pd.DataFrame, day: float, rng: np.random.Generator) -> np.ndarray:
    """Lengths as read from the calliper, mm."""
    seasons = _seasons(day) - np.array([_seasons(b) for b in of["born"]])
    true = of["largest"] * -np.expm1(-TRUTH["growth rate, a year"] * seasons)
    return np.round(true + rng.normal(0, ERROR_SD, len(of)), 1)


def _seasons(day: float) -> float:
    """Growing seasons (April to October) since the year 0."""
    date = dt.date.fromordinal(int(day))
    begun = (date - dt.date(date.year, 4, 1)).days / 214
    return date.year + min(max(begun, 0.0), 1.0)


def releases(of: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """The table of releases."""
    parts = [pd.DataFrame({"tag": batch["tag"], "species": SPECIES, "site": SITE,
                           "date": dt.date.fromordinal(day), "length_mm": length(batch, day, rng),
                           "source": SOURCE, "batch": f"spring {dt.date.fromordinal(day).year}"})
             for day, batch in of.groupby("released")]
    return pd.concat(parts, ignore_index=True)


def encounters(of: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """What the crew writes down at every visit: alive in the hand, only heard, or a shell."""
    found = []
    for year in VISITS:
        day = dt.date(year, 9, 1).toordinal()
        there = of[of["released"] < day]
        here = there["left"] > np.minimum(day, there["died"])
        living = there[here & (there["died"] > day)]
        dead = there[(there["died"] <= day) & (there["died"] + there["shell_gone"] > day)
                     & ~there["shell_found"]]
        held = rng.random(len(living)) < TRUTH["found at a visit"]
        heard = ~held & (rng.random(len(living)) < HEARD_ALIVE)
        shells = rng.random(len(dead)) < SHELL_FOUND  # all around: also of those that left
        hum = ~shells & here[dead.index] & (rng.random(len(dead)) < SHELL_HEARD)
        of.loc[dead.index[shells], "shell_found"] = True
        for status, met in (("alive", living[held]), ("heard", living[heard]),
                            ("shell", dead[shells]), ("heard", dead[hum])):
            sizes = length(met, day, rng) if status == "alive" else ""
            found.append(pd.DataFrame({"visit": year, "site": SITE, "tag": met["tag"],
                                       "date": dt.date.fromordinal(day), "status": status,
                                       "length_mm": sizes}))
    return pd.concat(found, ignore_index=True)


def quadrats(rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units dug at random in the last year, and the mussels found in them."""
    count = rng.poisson(TRUTH["density, per m2"] * UNIT_AREA, UNITS)
    units = pd.DataFrame({"survey": 2021, "site": SITE, "date": dt.date(2021, 9, 10),
                          "unit": [f"Q{n:03d}" for n in range(1, UNITS + 1)],
                          "area_m2": UNIT_AREA, "excavated": "yes"})
    sizes = np.round(rng.normal(62, 6, count.sum()), 1)
    found = pd.DataFrame({"survey": 2021, "site": SITE, "unit": units["unit"].repeat(count),
                          "species": SPECIES, "length_mm": sizes, "status": "alive"})
    return units, found.reset_index(drop=True)


def tables(seed: int = 3) -> dict[str, pd.DataFrame]:
    """All field tables by name, from one seed."""
    rng = np.random.default_rng(seed)
    of = animals(rng)
    listed = releases(of, rng)
    met = encounters(of, rng)
    units, dug = quadrats(rng)
    days = pd.DataFrame({"visit": list(VISITS), "site": SITE, "method": "hand search",
                         "first_date": [dt.date(y, 9, 1) for y in VISITS],
                         "last_date": [dt.date(y, 9, 3) for y in VISITS]})
    return {"releases": listed, "visits": days, "encounters": met, "units": units, "animals": dug}


STUDY = f"""\
# Everything here is invented, and everything is known: see docs/learn-by-truth.md.
title: A river of which everything is known (invented)
species: [{SPECIES}]
sites: [{{name: {SITE}, area_m2: {AREA}}}]
tables:
  - {{file: field/releases.csv, is: releases}}
  - {{file: field/encounters.csv, is: encounters}}
  - {{file: field/units.csv, is: units}}
  - {{file: field/animals.csv, is: animals}}
visits: {{from: field/visits.csv}}
survival: {{release: separate, shells: {{found: anywhere}}}}
"""


def spoilt(made: dict[str, pd.DataFrame], mistake: str | None) -> tuple[dict, str]:
    """The tables and the study file with one mistake made on purpose."""
    study, made = STUDY, {name: table.copy() for name, table in made.items()}
    met = made["encounters"]
    if mistake == "pooled":
        study = study.replace("release: separate", "release: pooled")
    elif mistake == "no-blanks":
        made["units"] = made["units"][made["units"]["unit"].isin(made["animals"]["unit"])]
        study += (f"density: {{units_dug: [{{site: {SITE}, survey: 2021, "
                  f"number: {len(made['units'])}}}]}}\n")
    elif mistake == "heard-alive":
        met.loc[met["status"] == "heard", "status"] = "alive"
    elif mistake == "two-visits":
        once = made["releases"][made["releases"]["batch"] == "spring 2018"]
        made["releases"] = once
        made["visits"] = made["visits"][made["visits"]["visit"] == 2019]
        made["encounters"] = met[(met["visit"] == 2019) & met["tag"].isin(once["tag"])]
    elif mistake == "no-shells":
        made["encounters"] = met[met["status"] != "shell"]
        study = study.replace(", shells: {found: anywhere}", "")
    return made, study


def write_study(folder: Path, *, seed: int = 3, mistake: str | None = None) -> Path:
    """Write study.yaml and field/ into a new folder; returns the folder."""
    made, study = spoilt(tables(seed), mistake)
    (folder / "field").mkdir(parents=True)
    for name, table in made.items():
        table.to_csv(folder / "field" / f"{name}.csv", index=False)
    (folder / "study.yaml").write_text(study, encoding="utf-8")
    return folder


def beside_truth(folder: Path) -> list[tuple[str, float, float | None, float | None, float | None]]:
    """What `pva estimate` wrote, beside the truth.

    Returns
    -------
    list of tuple
        Name, truth, estimate (None where it was refused), low and high of the 95 % interval (or
        bounds; None where there are none).
    """
    told = json.loads((folder / "estimates" / "summary.json").read_text(encoding="utf-8"))
    by_name = {row["name"]: row for part in ("survival", "staying", "detection", "density")
               for row in told[part]}
    growth = told["growth"] or {}
    by_name |= {part: {"value": growth.get(part), "low": growth.get(f"{part}_low"),
                       "high": growth.get(f"{part}_high")} for part in ("asymptote_mm", "rate")}
    rows = []
    for name, truth in TRUTH.items():
        row = by_name.get(CALLED[name], {})
        value = next((row[k] for k in ("corrected", "apparent", "value")
                      if row.get(k) is not None), None)
        rows.append((name, truth, value, row.get("low"), row.get("high")))
    return rows


def _said(name, truth, value, low, high) -> str:
    number = "none" if value is None else f"{value:.3g}"
    interval = "-" if low is None else f"{low:.3g} to {high:.3g}"
    held = "" if low is None else "holds it" if low <= truth <= high else "MISSES IT"
    return f"{name:<22}{truth:>8g}{number:>10}   {interval:<18}{held}"


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="An invented river of which everything is known.")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--spoil", choices=sorted(MISTAKES), metavar="MISTAKE",
                        help="; ".join(f"{name}: {what}" for name, what in MISTAKES.items()))
    parser.add_argument("--seed", type=int, default=3, help="another number, other luck")
    parser.add_argument("--compare", action="store_true",
                        help="print the estimates of the study beside the truth")
    asked = parser.parse_args()
    if asked.compare:
        print(f"{'':<22}{'truth':>8}{'estimate':>10}   95 % or bounds")
        for row in beside_truth(asked.folder):
            print(_said(*row))
        return
    if asked.folder.exists():
        parser.exit(1, f"{asked.folder} is there already. Nothing was written. Name another "
                       "folder, or remove this one.\n")
    write_study(asked.folder, seed=asked.seed, mistake=asked.spoil)
    mistake = f", spoilt: {MISTAKES[asked.spoil]}" if asked.spoil else ""
    print(f"Written: {asked.folder}/study.yaml and {asked.folder}/field{mistake}")


if __name__ == "__main__":
    main()
