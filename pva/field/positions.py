"""Latitude and longitude of encounters: swapped, missing a sign, or far from the site."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from pva.field.cells import TableReader
from pva.field.columns import numbers

# datums that agree with WGS 84 to about two metres (common practice, from memory)
SAME_DATUM = {"wgs84", "wgs1984", "nad83", "nad1983", "etrs89", "etrs1989", "epsg4326", "gps"}
_ANGLE = re.compile(
    r"(?P<before>[NSEW])? ?(?P<sign>-)?(?P<degrees>\d{1,3}(?:\.\d+)?)"
    r"(?: ?[°º :] ?(?P<minutes>\d{1,2}(?:\.\d+)?)"
    r"(?: ?['′’ :] ?(?P<seconds>\d{1,2}(?:\.\d+)?))?)? ?[°º'′’\"″”]{0,2} ?(?P<after>[NSEW])?")
EARTH_RADIUS_KM = 6371.0
FAR_FROM_SITE_KM = 5.0
FAR_FROM_OTHERS_KM = 100.0


def check_positions(reader: TableReader, sites: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Positions in decimal degrees; NaN where absent or doubtful (then the row is flagged).

    A position is compared with the corners of its site, or, where the study gives none, with the
    middle of the other positions of the table.
    """
    latitude, longitude = (_degrees(reader, name) for name in ("latitude", "longitude"))
    _other_datum(reader, latitude, longitude)
    rows = reader.rows(latitude.notna() | longitude.notna())
    if not rows:
        return latitude, longitude
    middles = _site_middles(reader)
    others = _table_middle(latitude, longitude)
    judged: dict[tuple, tuple[str, dict]] = {}
    for row, *key in zip(rows, sites[rows], latitude[rows], longitude[rows], strict=True):
        key = tuple(key)
        if key not in judged:
            middle, far = middles.get(key[0], (others, FAR_FROM_OTHERS_KM))
            judged[key] = judge_position(*key[1:], middle, far)
        code, words = judged[key]
        if not code:
            continue
        words = words | {"site": sites[row] or "the other positions"} if words else {}
        reader.ledger.flag(code, row, "latitude", **words)
        if code != "position-far" or row not in reader.ledger.accepted:
            latitude[row] = longitude[row] = np.nan
    return latitude, longitude


def _degrees(reader: TableReader, name: str) -> pd.Series:
    """Decimal degrees of a column; infinite where the text is no angle."""
    found = numbers(reader.frame[name], reader.table, reader.spec, name)
    for row in reader.rows(np.isinf(found)):
        found[row] = angle(reader.frame.at[row, name])
    return found


def angle(text: str) -> float:
    """Degrees, minutes and seconds, or degrees with N, S, E or W; infinite for anything else."""
    found = _ANGLE.fullmatch(text.strip().upper().replace(",", "."))
    if not found or (found["before"] and found["after"]):
        return float("inf")
    sign, degrees, minutes, seconds = (found[k] for k in ("sign", "degrees", "minutes", "seconds"))
    if float(minutes or 0) >= 60 or float(seconds or 0) >= 60:
        return float("inf")
    size = float(degrees) + float(minutes or 0) / 60 + float(seconds or 0) / 3600
    half = found["before"] or found["after"]
    return -size if sign == "-" or half in ("S", "W") else size


def _other_datum(reader: TableReader, latitude: pd.Series, longitude: pd.Series) -> None:
    """Positions of another datum lie off the rest, by metres to hundreds of metres."""
    datum = reader.frame["datum"]
    told = latitude.notna() | longitude.notna()
    other = {t for t in pd.unique(datum[told]) if t and _plain(t) not in SAME_DATUM}
    for row in reader.rows(datum.isin(list(other)) & told):
        reader.ledger.flag("position-datum", row, "datum")
        latitude[row] = longitude[row] = np.nan


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.casefold())


def judge_position(latitude: float, longitude: float, middle: tuple[float, float] | None,
                   far_km: float) -> tuple[str, dict]:
    """Reason code ("" when sound) and words for its sentence."""
    if np.isnan(latitude) or np.isnan(longitude):
        return "position-half", {}
    if not _on_earth(latitude, longitude):
        if np.isfinite(latitude) and np.isfinite(longitude) and _on_earth(longitude, latitude):
            return "position-swapped", {}
        return "position-unreadable", {}
    if middle is None:
        return "", {}
    distance = _distance_km((latitude, longitude), middle)
    if distance <= far_km:
        return "", {}
    if _on_earth(longitude, latitude) and _distance_km((longitude, latitude), middle) <= far_km:
        return "position-swapped", {}
    for signs in ((1, -1), (-1, 1), (-1, -1)):
        turned = (latitude * signs[0], longitude * signs[1])
        if _distance_km(turned, middle) <= far_km:
            return "position-sign", {}
    return "position-far", {"distance": f"{distance:,.0f}"}


def _on_earth(latitude: float, longitude: float) -> bool:
    return abs(latitude) <= 90 and abs(longitude) <= 180


def _distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    a, b = np.radians(one), np.radians(other)
    half = (np.sin((b[0] - a[0]) / 2) ** 2
            + np.cos(a[0]) * np.cos(b[0]) * np.sin((b[1] - a[1]) / 2) ** 2)
    return float(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(half)))


def _site_middles(reader: TableReader) -> dict[str, tuple[tuple[float, float], float]]:
    """Middle of each site with corners, and the distance from it that still belongs to the site."""
    middles = {}
    for site in reader.study.sites:
        if site.corners:
            middle = tuple(np.mean(site.corners, axis=0))
            reach = max(_distance_km(tuple(corner), middle) for corner in site.corners)
            middles[site.name] = (middle, reach + FAR_FROM_SITE_KM)
    return middles


def _table_middle(latitude: pd.Series, longitude: pd.Series) -> tuple[float, float] | None:
    sound = [(a, b) for a, b in zip(latitude, longitude, strict=True) if _on_earth(a, b)]
    return tuple(np.median(sound, axis=0)) if len(sound) >= 5 else None
