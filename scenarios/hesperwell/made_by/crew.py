"""What the crew of the demo study writes down, given the hidden life of the animals (invented)."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from life import SITES, day, host_density, length_on

SPECIES = "Lampsilis ficta"
# Invented places in the open sea off no river, so that they can point to no real mussel bed.
CORNERS = {
    "Fennel Bar": (0.4102, -3.2310),
    "Quillstone Riffle": (0.4531, -3.2684),
    "Tallow Bend": (0.4867, -3.2951),
    "Osprey Shoal": (0.3415, -3.1902),
}
SIDE = 0.0008


def detected(length, rule: dict, rng) -> np.ndarray:
    """Whether each animal is found, by a logistic of its length."""
    odds = rule["logit_at_50_mm"] + rule["per_10_mm"] * (np.asarray(length) - 50) / 10
    return rng.random(odds.size) < 1 / (1 + np.exp(-odds))


def measured(length, truth: dict, rng, rounded: int = 1) -> np.ndarray:
    """Lengths as read from the calliper."""
    return np.round(
        length + rng.normal(0, truth["growth"]["measurement_sd_mm"], len(length)), rounded
    )


def date_of(number) -> dt.date:
    """Calendar date of a day number."""
    return dt.date.fromordinal(int(number))


def releases(animals: pd.DataFrame, truth: dict, rng) -> pd.DataFrame:
    """One row per tagged animal, one row per batch with paint only."""
    rows = []
    for plan in truth["tagged"]:
        batch = animals[animals["batch"] == plan["batch"]]
        lengths = measured(length_on(batch, day(plan["date"]), truth), truth, rng)
        for (_, animal), length in zip(batch.iterrows(), lengths, strict=True):
            rows.append(
                {
                    "tag": animal["tag"],
                    "number": 1,
                    "age": plan.get("age", ""),
                    "stage": "" if "age" in plan else "adult",
                    "length_mm": length,
                    "second_mark": animal["second_mark"],
                }
                | plan_facts(plan, animal)
            )
    for plan in truth["untagged"]:
        batch = animals[animals["batch"] == plan["batch"]]
        lengths = measured(length_on(batch, day(plan["date"]), truth), truth, rng)
        rows.append(
            {
                "tag": "",
                "number": plan["number"],
                "age": plan["age"],
                "stage": "",
                "length_mm": round(float(lengths.mean()), 1),
                "second_mark": "",
            }
            | plan_facts(plan, batch.iloc[0])
        )
    frame = pd.DataFrame(rows)
    order = [
        "tag",
        "species",
        "site",
        "date",
        "stage",
        "age",
        "length_mm",
        "source",
        "batch",
        "batch_mark",
        "second_mark",
        "number",
    ]
    return frame[order].sort_values("date", kind="stable").reset_index(drop=True)


def plan_facts(plan: dict, animal) -> dict:
    """Facts that all animals of a batch share."""
    return {
        "species": SPECIES,
        "site": plan["site"],
        "date": date_of(day(plan["date"])),
        "source": plan.get("source", "hatchery"),
        "batch": plan["batch"],
        "batch_mark": animal["batch_mark"],
    }


def visits(truth: dict, rng) -> pd.DataFrame:
    """One row per visit and site; sites are worked one after another."""
    rows = []
    for visit in truth["visits"]:
        start = day(visit["first"])
        for site, method in visit["methods"].items():
            days = 2 if method == "antenna" else 3
            rows.append(
                {
                    "visit": visit["visit"],
                    "site": site,
                    "first_date": date_of(start),
                    "last_date": date_of(start + days - 1),
                    "method": method,
                    "area_m2": truth["sites"][site]["area_m2"],
                    "effort_hours": round(float(rng.uniform(9, 13)) * days, 1),
                    "passes": 1,
                }
            )
            start += days
    return pd.DataFrame(rows)


def encounters(animals: pd.DataFrame, visit_rows: pd.DataFrame, truth: dict, rng) -> pd.DataFrame:
    """Everything met at the visits; `animals` is changed where shells or animals are taken away."""
    found = [at_visit(animals, row, truth, rng) for _, row in visit_rows.iterrows()]
    return pd.concat(found, ignore_index=True)


def at_visit(animals: pd.DataFrame, visit, truth: dict, rng) -> pd.DataFrame:
    """What is met at one site on one visit."""
    first = visit["first_date"].toordinal()
    here = animals[(animals["site"] == visit["site"]) & (animals["entered"] < first)]
    here = here.assign(length=length_on(here, first, truth))
    living = here[here["died"] > first]
    dead = here[
        (here["died"] <= first)
        & (here["shell_gone"] > first)
        & ~here["shell_found"]
        & here["tagged"]
    ]
    meet = by_antenna if visit["method"] == "antenna" else by_hand
    status = meet(living, dead, first, truth, rng)
    status = taken_away(animals, status, visit, first, truth, rng)
    return written_down(here.loc[status.index], status, visit, first, truth, rng)


def by_antenna(living, dead, first, truth, rng) -> pd.Series:
    """Status of every tag heard; heard animals are dug for, not all are recovered."""
    rule, shell = truth["detection"]["antenna"], truth["detection"]["shell"]
    living = living[living["tagged"] & (living["tag_lost"] > first)]
    living = living[rng.random(len(living)) < rule["heard"]]
    seen = np.where(rng.random(len(living)) < rule["recovered"], "alive", "heard")
    dead = dead[dead["tag_lost"] > dead["died"]]
    dead = dead[rng.random(len(dead)) < shell["heard"]]
    shells = np.where(rng.random(len(dead)) < shell["found_if_heard"], "shell", "heard")
    return pd.concat([pd.Series(seen, living.index), pd.Series(shells, dead.index)])


def by_hand(living, dead, first, truth, rng) -> pd.Series:
    """Status of every animal and tagged shell found by eye and touch."""
    living = living[detected(living["length"], truth["detection"]["hand search"], rng)]
    dead = dead[
        (dead["tag_lost"] > dead["died"])
        & (rng.random(len(dead)) < truth["detection"]["shell"]["by_hand"])
    ]
    return pd.concat([pd.Series("alive", living.index), pd.Series("shell", dead.index)])


def taken_away(animals, status, visit, first, truth, rng) -> pd.Series:
    """Note found shells (they leave the bed) and take a few animals alive for study."""
    animals.loc[status.index[status == "shell"], "shell_found"] = True
    number = truth["removed_at"].get(visit["visit"], 0)
    if number and visit["site"] == "Quillstone Riffle":
        alive = status.index[(status == "alive") & (animals.loc[status.index, "tag"] != "")]
        chosen = np.sort(rng.choice(alive, number, replace=False))
        status = status.copy()
        status[chosen] = "removed"
        animals.loc[chosen, ["died", "shell_gone"]] = first
    return status


def written_down(met, status, visit, first, truth, rng) -> pd.DataFrame:
    """Rows of the field sheet; a mark that is gone cannot be written down."""
    number = len(met)
    held = status.isin(["alive", "removed", "shell"]).to_numpy()
    alive = status.isin(["alive", "removed"]).to_numpy()
    when = np.minimum(first, met["died"]) if number else first
    tag = np.where(met["tagged"] & ((met["tag_lost"] > when) | ~alive), met["tag"], "")
    second = np.where(held & (met["second_mark_lost"] > when), met["second_mark"], "")
    known = (tag != "") | (second != "")
    mark = np.where(held & (known | (met["batch_mark_lost"] > when)), met["batch_mark"], "")
    lengths = measured(met["length"], truth, rng)
    measure = alive & (rng.random(number) > truth["detection"]["length_missing"])
    days = rng.integers(0, (visit["last_date"] - visit["first_date"]).days + 1, number)
    north, east = CORNERS[visit["site"]]
    return pd.DataFrame(
        {
            "visit": visit["visit"],
            "site": visit["site"],
            "date": [date_of(first + d) for d in days],
            "tag": tag,
            "second_mark": second,
            "species": SPECIES,
            "status": status.to_numpy(),
            "length_mm": [v if m else "" for v, m in zip(lengths, measure, strict=True)],
            "batch_mark": mark,
            "latitude": np.round(north + SIDE * rng.uniform(0.05, 0.95, number), 5),
            "longitude": np.round(east + SIDE * rng.uniform(0.05, 0.95, number), 5),
            "remarks": "",
            "_wild": (met["source"] == "wild").to_numpy(),
        }
    )


def quadrats(animals: pd.DataFrame, truth: dict, rng) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units dug on systematic transects, and the animals found in them."""
    units, found = [], []
    patch_of = {site: patches(animals, site, truth, rng) for site in SITES}
    for survey, start in truth["quadrat_surveys"].items():
        for order, site in enumerate(SITES):
            made, met = dig(animals, patch_of[site], survey, site, day(start) + order, truth, rng)
            units += made
            found += met
    return pd.DataFrame(units), pd.DataFrame(found)


def patches(animals, site, truth, rng) -> pd.Series:
    """25 m2 patch that each animal of a site lives in for good."""
    number = truth["sites"][site]["area_m2"] // 25
    weight = rng.gamma(truth["patchiness"], size=number)
    here = animals.index[animals["site"] == site]
    return pd.Series(rng.choice(number, len(here), p=weight / weight.sum()), here)


def dig(animals, patch, survey, site, on, truth, rng):
    """One survey of one site: transects at even distance, units at even distance along each."""
    lines, along = truth["transects"][site]
    number = truth["sites"][site]["area_m2"] // 25
    spacing = number / (lines * along)
    start = rng.uniform(0, spacing)
    here = animals.loc[patch.index]
    here = here[(here["entered"] < on) & (here["died"] > on)]
    inside = here.assign(
        patch=patch[here.index],
        cell=rng.integers(0, 100, len(here)),
        length=length_on(here, on, truth),
    )
    units, found = [], []
    for place in range(lines * along):
        line, step = divmod(place, along)
        name = f"{site[0]}{survey % 100}-{line + 1:02d}-{step + 1:02d}"
        dug = line % 4 != 3
        units.append(
            {
                "survey": survey,
                "site": site,
                "date": date_of(on),
                "transect": line + 1,
                "unit": name,
                "area_m2": 0.25,
                "excavated": "yes" if dug else "no",
                "depth_cm": 15 if dug else "",
                "sieve_mm": 6 if dug else "",
            }
        )
        at = int(start + place * spacing)
        cell = inside[(inside["patch"] == at) & (inside["cell"] == rng.integers(100))]
        seen = (
            rng.random(len(cell)) < truth["detection"]["unit_excavated"]
            if dug
            else detected(cell["length"], truth["detection"]["unit_surface"], rng)
        )
        found += [
            row | {"survey": survey, "unit": name} for row in in_unit(cell[seen], on, truth, rng)
        ]
    return units, found


def in_unit(cell, on, truth, rng) -> list[dict]:
    """Rows of the animals found in one unit."""
    rows = []
    for (_, animal), length in zip(
        cell.iterrows(), measured(cell["length"], truth, rng), strict=True
    ):
        tag = animal["tag"] if animal["tag_lost"] > on else ""
        known = tag or animal["second_mark"] and animal["second_mark_lost"] > on
        kept = known or animal["batch_mark_lost"] > on
        rows.append(
            {
                "species": SPECIES,
                "length_mm": length,
                "tag": tag,
                "status": "alive",
                "batch_mark": animal["batch_mark"] if kept else "",
            }
        )
    return rows


def hosts(truth: dict, rng) -> pd.DataFrame:
    """Electrofishing for freshwater drum, each year's October; effort in units of 100 m2."""
    rows = []
    for year in range(2018, 2026):
        for site in SITES:
            effort = round(float(rng.uniform(6, 10)), 1)
            count = int(rng.poisson(host_density(truth, site, year) * effort))
            load = rng.gamma(2, truth["hosts"]["glochidia_per_fish"] / 2)
            rows.append(
                {
                    "date": dt.date(year, 10, 20),
                    "site": site,
                    "host": "freshwater drum",
                    "count": count,
                    "effort": effort,
                    "glochidia_per_fish": round(float(load), 1) if count else "",
                }
            )
    return pd.DataFrame(rows)


def true_numbers(animals: pd.DataFrame, truth: dict) -> pd.DataFrame:
    """Animals truly alive at each quadrat survey by site, origin and stage (for scoring only)."""
    rows = []
    for survey, start in truth["quadrat_surveys"].items():
        on = day(start)
        now = animals[(animals["entered"] < on) & (animals["died"] > on)]
        stage = np.searchsorted(truth["stage_limits_mm"], length_on(now, on, truth), side="right")
        origin = np.where(now["source"] == "wild", "wild", "stocked")
        table = now.assign(stage=stage, origin=origin).groupby(["site", "origin", "stage"]).size()
        for (site, born, number), count in table.items():
            rows.append(
                {
                    "survey": survey,
                    "site": site,
                    "origin": born,
                    "stage": ("juvenile", "subadult", "adult")[number],
                    "alive": int(count),
                }
            )
    return pd.DataFrame(rows)
