"""The estimates file: what field data say, one key a rate, written to be read and edited.

A scenario refers to its keys (``survival/adult``, ``release/hatchery``, ``growth/subadult``,
``abundance/SITE``, ``density/SITE``). The joint covariance of the rates on the link scale lies
beside it in ``estimates.nc``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from pva.estimate.link_scale import Link, natural
from pva.sources import Source

PROBABILITIES = ("survival", "release", "bad_year", "growth", "detection", "tag_retention",
                 "staying", "availability", "surface_search")
POSITIVE = ("abundance", "density", "recruits_per_adult", "growth_curve", "hosts",
            "glochidia_per_host")
GROUPS = PROBABILITIES + POSITIVE


@dataclass(frozen=True)
class Estimate:
    """One number from the field, with its doubt and where it comes from.

    Parameters
    ----------
    key : str
        Name in the file, ``group/name`` (``abundance/SITE/STAGE`` for abundances).
    value : float or None
        Best value, natural scale, mean over years; corrected for tag loss where that could be
        done. None where only bounds can be told.
    se : float or None
        Standard error, natural scale, without the differences between years.
    interval : tuple of float or None
        95 % interval (low, high); for a value of 0 the high end is a one-sided 95 % limit.
    year_sd : float or None
        SD between years, natural scale, process variance only; None = could not be told.
    link : Link or None
        The same on the logit scale; present where a scenario can draw from it.
    apparent : float or None
        Survival with lost tags counted as deaths.
    n : int or None
        Animals, or units dug, behind the number.
    source : Source
        Usually ``measured``.
    note : str
        What a reader must know before using the number.
    """

    key: str
    value: float | None
    se: float | None = None
    interval: tuple[float, float] | None = None
    year_sd: float | None = None
    link: Link | None = None
    apparent: float | None = None
    n: int | None = None
    source: Source = Source("measured")
    note: str = ""

    @property
    def is_probability(self) -> bool:
        """Whether the number is a chance (logit link) rather than a positive amount (log link)."""
        return self.key.split("/")[0] in PROBABILITIES


@dataclass(frozen=True)
class Covariance:
    """Joint covariance on the link scale. `matrix`: (key, key), in the order of `keys`."""

    keys: tuple[str, ...] = ()
    matrix: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))

    def without(self, dropped: set[str]) -> Covariance:
        """The covariance of the remaining keys."""
        keep = [i for i, key in enumerate(self.keys) if key not in dropped]
        return Covariance(tuple(self.keys[i] for i in keep), self.matrix[np.ix_(keep, keep)])


@dataclass(frozen=True)
class Estimates:
    """All numbers of one estimates file.

    Parameters
    ----------
    rates : mapping of str to Estimate
        By key: survival, release, growth (yearly transition), detection, tag retention, density,
        recruits per adult.
    abundance : mapping of str to mapping of str to Estimate
        Site -> stage -> animals.
    covariance : Covariance
        Of the keys with a link, on the link scale.
    title, species : str
        Of the study.
    notes : tuple of str
        What was found on reading (numbers changed by hand, a missing covariance).
    """

    rates: Mapping[str, Estimate]
    abundance: Mapping[str, Mapping[str, Estimate]] = field(default_factory=dict)
    covariance: Covariance = Covariance()
    title: str = ""
    species: str = ""
    notes: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key a scenario may name, abundances as ``abundance/SITE``."""
        return (*self.rates, *(f"abundance/{site}" for site in self.abundance))


def estimate_from_link(key: str, link: Link, **more) -> Estimate:
    """An estimate of a probability from its link moments; `more` are fields of Estimate."""
    printed = natural(link)
    if link.year_sd == 0:
        printed["year_sd"] = 0.0 if key.startswith("survival/") else None
    return Estimate(key=key, link=link, **{**printed, **more})
