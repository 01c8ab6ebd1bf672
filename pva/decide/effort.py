"""What a survey digs and what that costs; ranges of what is asked."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pva.errors import MeaningError, Problem

ROUNDING = 1e-9


@dataclass(frozen=True)
class Digging:
    """Effort of one survey.

    Parameters
    ----------
    quadrats : int
    dug_m2 : float
        Bed disturbed.
    cost, hours : float or None
        None where not told what one quadrat costs.
    """

    quadrats: int
    dug_m2: float
    cost: float | None
    hours: float | None


@dataclass(frozen=True)
class Quadrats:
    """How quadrats are dug.

    Parameters
    ----------
    area_m2 : float
        Of one quadrat.
    found : float
        Share of the animals in it that is found, above 0 up to 1.
    clumping : float or None
        Dispersion k of the negative binomial of a quadrat's count (small = clumped); None = not
        known.
    cost_each, hours_each : float or None
        Money and hours for one quadrat.
    """

    area_m2: float = 0.25
    found: float = 1.0
    clumping: float | None = None
    cost_each: float | None = None
    hours_each: float | None = None

    def mean(self, density: float) -> float:
        """Animals found in a quadrat on average."""
        return density * self.area_m2 * self.found

    def digging(self, number: int) -> Digging:
        """Effort of a number of quadrats."""
        return Digging(number, number * self.area_m2, _times(number, self.cost_each),
                       _times(number, self.hours_each))

    def check(self) -> None:
        """Refuse what lies outside its range."""
        check_positive(area_m2=self.area_m2, found=self.found)
        if self.clumping is not None:
            check_positive(clumping=self.clumping)
        if self.found > 1:
            raise _outside("found", self.found, "above 0, up to 1")


def _times(number, each):
    return None if each is None else number * each


def whole_up(number: float) -> int:
    """Next whole number, at least 1; what rounding put a hair above a whole one stays."""
    return max(1, math.ceil(number - ROUNDING * max(1.0, number)))


def check_positive(**values: float) -> None:
    """Refuse values that are not above 0."""
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise _outside(name, value, "above 0")


def check_parts(**values: float) -> None:
    """Refuse values that are not between 0 and 1."""
    for name, value in values.items():
        if not 0 < value < 1:
            raise _outside(name, value, "between 0 and 1, both left out")


def _outside(name: str, value: float, range_: str) -> MeaningError:
    return MeaningError(Problem(f"{name} is {value:g}", f"Give a number {range_}.",
                                done="nothing was computed", code="effort-range"))
