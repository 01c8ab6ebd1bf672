"""Where the sites lie, as far as it may be told: coarse unless exact places are asked for.

A place is rounded to the nearest tenth of a degree (about 11 km from north to south), the same for
every record of a site, so that many records together tell no more than one. Names of sites are
places too: they are left out unless asked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pva.field.records import FieldRecords
from pva.field.spec import SiteSpec
from pva.field.study import Study

STEP = 0.1  # degrees
_METRES = 111_700  # longest degree on earth, along a meridian at a pole
COARSE_WORDS = (
    f"Coordinates are rounded to the nearest {STEP:g} degree (about 11 km from north to south); "
    "every record of a site carries the same rounded point.")
EXACT_WORDS = (
    "EXACT PLACES of the sites are in this file, as asked for. Places of rare mussels are kept "
    "secret: taking, poaching and trampling follow. Pass it on only to those who must have it.")
NAMES_WORDS = "Names of sites are left out; sites are numbered in the order of the study."


@dataclass(frozen=True)
class Disclosure:
    """What may leave: everything False by default.

    Parameters
    ----------
    exact_places : bool
        Positions as recorded, instead of coarse ones.
    corners : bool
        Corners of sites (only with exact places).
    site_names : bool
        Names of sites, instead of numbers.
    """

    exact_places: bool = False
    corners: bool = False
    site_names: bool = False

    def words(self) -> list[str]:
        """What is left out or told, in sentences."""
        found = [EXACT_WORDS if self.exact_places else COARSE_WORDS]
        return found + ([] if self.site_names else [NAMES_WORDS])


@dataclass(frozen=True)
class SitePlace:
    """A site as it may be told.

    Parameters
    ----------
    number : int
        Place in the study, from 1.
    label : str
        Its name where that may leave, else "site 1".
    latitude, longitude : float or None
        WGS 84, degrees; None where nothing is known.
    uncertainty_m : int or None
        Radius around the point that holds the site.
    ring : tuple of (longitude, latitude)
        Corners, counter-clockwise, first repeated last; empty where they stay.
    role : str
    area_m2 : float or None
    """

    number: int
    label: str
    latitude: float | None
    longitude: float | None
    uncertainty_m: int | None
    ring: tuple[tuple[float, float], ...]
    role: str
    area_m2: float | None

    @property
    def code(self) -> str:
        """Stable word for ids."""
        return f"site-{self.number}"


def site_places(study: Study, records: FieldRecords | None = None, *,
                disclosed: Disclosure | None = None) -> dict[str, SitePlace]:
    """Every site of a study by its name, as far as it may be told.

    The point of a site is the middle of its corners; without corners, the middle of the positions
    recorded there; without either, there is none.
    """
    disclosed = disclosed or Disclosure()
    seen = _recorded(records)
    found = {}
    for number, site in enumerate([*study.sites, *_unlisted(study, records)], 1):
        points = np.array(site.corners, dtype=float).reshape(-1, 2)
        if not len(points):
            points = seen.get(site.name, points)
        place = (None, None, None)
        if len(points):
            place = _exact(points) if disclosed.exact_places else coarse_place(
                *np.median(points, axis=0), reach_m=_reach(points))
        ring = _ring(site.corners) if disclosed.exact_places and disclosed.corners else ()
        found[site.name] = SitePlace(number, site.name if disclosed.site_names else
                                     f"site {number}", *place, ring, site.role, site.area_m2)
    return found


def _unlisted(study: Study, records: FieldRecords | None) -> list[SiteSpec]:
    """Sites that only the tables name."""
    if records is None:
        return []
    tables = (records.visits, records.encounters, records.units)
    named = {name for table in tables for name in table["site"].dropna()}
    return [SiteSpec(name=name) for name in sorted(named - {s.name for s in study.sites})]


def _recorded(records: FieldRecords | None) -> Mapping[str, np.ndarray]:
    if records is None:
        return {}
    placed = records.encounters.dropna(subset=["latitude", "longitude"])
    return {site: rows[["latitude", "longitude"]].to_numpy(float)
            for site, rows in placed.groupby("site")}


def coarse_place(latitude: float, longitude: float, *, reach_m: float = 0.0
                 ) -> tuple[float, float, int]:
    """A point rounded to `STEP`, and the radius in m within which the true place surely lies."""
    rounded = [round(round(v / STEP) * STEP, 6) + 0.0 for v in (latitude, longitude)]
    half = STEP / 2 * _METRES
    nearer_equator = max(abs(rounded[0]) - STEP / 2, 0.0)
    radius = math.hypot(half, half * math.cos(math.radians(nearer_equator))) + reach_m
    return rounded[0], rounded[1], 100 * math.ceil(radius / 100)


def _exact(points: np.ndarray) -> tuple[float, float, int]:
    latitude, longitude = (float(v) for v in np.median(points, axis=0))
    return latitude, longitude, max(1, math.ceil(_reach(points)))


def _reach(points: np.ndarray) -> float:
    """Distance in m from the middle to the farthest point."""
    away = (points - np.median(points, axis=0)) * _METRES
    away[:, 1] *= np.cos(np.radians(points[:, 0]))
    return float(np.hypot(away[:, 0], away[:, 1]).max())


def _ring(corners: list[list[float]]) -> tuple[tuple[float, float], ...]:
    """Corners as a closed ring, counter-clockwise; empty with fewer than three."""
    if len(corners) < 3:
        return ()
    ring = [(longitude, latitude) for latitude, longitude in corners]
    ring = ring[:-1] if ring[0] == ring[-1] else ring
    turn = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1], strict=True))
    ring = ring if turn > 0 else ring[::-1]
    return (*ring, ring[0])
