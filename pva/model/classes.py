"""Stages as age classes: a stage of fixed years becomes that many classes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pva.scenario.resolved import Stage


@dataclass(frozen=True)
class Classes:
    """Age classes in life order.

    Parameters
    ----------
    names : tuple of str, (class,)
        ``juvenile`` or, in a stage of several years, ``juvenile, year 2``.
    stage : ndarray of int, (class,)
        Index of the stage.
    first : ndarray of int, (stage,)
        First class of each stage.
    adult, breeds : ndarray of bool, (class,)
    """

    names: tuple[str, ...]
    stage: np.ndarray
    first: np.ndarray
    adult: np.ndarray
    breeds: np.ndarray

    def __len__(self) -> int:
        return len(self.names)

    def of_stage(self, index: int) -> np.ndarray:
        """Classes of a stage, as a mask over classes."""
        return self.stage == index


def expand(stages: tuple[Stage, ...]) -> Classes:
    """Expand stages into age classes."""
    names, stage, first = [], [], []
    for index, one in enumerate(stages):
        first.append(len(names))
        years = one.years or 1
        for age in range(1, years + 1):
            names.append(one.name if years == 1 else f"{one.name}, year {age}")
            stage.append(index)
    stage = np.array(stage)
    return Classes(
        names=tuple(names),
        stage=stage,
        first=np.array(first),
        adult=np.array([stages[i].adult for i in stage], dtype=bool),
        breeds=np.array([stages[i].breeds for i in stage], dtype=bool),
    )


@dataclass(frozen=True)
class Step:
    """A way a survivor of a class may go within the year; `stage_to` None = the share is certain.

    A survivor takes no step with what the shares leave over.
    """

    from_class: int
    to_class: int
    stage_from: str
    stage_to: str | None


def growth_steps(stages: tuple[Stage, ...], classes: Classes, growth: dict) -> list[Step]:
    """Every way survivors may go, by class, destinations in the order written.

    Parameters
    ----------
    growth : mapping of str to mapping of str to Rate
        Stage -> stages reached -> share (only the names are used).
    """
    steps = []
    number = {s.name: i for i, s in enumerate(stages)}
    for index, stage in enumerate(stages):
        here = np.flatnonzero(classes.of_stage(index))
        if stage.years:
            onward = list(here[1:])
            if index + 1 < len(stages):
                onward.append(classes.first[index + 1])
            steps += [
                Step(int(a), int(b), stage.name, None)
                for a, b in zip(here, onward, strict=False)
            ]
        else:
            for reached in growth.get(stage.name, {}):
                to = int(classes.first[number[reached]])
                steps.append(Step(int(here[0]), to, stage.name, reached))
    return steps


def dies_at_the_end(stages: tuple[Stage, ...], classes: Classes) -> np.ndarray:
    """Mask of the classes whose survivors have nowhere to go: last year of a last fixed stage."""
    mask = np.zeros(len(classes), dtype=bool)
    if stages[-1].years:
        mask[-1] = True
    return mask
