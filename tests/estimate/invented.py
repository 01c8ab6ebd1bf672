"""Invented field records for tests: animals released, visited, measured, with a known truth."""

import numpy as np
import pandas as pd

from pva.field.records import COLUMNS, FieldRecords, RowAccount

SPECIES = "Lampsilis ficta"


def empty(kind, rows=()):
    frame = pd.DataFrame(list(rows))
    return frame.reindex(columns=[*COLUMNS[kind], *[c for c in frame if c not in COLUMNS[kind]]])


def account():
    columns = ["file", "is", "in", "used", "flagged", "set_aside"]
    nothing = pd.DataFrame()
    return RowAccount(pd.DataFrame(columns=columns), nothing, nothing, nothing)


def records(**tables):
    made = {kind: empty(kind, tables.get(kind, ())) for kind in COLUMNS}
    for kind, column in (("releases", "date"), ("visits", "first_date"), ("visits", "last_date"),
                         ("encounters", "date"), ("units", "date")):
        made[kind][column] = pd.to_datetime(made[kind][column])
    for kind in COLUMNS:
        for column in made[kind]:
            values = made[kind][column]
            if not pd.api.types.is_numeric_dtype(values) and "date" not in column:
                made[kind][column] = values.astype(object).where(values.notna(), None)
    return FieldRecords(**made, account=account())


def marked_study(rng, *, releases, visits, survival=0.9, release_survival=1.0, detection=0.6,
                 tag_kept=1.0, second_kept=None, heard=0.0, length=None, site="Quillstone Riffle"):
    """Animals released in batches and looked for at one site.

    `releases`: list of (ISO date, number, source); `visits`: list of ISO dates; `length`: function
    of (rng, number) giving a function of years since release that returns true lengths.
    """
    days = pd.to_datetime(visits)
    rows, met = [], []
    for batch, (date, number, source) in enumerate(releases):
        begun = pd.Timestamp(date)
        lost = rng.random(number) > release_survival
        dies = np.where(lost, 0.01, rng.exponential(-1 / np.log(survival), number))
        sheds = rng.exponential(-1 / np.log(min(tag_kept, 1 - 1e-12)), number)
        second = np.full(number, np.inf) if second_kept is None else rng.exponential(
            -1 / np.log(second_kept), number)
        grown = length(rng, number) if length else None
        for i in range(number):
            tag = f"T{batch:02d}{i:04d}"
            rows.append({"animal": tag, "tag": tag, "species": SPECIES, "site": site, "date": begun,
                         "source": source, "batch": f"B{batch}", "number": 1,
                         "second_mark": f"S{batch:02d}{i:04d}" if second_kept else None,
                         "length_mm": grown(0.0)[i] + rng.normal(0, 1) if length else np.nan})
        for visit, day in enumerate(days):
            years = (day - begun).days / 365.25
            if years <= 0:
                continue
            found = (dies > years) & (rng.random(number) < detection)
            found &= (sheds > years) | (second > years) if second_kept else sheds > years
            for i in np.flatnonzero(found):
                tag = f"T{batch:02d}{i:04d}"
                only = rng.random() < heard
                met.append({
                    "animal": tag, "tag": tag if sheds[i] > years else None, "species": SPECIES,
                    "second_mark": f"S{batch:02d}{i:04d}"
                    if second_kept and second[i] > years else None,
                    "site": site, "visit": f"v{visit}", "date": day,
                    "status": "heard" if only else "alive",
                    "length_mm": grown(years)[i] + rng.normal(0, 1) if length else np.nan})
    table = [{"visit": f"v{k}", "site": site, "first_date": d, "last_date": d,
              "method": "hand search", "effort_hours": 10.0, "passes": 1}
             for k, d in enumerate(days)]
    return records(releases=rows, encounters=met, visits=table)
