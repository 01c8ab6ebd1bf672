"""What the marked animals say: survival, survival after release, detection, tags kept."""

from __future__ import annotations

from pva.report.blocks import Folded, Heading, Note, Text, table
from pva.report.estimate_rows import is_bad_year, is_release, rows_of, without_doubles
from pva.report.figures.estimates import dots_figure
from pva.report.figures.fates import fates_figure
from pva.report.sections.rate_tables import dots, notes_apart, rate_table
from pva.report.words import interval, known, share
from pva.results.wording import HEARD_COLUMNS, HEARD_TITLE, YEARS_ALIKE, heard_words, listed

LOST, LEFT = "lost tags", "leaving"


def survival_part(summary, stages):
    """Yearly survival: dots, table, and what tags only heard may mean."""
    rows = [r for r in rows_of(summary, "survival") if not is_release(r) and not is_bad_year(r)]
    if not rows:
        return []
    rows = without_doubles(_in_life_order(rows, stages))
    both = any(known(r["apparent"]) and r["corrected"] for r in rows)
    what = corrected_words(rows)
    blocks = [Heading("Survival in a year")]
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure(
            "survival", dots([r for r in rows if known(r["value"])],
                             other="apparent" if both else None),
            title="Survival in a year", words=f"corrected for {what}" if both else "estimate",
            other_words=f"apparent: {apparent_words(rows)}" if both else "",
            caption="Chance of living one year, mean over years, with its 95 % interval. 0.02 "
                    "decides the plan: 0.95 against 0.93 leaves 60 % against 48 % of adults after "
                    "ten years. Rates of which only bounds are known stand in the "
                    "table."))
    shown = rate_table("Survival in a year", rows, what="Corrected" if both else "Estimate")
    blocks += notes_apart(shown)
    if any(r["year_sd"] == 0 for r in rows):
        blocks.append(Note("An SD between years of 0", YEARS_ALIKE))
    return blocks + _heard(summary, stages)


def _in_life_order(rows, stages):
    order = {name: i for i, name in enumerate(stages)}
    return sorted(rows, key=lambda r: order.get(r["name"].split(", ")[0], len(order)))


def corrected_words(rows) -> str:
    """What survival was corrected for, as the estimates say it."""
    causes = list(dict.fromkeys(c for r in rows for c in r["corrected_for"]))
    return listed(causes) if causes else "what is told in the notes"


def apparent_words(rows) -> str:
    """What apparent survival takes for deaths."""
    causes = {c for r in rows for c in r["corrected_for"]}
    parts = [words for cause, words in ((LOST, "lost tags"), (LEFT, "animals that left"))
             if any(cause in c for c in causes)]
    return f"{listed(parts)} counted as deaths" if parts else "nothing corrected"


def _heard(summary, stages):
    rows = [r for g in ("survival", "release") for r in rows_of(summary, g)
            if r["if_all_dead"] is not None]
    if not rows:
        return []
    rows = without_doubles(_in_life_order(rows, stages))
    cells = []
    for r in rows:
        three = (r["if_all_dead"], r["if_all_alive"], r["value"])
        given = [x for x in three if known(x)]
        name = r["name"].replace("release/", "after release, ")
        cells.append((name, *(share(x) for x in three),
                      interval(min(given), max(given), share)))
    corrected = any(r["corrected"] and (not r["corrected_for"] or LOST in r["corrected_for"])
                    for r in rows)
    return [fates_figure("heard-fates", rows),
            table(HEARD_TITLE, ("What", *HEARD_COLUMNS), cells, numbers=(1, 2, 3, 4),
                  note=heard_words(corrected=corrected))]


def release_part(summary):
    """Survival through the first months after release, by source."""
    rows = rows_of(summary, "release") or [r for r in rows_of(summary, "survival")
                                          if is_release(r)]
    if not rows:
        return []
    rows = [{**r, "name": r["name"].removeprefix("release/")} for r in rows]
    return [Heading("Survival after release"),
            Text("The first months after release are a number of their own, never pooled with "
                 "later survival; a release year survives with the product of both."),
            *_release_dots(rows),
            rate_table("Survival after release, by source", rows, what="Estimate")]


def _release_dots(rows):
    if not any(known(r["value"]) for r in rows):
        return []
    return [dots_figure("release-survival", dots(rows), title="Survival after release",
                        words="estimate", caption="Chance of living through the first months "
                        "after release, by source, with its 95 % interval.")]


def by_interval_part(columns):
    """Yearly survival between visits, folded away."""
    if not columns or not columns.get("interval"):
        return []
    keys = ("stage", "interval", "value", "low", "high")
    rows = [(f"{stage}, {when}" if isinstance(stage, str) and stage else str(when), share(value),
             interval(low, high, share))
            for stage, when, value, low, high in zip(*(columns[k] for k in keys), strict=True)]
    return [Folded("Survival by interval", (table(
        "Yearly survival by interval between visits", ("What", "Estimate", "95 % interval"), rows,
        numbers=(1, 2)),))]


def bad_years_part(summary):
    """What named bad years left of survival."""
    rows = [r for r in rows_of(summary, "survival") if is_bad_year(r)]
    if not rows:
        return []
    rows = [{**r, "name": r["name"].removeprefix("bad_year/")} for r in rows]
    return [rate_table("Part of the ordinary survival that a named bad year left", rows,
                        what="Estimate")]


def detection_part(summary):
    """Chance of meeting an animal that is there."""
    rows = rows_of(summary, "detection")
    if not rows:
        return []
    blocks = [Heading("Detection")]
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure("detection", dots(rows), title="Detection at a visit",
                                  words="estimate",
                                  caption="Chance that an animal that is there and alive is met "
                                          "at a visit."))
    wide = [r["name"] for r in rows if known(r["low"]) and known(r["high"])
            and r["high"] - r["low"] > 0.7]
    blocks.append(rate_table("Detection at a visit", rows, what="Estimate",
                              behind="Occasions"))
    if wide:
        blocks.append(Note("The data cannot tell", f"The interval of {'; '.join(wide)} spans most "
                           "of 0 to 1."))
    return blocks


def tags_part(summary):
    """Chance that a tag stays."""
    rows = rows_of(summary, "tag_retention")
    if not rows:
        return []
    return [Heading("Tags kept"), rate_table("Chance that a tag is kept for a year", rows,
                                              what="Estimate", note="From animals with two marks. "
                                              "A loss of 2 % a year turns a true survival of 0.95 "
                                              "into an apparent 0.931.")]
