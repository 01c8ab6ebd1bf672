"""Whose encounter it was: tags to animals, animals marked when first caught, species, order."""

from __future__ import annotations

import pandas as pd

from pva.field.account import RowLedger
from pva.field.cells import MOST_TAGS_SEARCHED, slips_in_words
from pva.field.encounters import ENCOUNTER, RELEASE
from pva.field.records import ALIVE, COLUMNS, HEARD, REMOVED, SHELL
from pva.field.releases import KnownAnimals, about
from pva.field.tags import one_slip_away, read_tag, refused_like

FIRST_CAPTURE = "first capture"
MOST_FAULTY = 50  # refused tags that unknown ones are held against


class Identity:
    """Joins encounters to animals; sets aside or flags what contradicts an animal's record.

    Parameters
    ----------
    ledger : RowLedger
    known : KnownAnimals
        Animals of the release tables; animals marked at first capture are added.
    at_first_capture : bool
        A tag not released before marks a new animal.
    """

    def __init__(self, ledger: RowLedger, known: KnownAnimals, *, at_first_capture: bool):
        self.ledger = ledger
        self.known = known
        self.at_first_capture = at_first_capture
        self.searched: dict[str, str] = {}
        self.faulty: list[str] | None = None
        self.likes: dict[str, list[str]] = {}
        self.notes: list[str] = []

    def join(self, encounters: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Name the animal of every encounter.

        Parameters
        ----------
        encounters : DataFrame
            All encounters with `visit` and `when` (their day, or the last day of their visit), in
            the order of time.

        Returns
        -------
        encounters : DataFrame
            Rows kept, `animal` filled in.
        first_captures : DataFrame
            Columns of releases: animals marked when first caught.
        """
        encounters = self._by_second_mark(encounters)
        animal = encounters["tag"].map(self.known.animal_of).astype(object)
        encounters["animal"] = animal.where(animal.notna(), encounters["animal_by_mark"])
        unknown = encounters["tag"].notna() & encounters["animal"].isna()
        firsts = self._first_captures(encounters[unknown])
        self._refuse_unknown(encounters[unknown & ~encounters["tag"].isin(set(firsts["tag"]))])
        new = encounters["tag"].map(self.known.animal_of).astype(object)
        encounters["animal"] = encounters["animal"].where(encounters["animal"].notna(), new)
        encounters["animal"] = encounters["animal"].where(encounters["animal"].notna(), None)
        self._marked_again(encounters)
        return self.ledger.kept(encounters).drop(columns="animal_by_mark"), firsts

    def _by_second_mark(self, encounters: pd.DataFrame) -> pd.DataFrame:
        """An animal that lost its tag is known by a second mark that only it bears."""
        by_mark = encounters["second_mark"].map(self.known.second_of).astype(object)
        by_tag = encounters["tag"].map(self.known.animal_of)
        clash = by_mark.notna() & by_tag.notna() & (by_mark != by_tag)
        for row in encounters.index[clash]:
            self.ledger.set_aside("marks-disagree", row, "second_mark", animal=by_tag[row],
                                  other=by_mark[row])
        alone = by_mark.where(encounters["tag"].isna(), None)
        return self.ledger.kept(encounters.assign(animal_by_mark=alone))

    def _first_captures(self, unknown: pd.DataFrame) -> pd.DataFrame:
        able = unknown[unknown["status"].isin([ALIVE, REMOVED])
                       & ~unknown["tag"].isin(list(self.known.refused))]
        if not self.at_first_capture:
            able = able[able["event"] == RELEASE]
        firsts = able.drop_duplicates("tag")
        marked = set(unknown.loc[unknown["event"] == RELEASE, "tag"])
        for row in firsts.itertuples():
            self.known.animal_of[row.tag] = row.tag
            self.known.release_row[row.tag] = row.Index
            self.known.about[row.tag] = about(row.site, row.species, row.length_mm)
        never = firsts[(firsts["event"] == ENCOUNTER) & ~firsts["tag"].isin(marked)]
        for row, tag in never["tag"].items():
            self.ledger.flag("recapture-never-marked", row, "tag", near=self._near(row, tag))
        made = firsts.assign(date=firsts["when"], source=FIRST_CAPTURE, number=1,
                             animal=firsts["tag"])
        made = made.reindex(columns=[*COLUMNS["releases"], "file", "row"])
        return made.astype({"age": float, "number": int, "length_mm": float})

    def _refuse_unknown(self, unknown: pd.DataFrame) -> None:
        for row in unknown.itertuples():
            if row.tag in self.known.refused:
                self.ledger.set_aside("tag-of-a-release-set-aside", row.Index, "tag",
                                      **self.ledger.where(self.known.refused[row.tag]))
                continue
            shell = row.status == SHELL and self.at_first_capture
            near = self._near(row.Index, row.tag) + self._refused_release(row.tag)
            self.ledger.set_aside("shell-of-unknown-animal" if shell else "tag-unknown", row.Index,
                                  "tag", near=near)

    def _refused_release(self, tag: str) -> str:
        """A sentence about a release set aside for its tag, which may be meant; or nothing."""
        if self.faulty is None:
            self.faulty = [t for t in self.known.refused if read_tag(t).fault][:MOST_FAULTY]
        if tag not in self.likes:
            found = [t for t in self.faulty if refused_like(tag, t)] if self.faulty else []
            self.likes[tag] = found
        if len(self.likes[tag]) != 1:
            return ""
        at = self.ledger.where(self.known.refused[self.likes[tag][0]])
        return (f" The release in row {at['other_row']} of {at['other_file']}, set aside, may be "
                f"meant: it bears {self.likes[tag][0]}; correct it first.")

    def _near(self, row: int, tag: str) -> str:
        # a composed tag is only whole in its canonical form
        written = self.ledger.table_of(row)
        text = tag if len(written.places.get("tag", ())) != 1 else written.written(row, "tag")
        if text not in self.searched:
            if len(self.searched) >= MOST_TAGS_SEARCHED:
                return ""
            found = one_slip_away(text, self.known.about)
            self.searched[text] = slips_in_words(found, self.known.about)
        return self.searched[text]

    def _marked_again(self, encounters: pd.DataFrame) -> None:
        again = encounters[(encounters["event"] == RELEASE) & encounters["animal"].notna()]
        for row, animal in zip(again.index, again["animal"], strict=True):
            first = self.known.release_row[animal]
            if row != first:
                self.ledger.flag("marked-new-again", row, "tag", **self.ledger.where(first))
        twice = int((again["animal"].value_counts() > 1).sum())
        if twice:
            self.notes.append(f"{twice:,} tags were issued twice (marked as new more than once); "
                              "the later rows were flagged and used as recaptures.")


def check_order(encounters: pd.DataFrame, releases: pd.DataFrame, ledger: RowLedger
                ) -> pd.DataFrame:
    """Set aside what was seen before the release, after the shell, or after removal."""
    before_release(encounters, releases, ledger)
    marked = ledger.kept(encounters)
    marked = marked[marked["animal"].notna()]
    _after_end(marked, SHELL, "after-shell", ledger)
    _after_end(ledger.kept(marked), REMOVED, "after-removal", ledger)
    return ledger.kept(encounters)


def before_release(encounters: pd.DataFrame, releases: pd.DataFrame, ledger: RowLedger) -> None:
    """Set aside what was seen before its release; columns `animal` and `when`."""
    marked = encounters[encounters["animal"].notna()]
    start = releases.dropna(subset=["animal"]).drop_duplicates("animal")
    start = start.assign(line=start.index).set_index("animal")
    released = pd.to_datetime(marked["animal"].map(start["date"].to_dict()))
    for row in marked.index[marked["when"] < released]:
        other = start.at[marked.at[row, "animal"], "line"]
        ledger.set_aside("date-before-release", row, "date", date=day(marked.at[row, "when"]),
                         released=day(released[row]), **ledger.where(other))


def _after_end(marked: pd.DataFrame, end: str, code: str, ledger: RowLedger) -> None:
    ends = marked[marked["status"] == end].drop_duplicates("animal")
    ends = ends.assign(line=ends.index).set_index("animal")
    if not len(ends):
        return
    ended = pd.to_datetime(marked["animal"].map(ends["when"].to_dict()))
    later = (marked["when"] > ended) & (marked["status"] != end)
    same_day = (marked["when"] == ended) & (end == SHELL)
    later |= same_day & (marked["status"] == HEARD)
    for row in marked.index[later]:
        line = marked.loc[row]
        ledger.set_aside(code, row, "status", status=line["status"], date=day(line["when"]),
                         shell=day(ended[row]), **ledger.where(ends.at[line["animal"], "line"]))
    for row in marked.index[same_day & marked["status"].isin([ALIVE, REMOVED])]:
        line = marked.loc[row]
        ledger.flag("alive-and-shell-one-day", row, "status", status=line["status"],
                    date=day(line["when"]), **ledger.where(ends.at[line["animal"], "line"]))


def check_species(encounters: pd.DataFrame, releases: pd.DataFrame, ledger: RowLedger, *,
                  asked: bool) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Give every row the species of its animal, and flag rows that say another.

    Parameters
    ----------
    asked : bool
        Flag rows whose species nobody says (False when no table has a column for it).

    Returns
    -------
    encounters, releases : DataFrame
        With `species` filled in where the animal's is known.
    notes : list of str
    """
    columns = ["animal", "species", "when"]
    said = pd.concat([releases.assign(when=releases["date"])[columns], encounters[columns]])
    said = said.assign(line=said.index).dropna(subset=["animal", "species"])
    said = said.sort_values("when", kind="stable").drop_duplicates("animal").set_index("animal")
    own = encounters["animal"].map(said["species"].to_dict()).astype(object)
    differs = encounters["species"].notna() & own.notna() & (encounters["species"] != own)
    for row in encounters.index[differs]:
        ledger.flag("species-differs", row, "species", value=encounters.at[row, "species"],
                    other=own[row],
                    **ledger.where(said.at[encounters.at[row, "animal"], "line"]))
    species = encounters["species"].where(encounters["species"].notna(), own)
    species = species.where(species.notna(), None)
    if asked:
        for row in encounters.index[species.isna()]:
            ledger.flag("species-missing", row, "species")
    notes = []
    if animals := encounters.loc[differs, "animal"].nunique():
        notes.append(f"{animals:,} animals (tags) stand on two species, in {int(differs.sum()):,} "
                     "rows; those rows were flagged and used.")
    filled = releases["species"].where(releases["species"].notna(),
                                       releases["animal"].map(said["species"].to_dict()).astype(object))
    releases = releases.assign(species=filled.where(filled.notna(), None))
    return encounters.assign(species=species), releases, notes


def check_sites(encounters: pd.DataFrame, releases: pd.DataFrame, ledger: RowLedger) -> None:
    """Flag animals found at another site than the one they were released at."""
    site = releases.dropna(subset=["animal"]).drop_duplicates("animal").set_index("animal")["site"]
    home = encounters["animal"].map(site.to_dict()).astype(object)
    for row in encounters.index[home.notna() & (home != encounters["site"])]:
        ledger.flag("site-differs", row, "site", value=encounters.at[row, "site"], other=home[row])


def collapse(encounters: pd.DataFrame) -> pd.DataFrame:
    """Join repeated records of an animal within one visit; every measured length stays.

    Within an animal, site and visit a tag only heard adds nothing to an animal in hand, a record
    without a length adds nothing to one with the same status, and a record that repeats day,
    status and length is the same record twice.

    Returns
    -------
    DataFrame
        With `reads`: how many rows of the tables each row stands for. Animals without a mark are
        left as they are. Where passes are told apart, `pass` is the first on which the animal was
        in hand and `passes_met` their number.
    """
    key = ["animal", "site", "visit"]
    encounters = _passes(encounters, key)
    rows = encounters.assign(in_hand=encounters["status"] != HEARD,
                             measured=encounters["length_mm"].notna())
    rows = rows[rows["animal"].notna()]
    heard_too = ~rows["in_hand"] & rows.groupby(key)["in_hand"].transform("any")
    with_status = [*key, "status"]
    unmeasured = ~rows["measured"] & rows.groupby(with_status)["measured"].transform("any")
    same = rows.duplicated([*with_status, "date", "length_mm"])
    again = ~rows["measured"] & rows.duplicated([*with_status, "measured"])
    dropped = heard_too | unmeasured | same | again
    first = rows[~dropped].drop_duplicates(key)
    more = rows[dropped].groupby(key).size().rename("more")
    added = first[key].join(more, on=key)["more"].fillna(0).astype(int)
    reads = pd.Series(1, index=encounters.index).add(added, fill_value=0).astype(int)
    return encounters.assign(reads=reads).drop(index=rows.index[dropped]).sort_index()


def _passes(encounters: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """The first pass of a visit that met each animal in hand, and how many did."""
    told = encounters[encounters["animal"].notna() & encounters["pass"].notna()
                      & encounters["status"].isin([ALIVE, REMOVED])]
    if not len(told):
        return encounters.assign(passes_met=float("nan"))
    met = told.groupby(key)["pass"].agg(first="min", passes_met="nunique")
    joined = encounters[key].join(met, on=key)
    alive = encounters["status"].isin([ALIVE, REMOVED])
    first = encounters["pass"].where(~alive | joined["first"].isna(), joined["first"])
    return encounters.assign(**{"pass": first, "passes_met": joined["passes_met"].where(alive)})


def day(date: pd.Timestamp) -> str:
    """A day as year-month-day."""
    return "" if pd.isna(date) else date.strftime("%Y-%m-%d")
