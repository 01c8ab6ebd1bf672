"""Reading an estimates file that a person may have edited: every problem told together."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from pva.errors import DataError, FormError, MeaningError, Problem
from pva.estimate.estimates import GROUPS, Covariance, Estimate, Estimates
from pva.estimate.link_scale import Link, natural
from pva.files import Positions, read_yaml
from pva.files.near_names import the_nearest_is
from pva.files.unfinished import tidy
from pva.sources import KINDS, Source

FIELDS = ("value", "se", "interval", "year_sd", "link", "apparent", "n", "source", "note")
HEAD = ("title", "species", "covariance", "notes", "written")
PRINTED_VALUE = 1e-4  # values are printed to four digits, se and year_sd to three
PRINTED_SPREAD = 0.006


def read_estimates(path) -> Estimates:
    """Read an estimates file and the covariance beside it.

    A number changed by hand wins over its link moments: they are dropped, the key leaves the
    joint covariance, and `notes` says so.

    Parameters
    ----------
    path : str or Path
        An ``estimates.yaml``.

    Returns
    -------
    Estimates

    Raises
    ------
    FormError
        The file is missing, is not YAML, or holds unknown keys.
    MeaningError
        A number is impossible (a chance outside 0 to 1, a value outside its interval).
    DataError
        The covariance beside it is damaged, or belongs to other estimates.
    """
    tidy(Path(path).parent)  # if their writer was killed, what it had ready takes its place first
    written, at = read_yaml(path)
    problems = _Problems(at)
    rates, abundance, notes = {}, {}, []
    for key, entry in written.items():
        if key in HEAD:
            continue
        if not _known(key):
            problems.unknown((key,), key.split("/")[0] if isinstance(key, str) else str(key),
                             [*GROUPS, *HEAD], f"Keys begin with one of: {', '.join(GROUPS)}.")
        elif key.startswith("abundance/"):
            stages = _mapping(entry, (key,), problems)
            abundance[key.split("/", 1)[1]] = {
                stage: _entry(f"{key}/{stage}", one, (key, stage), problems)
                for stage, one in stages.items()
            }
        else:
            rates[key] = _entry(key, entry, (key,), problems)
    problems.raise_any()
    edited = _drop_edited(rates, notes)
    folder = Path(path).parent
    covariance = _covariance(folder, written.get("covariance"), notes).without(edited)
    _refuse_others(covariance, rates, Path(path))
    return Estimates(
        rates=rates,
        abundance=abundance,
        covariance=covariance,
        title=str(written.get("title") or ""),
        species=str(written.get("species") or ""),
        notes=(*(written.get("notes") or ()), *notes),
    )


class _Problems:
    """Collects what is wrong in the file, so that all of it is told at once."""

    def __init__(self, at: Positions):
        self.at = at
        self.form: list[Problem] = []
        self.meaning: list[Problem] = []

    def unknown(self, place: tuple, word: str, allowed, todo: str) -> None:
        nearest = the_nearest_is(word, allowed)
        self.form.append(
            self.at.problem(place, f"unknown key `{place[-1]}`{nearest}", todo, code="unknown-key")
        )

    def wrong_form(self, place: tuple, what: str, todo: str) -> None:
        self.form.append(self.at.problem(place, what, todo, code="not-an-estimate"))

    def impossible(self, place: tuple, what: str, todo: str) -> None:
        self.meaning.append(self.at.problem(place, what, todo, code="impossible-number"))

    def raise_any(self) -> None:
        if self.form:
            raise FormError(self.form)
        if self.meaning:
            raise MeaningError(self.meaning)


def _known(key) -> bool:
    return isinstance(key, str) and key.split("/")[0] in GROUPS


def _mapping(entry, place: tuple, problems: _Problems) -> dict:
    if isinstance(entry, dict):
        return entry
    problems.wrong_form(
        place,
        f"`{place[-1]}` holds {entry!r} where one entry a stage belongs",
        "Write it as `adult: {value: 410, interval: [290, 560]}`.",
    )
    return {}


def _entry(key: str, entry, place: tuple, problems: _Problems) -> Estimate:
    nothing = Estimate(key=key, value=None)
    if isinstance(entry, (int, float)) and not isinstance(entry, bool):
        entry = {"value": entry}
    if not isinstance(entry, dict):
        problems.wrong_form(
            place,
            f"`{place[-1]}` holds {entry!r} where a value belongs",
            "Write it as `{value: 0.95, se: 0.01}`.",
        )
        return nothing
    for name in entry:
        if name not in FIELDS:
            problems.unknown(
                (*place, name), str(name), FIELDS, f"Allowed are: {', '.join(FIELDS)}."
            )
    try:
        estimate = _build(key, entry)
    except (TypeError, ValueError, KeyError) as error:
        problems.wrong_form(
            place,
            f"`{place[-1]}` cannot be read: {error}",
            "Numbers are written as 0.95, an interval as [0.92, 0.97].",
        )
        return nothing
    for what, todo in _impossible(estimate):
        problems.impossible(place, what, todo)
    return estimate


def _number(written) -> float | None:
    if written is None:
        return None
    if isinstance(written, (bool, str)):
        raise ValueError(f"{written!r} is not a number")
    return float(written)


def _build(key: str, entry: dict) -> Estimate:
    interval, link, source = entry.get("interval"), entry.get("link"), entry.get("source")
    if interval is not None:
        low, high = interval
        interval = (_number(low), _number(high))
    if link is not None:
        link = Link(
            _number(link["mean"]), _number(link.get("se", 0.0)), _number(link.get("year_sd")) or 0.0
        )
    if source is not None and not (isinstance(source, dict) and next(iter(source)) in KINDS):
        raise ValueError(f"source is written as one of {', '.join(KINDS)} with a text")
    n = entry.get("n")
    return Estimate(
        key=key,
        value=_number(entry.get("value")),
        se=_number(entry.get("se")),
        interval=interval,
        year_sd=_number(entry.get("year_sd")),
        link=link,
        apparent=_number(entry.get("apparent")),
        n=None if n is None else int(n),
        source=Source.from_written(source),
        note=str(entry.get("note") or ""),
    )


def _impossible(e: Estimate):
    if e.value is not None and e.is_probability and not 0 <= e.value <= 1:
        yield f"`{e.key}` is a chance and cannot be {e.value:g}", "Write a number from 0 to 1."
    if e.value is not None and not e.is_probability and e.value < 0:
        yield f"`{e.key}` cannot be {e.value:g}", "Write a number of at least 0."
    for name, number in (("se", e.se), ("year_sd", e.year_sd)):
        if number is not None and number < 0:
            yield f"{name} of `{e.key}` is {number:g}", "Write a number of at least 0."
    if e.interval is not None:
        low, high = e.interval
        if low > high or (e.value is not None and not low <= e.value <= high):
            yield (
                f"the interval of `{e.key}`, {low:g} to {high:g}, does not hold its value",
                "Correct the value or the interval.",
            )


def _drop_edited(rates: dict[str, Estimate], notes: list[str]) -> set[str]:
    """Drop the link of every rate whose printed numbers no longer follow from it."""
    edited = set()
    for key, estimate in rates.items():
        if estimate.link is None or not estimate.is_probability or _agrees(estimate):
            continue
        edited.add(key)
        rates[key] = Estimate(**{**estimate.__dict__, "link": None})
        notes.append(
            f"{key} was changed by hand: value, se and year_sd as written are used, its link "
            "numbers and its place in the joint covariance are dropped"
        )
    return edited


def _agrees(estimate: Estimate) -> bool:
    expected = natural(estimate.link)
    if estimate.value is None or abs(expected["value"] - estimate.value) > PRINTED_VALUE:
        return False
    for name in ("se", "year_sd"):
        written = getattr(estimate, name)
        room = PRINTED_SPREAD * expected[name] + 1e-9
        if written is not None and abs(expected[name] - written) > room:
            return False
    return True


def _covariance(folder: Path, name, notes: list[str]) -> Covariance:
    if not name:
        return Covariance()
    file = folder / str(name)
    if not file.is_file():
        notes.append(
            f"the joint covariance {str(name)!r} is missing: rates are drawn independently"
        )
        return Covariance()
    import h5netcdf  # two small arrays: opening them by themselves is many times quicker

    try:
        with h5netcdf.File(file, "r") as data:
            keys = tuple(k.decode() if isinstance(k, bytes) else str(k) for k in data["key"][...])
            matrix = np.asarray(data["covariance"][...], float)
    except Exception:  # noqa: BLE001 - a damaged file fails in any part of its reader
        matrix, keys = np.zeros(0), ()
    if not keys or matrix.shape != (len(keys),) * 2 or not np.isfinite(matrix).all():
        raise DataError(Problem(
            f"the joint covariance in {name} cannot be read; the file is damaged",
            "Run `pva estimate` again, or take the line `covariance` out: rates are then drawn "
            "independently.", file=str(file), code="covariance-broken"))
    return Covariance(keys, matrix)


def _refuse_others(covariance: Covariance, rates: dict[str, Estimate], file: Path) -> None:
    """Refuse a covariance whose spreads are not those of the estimates it stands beside."""
    for key, variance in zip(covariance.keys, np.diag(covariance.matrix), strict=True):
        link = rates[key].link if key in rates else None
        if link is None:
            continue
        if abs(math.sqrt(max(variance, 0.0)) - link.se) > PRINTED_SPREAD * link.se + 1e-9:
            raise DataError(Problem(
                f"the joint covariance beside this file gives `{key}` a standard "
                f"error of {math.sqrt(max(variance, 0.0)):.3g} on the link scale, and this file "
                f"{link.se:.3g}",
                "Run `pva estimate` again, or take the line `covariance` out: rates are then drawn "
                "independently.", why="The two files were not written by the same estimation",
                file=str(file), code="covariance-of-others"))
