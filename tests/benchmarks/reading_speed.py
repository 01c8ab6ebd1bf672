"""How fast field tables are read and checked: prints rows a second, judges nothing.

Run from the top of the project: python tests/benchmarks/reading_speed.py [rows] [share of slips]
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from pva.field import read_records, read_study

SITES = ("Quillstone Riffle", "Tallow Bend")
STUDY = """\
title: Invented, for the clock
species: [Lampsilis ficta]
sites: [{name: Quillstone Riffle}, {name: Tallow Bend}]
tables:
  - {file: releases.csv, is: releases}
  - {file: encounters.csv, is: encounters, dates: day first}
  - {file: log.csv, is: reader log}
visits: {from: visits.csv}
"""


def write_study(folder: Path, rows: int, slips: float, seed: int = 1) -> None:
    """An invented study of about so many rows, with a share of rows that hold a slip."""
    chance = np.random.default_rng(seed)
    animals = rows // 8
    tags = [f"982{n:012d}" for n in 411_000_001 + chance.choice(50_000_000, animals, False)]
    home = chance.integers(0, 2, animals)
    tables = {
        "releases.csv": ["tag,species,site,date,length_mm,source"] + [
            f"{tag},Lampsilis ficta,{SITES[h]},2015-05-1{h},{length:.1f},hatchery"
            for tag, h, length in zip(tags, home, chance.normal(40, 4, animals), strict=True)],
        "visits.csv": ["visit,site,first_date,last_date,method"] + [
            f"{year}-09,{site},{year}-09-10,{year}-09-19,hand search"
            for year in range(2016, 2026) for site in SITES],
        "encounters.csv": ["site,date,tag,status,length_mm,latitude,longitude,remarks"],
        "log.csv": ["tag,date,time,position,site"],
    }
    met = rows - animals - rows // 4 - 20
    for one, year, day, heard in zip(
            chance.integers(0, animals, met), chance.integers(2016, 2026, met),
            chance.integers(10, 20, met), chance.random(met) < 0.3, strict=True):
        status, length = ("heard", "") if heard else ("alive", f"{40 + 3 * (year - 2015)**0.7:.1f}")
        tables["encounters.csv"].append(
            f"{SITES[home[one]]},{day}/09/{year},{tags[one]},{status},{length},0.45{day},-3.26{day},")
    for one, year, day in zip(
            chance.integers(0, animals, rows // 4), chance.integers(2016, 2026, rows // 4),
            chance.integers(10, 20, rows // 4), strict=True):
        tables["log.csv"].append(f"3D6.{int(tags[one][3:]):010X},{year}-09-{day},10:22:31,1,"
                                 f"{SITES[home[one]]}")
    for name, lines in tables.items():
        for i in np.flatnonzero(chance.random(len(lines)) < slips):
            if i and name != "visits.csv":
                lines[i] = _slip(lines[i], int(chance.integers(4)))
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "study.yaml").write_text(STUDY, encoding="utf-8")


def _slip(line: str, kind: int) -> str:
    old, new = (("1", "7"), ("20", "19"), ("Quillstone", "Quilstone"), ("alive", "aliv"))[kind]
    return line.replace(old, new, 1)


def main(rows: int, slips: float) -> None:
    """Write, read, and say how long it took."""
    with tempfile.TemporaryDirectory() as folder:
        write_study(Path(folder), rows, slips)
        wall, processor = time.perf_counter(), time.process_time()
        account = read_records(read_study(folder)).account
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
    totals = account.totals
    print(f"{totals['in']:,} rows, {totals['set_aside']:,} set aside: {wall:.1f} s, of which "
          f"{processor:.1f} s of one core; {totals['in'] / processor:,.0f} rows a second")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000,
         float(sys.argv[2]) if len(sys.argv) > 2 else 0.05)
