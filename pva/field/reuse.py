"""Tags that were recovered and put on another animal: one tag, two animals, parted by a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from pva.errors import DataError, Problem
from pva.field.dates import read_date
from pva.field.records import SHELL
from pva.field.tags import PLAIN, read_tag

if TYPE_CHECKING:
    from pva.field.study import Study


class Reuse:
    """The study's list of tags used again.

    Parameters
    ----------
    study : Study
        With `tags: {used_again: [{tag: ..., from: DAY}]}`.
    """

    def __init__(self, study: Study):
        self.study = study
        self.days: dict[str, list[pd.Timestamp]] = {}
        for one in study.spec.tags.used_again:
            day = pd.Timestamp(read_date(one.from_day).date)
            self.days.setdefault(read_tag(one.tag).name, []).append(day)
        for days in self.days.values():
            days.sort()
        self.tag_of: dict[str, str] = {}

    def animal(self, tag: str | None, day: pd.Timestamp, status: str | None = None) -> str | None:
        """Name of the animal that bore a tag on a day; the tag itself for its first animal.

        On the very day of the change a shell belongs to the animal before.
        """
        if tag not in self.days or pd.isna(day):
            return tag
        begun = [d for d in self.days[tag] if d < day or d == day and status != SHELL]
        if not begun:
            return tag
        name = f"{tag} from {begun[-1]:%Y-%m-%d}"
        self.tag_of[name] = tag
        return name

    def animals(self, tags: pd.Series, days: pd.Series, statuses: pd.Series | None = None
                ) -> pd.Series:
        """The same for columns; other tags stay as they are."""
        again = tags.index[tags.isin(list(self.days))]
        if not len(again):
            return tags
        made = tags.copy()
        for row in again:
            made[row] = self.animal(tags[row], days[row],
                                    None if statuses is None else statuses[row])
        return made

    def as_read(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Tags as the reader says them again; `animal` keeps the two animals apart."""
        if not self.tag_of:
            return frame
        return frame.assign(tag=frame["tag"].replace(self.tag_of))

    def check_used(self, animals: set[str]) -> None:
        """Refuse a change of animal that no release tells of.

        Raises
        ------
        DataError
            No row says which animal bears the tag from that day on.
        """
        problems = []
        for i, one in enumerate(self.study.spec.tags.used_again):
            tag, day = read_tag(one.tag).name, read_date(one.from_day).date
            if f"{tag} from {day}" not in animals:
                problems.append(self.study.positions.problem(
                    ("tags", "used_again", i),
                    f"tag {one.tag} is said to be on another animal from {day} on, but no row "
                    "says that an animal was released with it on that day or later",
                    "Add the release of the second animal, or correct the tag or the day.",
                    code="tag-used-again-by-none"))
        if problems:
            raise DataError(problems)


def reuse_problems(study: Study) -> Iterator[Problem]:
    """Tags and days of `used_again` that cannot be read."""
    place = study.positions.problem
    for i, one in enumerate(study.spec.tags.used_again):
        at = ("tags", "used_again", i)
        if read_tag(one.tag).fault or one.tag.count(".") and read_tag(one.tag).kind == PLAIN:
            yield place((*at, "tag"), f"{one.tag} is no tag",
                        "Write the whole number between quotation marks.", code="tag-unreadable")
        if not isinstance(read_date(one.from_day).date, dt.date):
            yield place((*at, "from"), f"{one.from_day} is no day", "Write it as year-month-day.",
                        code="day-unreadable")
