"""What takes living animals out of view for good: lost tags and leaving the site.

Apparent survival counts both as deaths. Corrected survival is fitted with the chance that an animal
stays in view over each step, so that histories of any length and shells are corrected alike; the
doubt about that chance is carried on by fitting again with it moved by one SE.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pva.estimate.following import YEAR
from pva.estimate.options import Options
from pva.estimate.staying import LEAVING, TAGS, Staying, met_in_and_out, staying_outside
from pva.estimate.tag_loss import UNCORRECTED, TagRetention, meetings, retention, unwritten
from pva.field.records import FieldRecords


@dataclass(frozen=True)
class Losses:
    """All corrections of apparent survival.

    Parameters
    ----------
    tags : TagRetention or None
        Measured on animals with two marks.
    given : tuple of Staying
        Corrections given as yearly numbers.
    unwritten : tuple of (str, str)
        Visits (visit, site) at which nobody wrote down second marks.
    """

    tags: TagRetention | None = None
    given: tuple[Staying, ...] = ()
    unwritten: tuple[tuple[str, str], ...] = ()

    def __bool__(self) -> bool:
        return self.tags is not None or bool(self.given)

    @property
    def corrected_for(self) -> tuple[str, ...]:
        """What is corrected, in words."""
        measured = (TAGS,) if self.tags is not None else ()
        return (*measured, *(one.what for one in self.given))

    def keep(self, steps: pd.DataFrame) -> np.ndarray:
        """Chance of staying in view over each step.

        Parameters
        ----------
        steps : DataFrame
            As made by `label_steps`; the mark's age counts from the animal's first step.
        """
        years = steps["years"].to_numpy(float)
        out = np.ones(len(steps))
        if self.tags is not None:
            begun = steps.groupby("animal")["start"].transform("min").to_numpy(float)
            age = (steps["start"].to_numpy(float) - begun) / YEAR
            out *= self.tags.kept(age, age + years)
        for one in self.given:
            out *= one.value**years
        return out

    def moved(self) -> list[Losses]:
        """The losses with each independent doubt moved by one SE."""
        out = [replace(self, tags=t) for t in self.tags.moved()] if self.tags is not None else []
        for i, one in enumerate(self.given):
            rest = (*self.given[:i], one.moved(), *self.given[i + 1 :])
            out.append(replace(self, given=rest))
        return out

    def notes(self, *, leaving_told: bool) -> list[str]:
        """What survival is corrected for and what not, in words.

        Parameters
        ----------
        leaving_told : bool
            Whether leaving is part of the survival model, told by shells found anywhere.
        """
        out = [f"corrected for {one.what}: {one.value:.3f} a year (SE {one.se:.3f}; {one.source})"
               for one in self.given]
        if self.unwritten:
            where = ", ".join(f"{site} {visit}" for visit, site in self.unwritten)
            out.append(f"no second mark was written down at {where}: these meetings tell nothing "
                       "of tag loss")
        if self.tags is not None:
            out.append(f"tag loss: {UNCORRECTED}")
        elif TAGS not in self.corrected_for:
            out.append("survival is not corrected for lost tags: too few animals with two marks "
                       "were met again")
        if LEAVING not in self.corrected_for and not leaving_told:
            out.append("survival is not corrected for leaving the site: an animal that moves away "
                       "for good counts as dead")
        return out


def losses_of(records: FieldRecords, animals, options: Options) -> Losses:
    """Every correction that the records and the study give.

    Parameters
    ----------
    records : FieldRecords
    animals : sequence of str
    options : Options

    Returns
    -------
    Losses
        A measured tag retention wins over one given as a number.
    """
    measured = retention(meetings(records, animals))
    given = tuple(one for one in options.given if measured is None or one.what != TAGS)
    if options.outside_searched is not None:
        met = met_in_and_out(records, options.outside)
        told = staying_outside(met[met["animal"].isin(set(animals))], options.outside_searched)
        given += (told,) if told is not None else ()
    return Losses(measured, given, tuple(unwritten(records)))
