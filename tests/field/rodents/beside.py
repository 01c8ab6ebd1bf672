"""Puts the study of the kangaroo rats together from the data that lie beside the project."""

from pathlib import Path

import pandas as pd

HERE = Path(__file__).parent
DATA = Path(__file__).parents[4] / "shared" / "data" / "pit_tagged_rodents"
CAPTURES, EFFORT = DATA / "merriam_kangaroo_rat_captures.csv", DATA / "trapping_effort.csv"
ABSENT = "the rodent data are not part of the project and not beside it"


def there():
    """Whether the data lie beside the project."""
    return CAPTURES.is_file() and EFFORT.is_file()


def put_together(folder, *, periods=None, listed=True):
    """A study folder of the first periods; a period is a visit of the days on which traps stood.

    `listed`: with the list of visits; otherwise visits are made of the days with a capture.
    """
    effort = pd.read_csv(EFFORT)
    effort = effort[effort["sampled"] == 1]
    effort["day"] = pd.to_datetime(effort[["year", "month", "day"]])
    visits = effort.groupby("period")["day"].agg(first_date="min", last_date="max").reset_index()
    visits = visits.head(periods or len(visits))
    captures = pd.read_csv(CAPTURES, dtype=str)
    if periods:
        captures = captures[captures["period"].astype(int).abs() <= visits["period"].max()]
    (folder / "field").mkdir()
    visits.assign(visit="period " + visits["period"].astype(str), site="plots",
                  method="live traps").drop(columns="period").to_csv(
                      folder / "field" / "visits.csv", index=False)
    captures.to_csv(folder / "field" / "captures.csv", index=False)
    text = (HERE / "study.yaml").read_text(encoding="utf-8")
    if not listed:
        text = text.replace("visits: {from: field/visits.csv}", "visits: {made_of_days: 4}")
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    return folder
