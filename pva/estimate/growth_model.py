"""The growth model of one set of lengths: its parameters, and minus its log likelihood."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import expit

from pva.estimate.first_sizes import FirstSizes, Groups
from pva.estimate.likelihood_growth import Lengths, Rates, growth_loglik

TIE_FREE, TIE_FREE_PULL = 1.0, 0.1  # logit, SD 3: animals from the river are of any age
TIE_HUMP, TIE_HUMP_PULL = 0.5, 0.25  # weak, SD 2: a stronger one costs coverage
CURVE_PULL = 1.0  # weak pull of the log ratio between curves to 0, SD 1
MISREAD, MISREAD_PULL = np.log(0.005), 0.5  # log odds of a misread length, pulled with SD 1.4
MOST_MISREAD = np.log(0.3)
LOST, LOST_PULL = np.log(0.25), 0.5  # log of growing time lost (years), pulled with SD 1.4
WIDE, WIDE_PULL = np.log(0.15), 4.0  # SD over mean of asymptotes beyond which it is pulled
MOST_NODES, NODES_A_SD = 400, 1.3  # of the grid of first sizes; nodes that an error SD must span
FINE = np.log(NODES_A_SD / MOST_NODES)  # log error SD over asymptote that the grid can hold;
FINE_PULL = 50.0  # below it the likelihood rises in spikes between nodes that are not in the data
ORDER = ("asymptote", "rate", "asymptote_sd", "measurement_sd", "tie_free", "tie_hump")


@dataclass(frozen=True)
class Repeats:
    """What lengths read more than once at a visit say about the error of a length.

    Parameters
    ----------
    sd_mm : float
        SD within animal and visit, mm; above 0.
    free : int
        Readings less animals.
    """

    sd_mm: float
    free: int


@dataclass(frozen=True)
class Measured:
    """Lengths with what the growth model needs to know about the animals.

    Parameters
    ----------
    lengths : Lengths
    groups : Groups
        Of first sizes.
    curve : int array (animal)
        Level of what growth may differ by.
    levels : tuple of str
        Names of the curves; one where growth is the same for all.
    released : bool array (animal)
        Whether the first length was taken at a release.
    animals : tuple
        Names.
    begun : float array (animal)
        Growing time of the first length.
    repeats : Repeats or None
        Where given, part of the likelihood.
    """

    lengths: Lengths
    groups: Groups
    curve: np.ndarray
    levels: tuple[str, ...]
    released: np.ndarray
    animals: tuple = ()
    begun: np.ndarray = field(default_factory=lambda: np.zeros(0))
    repeats: Repeats | None = None

    @classmethod
    def plain(cls, lengths: Lengths, humps=None, released: bool = True) -> Measured:
        """One curve for all; free shapes reach from the smallest to the largest first length."""
        number = int(lengths.group.max()) + 1
        humps = np.zeros(number, bool) if humps is None else np.asarray(humps, bool)
        groups = Groups(humps, ranges(lengths, number), np.zeros(number, np.int64))
        count = lengths.group.size
        return cls(lengths, groups, np.zeros(count, np.int64), ("all",), np.full(count, released))

    def of_animals(self, keep: np.ndarray) -> Measured:
        """The animals at these places."""
        data, counts = self.lengths, np.diff(self.lengths.first)
        pick = np.concatenate([np.arange(data.first[i], data.first[i + 1]) for i in keep])
        own = Lengths(np.concatenate([[0], np.cumsum(counts[keep])]), data.elapsed[pick],
                      data.length[pick], data.group[keep])
        return Measured(own, self.groups, self.curve[keep], self.levels, self.released[keep],
                        repeats=self.repeats)

    def as_one(self) -> Measured:
        """All animals on one curve."""
        groups = replace(self.groups, curve=np.zeros_like(self.groups.curve))
        return replace(self, groups=groups, curve=np.zeros_like(self.curve), levels=("all",))


def ranges(lengths: Lengths, number: int) -> np.ndarray:
    """Smallest and largest first length of each group (group, 2)."""
    first = lengths.length[lengths.first[:-1]]
    out = np.tile([-np.inf, np.inf], (number, 1))
    for g in range(number):
        own = first[lengths.group == g]
        if own.size:
            out[g] = own.min(), own.max()
    return out


@dataclass(frozen=True)
class Terms:
    """What the model has besides one curve.

    Parameters
    ----------
    differs : tuple of str
        Of ``asymptote`` and ``rate``, what differs between the curves.
    misread : bool
        Whether a share of the lengths is misread.
    handling : str
        After which handling growth rests: ``none``, ``release`` or ``each``.
    """

    differs: tuple[str, ...] = ()
    misread: bool = False
    handling: str = "none"

    @property
    def said(self) -> str:
        """In words."""
        return ("growth the same for all" if not self.differs
                else f"{' and '.join(self.differs)} of growth differ")


class GrowthModel:
    """Minus the log likelihood, with weak pulls, of everything estimated at once."""

    def __init__(self, measured: Measured, terms: Terms, sizes: FirstSizes):
        self.measured, self.terms, self.sizes = measured, terms, sizes
        extra = [*(["misread"] if terms.misread else []),
                 *(["lost"] if terms.handling != "none" else [])]
        self.names = [*ORDER, *extra]
        self.contrasts = _contrasts(len(measured.levels))
        at = len(self.names)
        self.curves: dict[str, slice] = {}
        for what in terms.differs:
            self.curves[what] = slice(at, at + self.contrasts.shape[1])
            at += self.contrasts.shape[1]
        self.shapes = slice(at, at + sizes.places[-1].stop)
        self.size = self.shapes.stop
        self.number = np.bincount(measured.lengths.group, minlength=sizes.groups.humps.size)
        longest = measured.lengths.length.max()
        self.anywhere = -np.log(1.1 * longest)

    def place(self, name: str) -> int:
        """Where a parameter stands."""
        return self.names.index(name)

    def of_curves(self, what: str) -> np.ndarray:
        """Log ratio of each curve to the mean (curve, parameter)."""
        out = np.zeros((self.contrasts.shape[0], self.size))
        if what in self.curves:
            out[:, self.curves[what]] = self.contrasts
        return out

    def rates(self, x: np.ndarray) -> Rates:
        """The rates that the parameters stand for."""
        asymptote = x[0] * np.exp(np.clip(self.of_curves("asymptote") @ x, -3, 3))
        rate = np.exp(np.clip(x[1] + self.of_curves("rate") @ x, -12, 3))
        odds = 0.0
        if self.terms.misread:
            odds = float(np.exp(min(x[self.place("misread")], MOST_MISREAD)))
        tie = np.where(self.sizes.groups.humps, x[5], expit(x[4]))
        return Rates(asymptote, rate, float(np.exp(2 * np.clip(x[2], -3, 6))),
                     float(np.exp(2 * np.clip(x[3], -4, 6))), tie, odds, float(self.anywhere))

    def elapsed(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Growing times less what handling cost, and their derivative by the log of that loss."""
        data = self.measured.lengths
        if self.terms.handling == "none":
            return data.elapsed, np.zeros(data.elapsed.size)
        return rested(self.measured, self.terms.handling,
                      float(np.exp(np.clip(x[self.place("lost")], -8, 2))))

    def __call__(self, x: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus log likelihood with pulls and repeats, and its gradient."""
        rates, shapes = self.rates(x), x[self.shapes]
        log_weight = self.sizes.log_weights(shapes, rates.asymptote)
        elapsed, slowed = self.elapsed(x)
        data = self.measured.lengths._replace(elapsed=elapsed)
        loglik, slopes = growth_loglik(data, self.measured.curve, slowed, rates, self.sizes.share,
                                       log_weight)
        chosen, excess = self._chosen(rates, log_weight, slopes)
        by_shapes, by_asymptote = self.sizes.gradient(shapes, rates.asymptote, excess)
        gradient = self._gradient(x[0], rates, slopes, by_shapes,
                                  slopes.asymptote + by_asymptote)
        pulled, by_pull = self._pulls(x)
        return pulled - loglik - chosen, by_pull - gradient

    def loglik(self, x: np.ndarray) -> float:
        """Log likelihood without the pulls."""
        return self._pulls(x)[0] - self(x)[0]

    def _chosen(self, rates: Rates, log_weight, slopes) -> tuple[float, np.ndarray]:
        """Log likelihood that animals chosen by length were there to be chosen; adds its
        derivatives to `slopes` and gives posterior less expected weights of the nodes."""
        data, total, weight = self.measured.lengths, 0.0, np.exp(log_weight)
        count = np.diff(data.first)
        excess = slopes.weight_sum - self.number[:, None] * weight
        for g in np.flatnonzero(~self.sizes.groups.humps & (self.number > 0)):
            low, high = self.sizes.groups.chosen[g]
            if not np.isfinite(high - low):
                continue
            chance, by = self.sizes.chance_chosen(g, rates)
            wrong = 1 / (1 / max(rates.odds, 1e-300) + count[data.group == g])
            anyhow = (high - low) * np.exp(rates.anywhere)  # chance that a misread one is inside
            right = float(weight[g] @ chance)
            whole = (1 - wrong) * right + wrong * anyhow
            total -= np.log(whole).sum()
            pull = ((1 - wrong) / whole).sum()
            excess[g] -= pull * weight[g] * (chance - right)
            slope = -pull * (by @ weight[g])
            slopes.asymptote[self.sizes.groups.curve[g]] += slope[0]
            slopes.variances[:2] += slope[1:3]
            slopes.tie[g] += slope[3]
            slopes.variances[2] -= ((anyhow - right) * wrong**2 / max(rates.odds, 1e-300)
                                    / whole).sum()
        return total, excess

    def _gradient(self, mean, rates: Rates, slopes, by_shapes, by_asymptote) -> np.ndarray:
        out = np.zeros(self.size)
        by_log = {"asymptote": by_asymptote * rates.asymptote, "rate": slopes.rate * rates.rate}
        out[0] = by_log["asymptote"].sum() / mean
        out[1] = by_log["rate"].sum()
        out[2] = slopes.variances[0] * 2 * rates.asymptote_variance
        out[3] = slopes.variances[1] * 2 * rates.error_variance
        humps = self.sizes.groups.humps
        follow = rates.tie[~humps]
        out[4] = (slopes.tie[~humps] * follow * (1 - follow)).sum()
        out[5] = slopes.tie[humps].sum()
        if self.terms.misread:
            out[self.place("misread")] = slopes.variances[2]
        if self.terms.handling != "none":
            out[self.place("lost")] = slopes.slowed[0]
        for what, where in self.curves.items():
            out[where] = by_log[what] @ self.contrasts
        out[self.shapes] = by_shapes
        return out

    def _pulls(self, x: np.ndarray) -> tuple[float, np.ndarray]:
        value, out = 0.0, np.zeros(self.size)
        wanted = {4: (TIE_FREE, TIE_FREE_PULL), 5: (TIE_HUMP, TIE_HUMP_PULL)}
        if self.terms.misread:
            wanted[self.place("misread")] = MISREAD, MISREAD_PULL
        if self.terms.handling != "none":
            wanted[self.place("lost")] = LOST, LOST_PULL
        for where in self.curves.values():
            wanted |= {i: (0.0, CURVE_PULL) for i in range(where.start, where.stop)}
        for i, (middle, pull) in wanted.items():
            value += 0.5 * pull * (x[i] - middle) ** 2
            out[i] = pull * (x[i] - middle)
        if (wide := x[2] - np.log(max(x[0], 1e-6)) - WIDE) > 0:
            value += 0.5 * WIDE_PULL * wide**2
            out[2] += WIDE_PULL * wide
            out[0] -= WIDE_PULL * wide / x[0]
        if (known := self.measured.repeats) is not None:
            ratio = known.sd_mm**2 * np.exp(-2 * x[3])
            value += 0.5 * known.free * (ratio - 1 - np.log(ratio))
            out[3] += known.free * (1 - ratio)
        if (fine := np.log(max(x[0], 1e-6)) + FINE - x[3]) > 0:
            value += 0.5 * FINE_PULL * fine**2
            out[3] -= FINE_PULL * fine
            out[0] += FINE_PULL * fine / x[0]
        shaped, by_shapes = self.sizes.penalty(x[self.shapes])
        out[self.shapes] = by_shapes
        return value + shaped, out


def _contrasts(levels: int) -> np.ndarray:
    """Ratios to the mean of all curves: the last is what makes the sum nothing."""
    return np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))]) if levels > 1 else np.zeros(
        (1, 0))


def rested(measured: Measured, handling: str, lost: float) -> tuple[np.ndarray, np.ndarray]:
    """Growing times where growth rests after handling and comes back with time constant `lost`.

    Over an interval t after the handling an animal grows as in ``t - lost (1 - exp(-t / lost))``.

    Parameters
    ----------
    measured : Measured
    handling : str
        ``release``: the first interval of released animals; ``each``: every interval.
    lost : float
        Growing time lost in the long run, years.

    Returns
    -------
    elapsed, slowed : float array (measurement)
        Effective growing time since the first length, and its derivative by log(`lost`).
    """
    data = measured.lengths
    start = data.first[:-1]
    count = np.diff(data.first)
    gap = np.diff(data.elapsed, prepend=0.0)
    gap[start] = 0.0
    number = np.arange(gap.size) - np.repeat(start, count)
    hit = number > 0 if handling == "each" else (number == 1) & np.repeat(measured.released, count)
    left = np.exp(-gap / lost)
    grown = np.where(hit, gap - lost * (1 - left), gap)
    slope = np.where(hit, -lost * (1 - left) + gap * left, 0.0)
    sums, slopes = np.cumsum(grown), np.cumsum(slope)
    return sums - np.repeat(sums[start], count), slopes - np.repeat(slopes[start], count)
