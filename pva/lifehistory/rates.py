"""A vital rate with its three layers: best value, what we do not know, how years differ."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType

from pva.sources import Source

PROBABILITY = "probability"
POSITIVE = "positive"


@dataclass(frozen=True)
class LinkMoments:
    """Moments of an estimated rate on the link scale (logit of a probability, log of a positive).

    Parameters
    ----------
    mean : float
        Link mean over years.
    se : float
        Standard error of `mean`.
    year_sd : float
        Standard deviation of years about `mean`, process variance only.
    """

    mean: float
    se: float = 0.0
    year_sd: float = 0.0


@dataclass(frozen=True)
class Rate:
    """One vital rate as the scenario means it.

    Parameters
    ----------
    key : str
        Name of its parameter-draw column, e.g. ``survival/adult``, or
        ``survival/adult @ Quillstone Riffle`` where a site has a value of its own. Rates with the
        same key share one draw.
    kind : {'probability', 'positive'}
        Decides the link: logit or log.
    value : float
        Best value: mean over ordinary years, natural scale, per year.
    se : float or None
        Standard error on the natural scale (what we do not know).
    interval : tuple of float or None
        95 % interval (low, high), natural scale. `se` and `interval` exclude each other.
    distribution : str or None
        Law of what we do not know: ``logit-normal``, ``beta``, ``lognormal``, ``normal``,
        ``uniform``, ``log-uniform``, ``triangular``; None = the default of the kind.
    year_sd : float
        SD between years on the natural scale, process variance only.
    by_year : mapping of int to float
        Best value from the year named until the next year named.
    link : LinkMoments or None
        Present for rates taken from an estimates file; then it, not `se` and `year_sd`, is used.
    estimate : str or None
        Key in the estimates file, for the joint covariance.
    source : Source
        Where the number comes from.
    effect : str
        Name of the year-effect series the rate follows, the same at every site
        (``survival/adult``); two rates with the same effect share one normal a year and site.
    """

    key: str
    kind: str
    value: float
    se: float | None = None
    interval: tuple[float, float] | None = None
    distribution: str | None = None
    year_sd: float = 0.0
    by_year: MappingProxyType | dict = field(default_factory=dict)
    link: LinkMoments | None = None
    estimate: str | None = None
    source: Source = Source("given")
    effect: str = ""

    @property
    def is_uncertain(self) -> bool:
        """Whether parameter draws of this rate differ from the best value."""
        if self.link is not None:
            return self.link.se > 0
        return bool(self.se) or self.interval is not None
