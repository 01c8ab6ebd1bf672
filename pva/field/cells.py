"""Cells of one table into dates, sites, species, tags and numbers, with a reason for each refusal.

Every method works on the rows not yet set aside and leaves the frame's text as it was.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pva.errors import DataError, Problem
from pva.field import dates as days
from pva.field.account import LedgerTable, RowLedger
from pva.field.columns import none_for_blank, numbers
from pva.field.form import nearest
from pva.field.future import latest_day
from pva.field.spec import TableFile
from pva.field.study import Study
from pva.field.tags import TEST, Tag, one_slip_away, read_tag

MOST_TAGS_SEARCHED = 2000
MOST_TAGS_LISTED = 4
NO_TAG = {"none", "no tag", "notag", "no pit", "no pit tag", "untagged", "not tagged", "no mark",
          "unmarked", "without"}


@dataclass
class TableReader:
    """One table under its trade names, and what is needed to judge its cells."""

    study: Study
    ledger: RowLedger
    table: LedgerTable
    spec: TableFile
    frame: pd.DataFrame
    notes: list[str]
    near: dict[str, str] = field(default_factory=dict)

    def rows(self, mask: pd.Series) -> list[int]:
        """Ledger rows where `mask` holds."""
        return list(mask.index[mask.to_numpy(dtype=bool)])

    def text(self, target: str) -> pd.Series:
        """A text column with None where blank."""
        return none_for_blank(self.frame[target])

    def present(self, target: str) -> bool:
        """True when the table (or the study's `fill`) holds this column at all."""
        return target in self.table.places or target in self.spec.fill

    # --- dates ----------------------------------------------------------------------------------

    def dates(self, target: str = "date", *, required: bool = True) -> pd.Series:
        """A column of dates; NaT where there is none.

        Whether day and month can be told is asked before: see `ask_for_order`.
        """
        text = self.frame[target]
        read = self._read_dates(text)
        faults = text.map({t: r.fault for t, r in read.items()}).astype(object).fillna("")
        if any(r.serial for r in read.values()):
            self.notes.append(f"{self.table.label}: day numbers of a spreadsheet in "
                              f"{self.table.in_words(target)} were read as dates.")
        for row in self.rows(faults != ""):
            self._date_fault(row, target, text[row], faults[row])
        if required:
            for row in self.rows(text == ""):
                self.ledger.set_aside("date-missing", row, target)
        found = text.map({t: r.date for t, r in read.items()})
        made = pd.to_datetime(found, errors="coerce").astype("datetime64[ns]")
        made = made + pd.Timedelta(days=self.spec.add_days) if self.spec.add_days else made
        for row in self.rows(made > latest_day()):
            self.ledger.set_aside("date-in-future", row, target, date=f"{made[row]:%Y-%m-%d}")
        return made

    def _read_dates(self, text: pd.Series) -> dict:
        base = self.table.raw.base_1904
        return {t: days.read_date(t, self.spec.dates, base_1904=base)
                for t in pd.unique(text) if t != ""}

    def ask_for_order(self, target: str) -> None:
        """Ask once a file where dates of numbers are the rule; a stray one is asked by its row.

        Raises
        ------
        DataError
            Most dates are three numbers, some can be read in two ways, and nothing says how.
        """
        text = self.frame[target]
        ambiguous = {t for t, r in self._read_dates(text).items() if r.fault == days.AMBIGUOUS}
        if not ambiguous:
            return
        counts = text[text != ""].value_counts()
        doubtful = int(counts[counts.index.isin(ambiguous)].sum())
        of_numbers = sum(n for t, n in counts.items() if days.is_of_numbers(t))
        if 2 * of_numbers <= counts.sum():
            return
        example = next(t for t in text if t in ambiguous)
        first, second = days.two_readings(example)
        orders: dict[str, int] = {}
        for written, rows in counts.items():
            if order := days.order_of(written):
                orders[order] = orders.get(order, 0) + int(rows)
        others = " and ".join(f"{rows} can only be {order}" for order, rows in orders.items())
        raise DataError(Problem(
            f"{doubtful} of {counts.sum()} dates in {self.table.in_words(target)} can be "
            f"read in two ways: {example} as {first} or as {second}"
            + (f"; {others}" if others else ""),
            "Write `dates: day first` or `dates: month first` under this table in the study.",
            done="No row was read.", file=self.table.label, code="dates-not-stated"))

    def _date_fault(self, row: int, target: str, written: str, fault: str) -> None:
        words = {}
        if fault == days.AMBIGUOUS:
            words = dict(zip(("first", "second"), days.two_readings(written), strict=True))
        self.ledger.set_aside(fault, row, target, **words)

    # --- sites and species ----------------------------------------------------------------------

    def sites(self, *, required: bool = True) -> pd.Series:
        """The site of each row under its own name; None where blank."""
        known = {level(name): site.name for site in self.study.sites
                 for name in [site.name, *site.also_called]}
        return self._named("site", known, [s.name for s in self.study.sites],
                           "site-unknown", "site-missing" if required else "")

    def species(self) -> pd.Series:
        """The species of each row; the only one of the study where blank, else None."""
        names = self.study.species
        found = self._named("species", {level(n): n for n in names}, names, "species-unknown", "")
        return found.where(found.notna(), names[0]) if len(names) == 1 else found

    def _named(self, target: str, known: dict[str, str], names: list[str], unknown: str,
               missing: str) -> pd.Series:
        text = self.frame[target]
        distinct = {t: known.get(level(t)) if known else " ".join(t.split())
                    for t in pd.unique(text) if t != ""}
        found = text.map(distinct).astype(object)
        for row in self.rows((text != "") & found.isna()):
            self.ledger.set_aside(unknown, row, target, advice=nearest(text[row], names))
        if missing:
            for row in self.rows(text == ""):
                self.ledger.set_aside(missing, row, target)
        return found.where(found.notna(), None)

    # --- tags -----------------------------------------------------------------------------------

    def tags(self, target: str = "tag", known: dict[str, str] | None = None) -> pd.Series:
        """Canonical tags; None where blank. `known` maps released tags to words about them."""
        text = self.frame[target]
        bare = text.map({t: level(t) in NO_TAG for t in pd.unique(text)})
        if bare.any():
            self.notes.append(f"{self.table.label}: {counted(int(bare.sum()), 'row')} that say in "
                              "words that there was no tag, read as animals without a tag.")
            text = text.where(~bare, "")
        tests = {read_tag(t).name for t in self.study.spec.tags.test_tags}
        read = {t: read_tag(t) for t in pd.unique(text) if t != ""}
        bad = {t: code for t, tag in read.items() if (code := _tag_fault(tag, tests))}
        for row in self.rows(text.isin(list(bad))):
            code = bad[text[row]]
            near = {"near": self.near_words(text[row], known or {})} if code != "tag-test" else {}
            self.ledger.set_aside(code, row, target, **near)
        return text.map({t: tag.name for t, tag in read.items()}).astype(object).where(
            text != "", None)

    def near_words(self, written: str, known: dict[str, str]) -> str:
        """A sentence that lists the known tags one slip away, or nothing."""
        if not known or (written not in self.near and len(self.near) >= MOST_TAGS_SEARCHED):
            return ""
        if written not in self.near:
            self.near[written] = slips_in_words(one_slip_away(written, known), known)
        return self.near[written]

    # --- numbers --------------------------------------------------------------------------------

    def numbers(self, target: str, *, needed: bool = False, blank: bool = False,
                least: float = -np.inf, above: float = -np.inf) -> pd.Series:
        """A column of numbers.

        Rows are set aside when the number is `needed` and missing (unless it may be `blank`),
        unreadable or out of range; otherwise they are flagged and used without it.
        """
        values = numbers(self.frame[target], self.table, self.spec, target)
        bad = ~np.isfinite(values) & values.notna() | (values < least) | (values <= above)
        for row in self.rows(bad):
            advice = self._comma_advice(self.frame.at[row, target])
            if needed:
                self.ledger.set_aside("number-unreadable", row, target, advice=advice)
            else:
                self.ledger.flag("number-left-out", row, target, advice=advice)
        if needed and not blank:
            for row in self.rows(values.isna()):
                self.ledger.set_aside("number-missing", row, target)
        return values.where(~bad)

    def lengths(self) -> pd.Series:
        """Lengths in mm; unreadable or impossible ones are flagged and left out."""
        values = numbers(self.frame["length_mm"], self.table, self.spec, "length_mm")
        unreadable = np.isinf(values)
        impossible = ~unreadable & ((values <= 0) | (values > self.study.spec.lengths.largest_mm))
        for row in self.rows(unreadable):
            self.ledger.flag("length-unreadable", row, "length_mm",
                             advice=self._comma_advice(self.frame.at[row, "length_mm"]))
        for row in self.rows(impossible):
            value, written = f"{values[row]:g}", self.frame.at[row, "length_mm"]
            other = value != written and written.rstrip("0").rstrip(".") != value
            if not self.ledger.flag("length-impossible", row, "length_mm", value=value, written=(
                    f" (written {written})" if other else "")) and values[row] > 0:
                impossible[row] = False
        return values.where(~unreadable & ~impossible)

    def _comma_advice(self, written: str) -> str:
        """What else to do about a number with one comma, where the comma is no decimal mark yet."""
        if not re.fullmatch(r"\d+,\d+", written) or self.spec.decimal == "comma":
            return ""
        return ", or write `decimal: comma` under this table if a comma is its decimal mark"

    def words(self, target: str, allowed: dict[str, str], unknown: str, missing: str = ""
              ) -> pd.Series:
        """A column of set words, such as a status; other words set the row aside."""
        text = self.frame[target]
        found = text.map({t: allowed.get(level(t)) for t in pd.unique(text)}).astype(object)
        for row in self.rows((text != "") & found.isna()):
            self.ledger.set_aside(unknown, row, target)
        if missing:
            for row in self.rows(text == ""):
                self.ledger.set_aside(missing, row, target)
        return found.where(found.notna(), None)

    def finish(self, made: dict[str, pd.Series], columns: list[str]) -> pd.DataFrame:
        """Put typed columns in their order, the crew's other columns behind them."""
        frame = self.frame.copy()
        for name, column in made.items():
            frame[name] = column
        for name in columns:
            if name not in frame:
                frame[name] = None
            elif name not in made:
                frame[name] = none_for_blank(frame[name])
        spare = [c for c in frame if c not in columns and c not in ("file", "row")]
        for name in spare:
            if name not in made and frame[name].dtype == object:
                frame[name] = frame[name].where(frame[name] != "", None)
        return self.ledger.kept(frame[[*columns, "file", "row", *spare]])


def slips_in_words(tags: list[str], about: dict[str, str]) -> str:
    """A sentence that lists known tags one slip away, or nothing."""
    listed = "; ".join(f"{tag} ({about[tag]})" for tag in tags[:MOST_TAGS_LISTED])
    more = f"; and {len(tags) - MOST_TAGS_LISTED} more" if len(tags) > MOST_TAGS_LISTED else ""
    return f" One slip away: {listed}{more}." if tags else ""


def counted(number: int, word: str) -> str:
    """A number with its noun, such as ``1 row`` or ``2,000 rows``."""
    return f"{number:,} {word}" + ("" if number == 1 else "s")


def level(text: str) -> str:
    """Text with case and spaces levelled, for comparing names."""
    return " ".join(text.casefold().split())


def _tag_fault(tag: Tag, tests: set[str]) -> str:
    if tag.fault:
        return tag.fault
    return "tag-test" if tag.kind == TEST or tag.name in tests else ""
