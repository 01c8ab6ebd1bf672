"""Sampling events: surveys with their transects and units, visits with their days."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

import pandas as pd

from pva.field.records import FieldRecords
from pva.report.exports.places import Disclosure, SitePlace

SQUARE_METRE, DATUM = "square metre", "EPSG:4326"
NO_SITE = SitePlace(0, "site not known", None, None, None, (), "", None)
WITHHELD = ("Names of people, remarks and tag numbers (organismID is a code that is the same for "
            "the same animal).")


def id_part(text: object) -> str:
    """Text as a part of an id; where signs had to be replaced, a short digest keeps it apart."""
    text = str(text)
    plain = re.sub(r"[^A-Za-z0-9._]+", "-", text).strip("-")
    if plain == text:
        return plain
    return f"{plain}-{hashlib.sha256(text.encode('utf-8')).hexdigest()[:6]}".lstrip("-")


def survey_id(site: SitePlace, survey: object) -> str:
    """Id of a survey of a site."""
    return f"survey:{id_part(survey)}:{site.code}"


def unit_id(site: SitePlace, survey: object, unit: object) -> str:
    """Id of a unit; it names no transect, so that a transect put right does not change it."""
    return f"{survey_id(site, survey)}:unit:{id_part(unit)}"


def visit_id(site: SitePlace, visit: object) -> str:
    """Id of a visit to a site."""
    return f"visit:{id_part(visit)}:{site.code}"


def day_id(site: SitePlace, visit: object, date) -> str:
    """Id of a day of a visit; the visit itself where the day is not known."""
    visited = visit_id(site, visit)
    return visited if pd.isna(date) else f"{visited}:{date:%Y-%m-%d}"


class Events:
    """Events of a study in the order parent before child.

    Parameters
    ----------
    places : mapping of site name to SitePlace
    disclosed : Disclosure
    """

    def __init__(self, places: Mapping[str, SitePlace], disclosed: Disclosure):
        self.places, self.rows = places, {}
        said = disclosed.words()
        self._where = {"dataGeneralizations": "" if disclosed.exact_places else said[0],
                       "informationWithheld": " ".join([WITHHELD, *said[1:]])}

    def site(self, name: str | None) -> SitePlace:
        """A site by its name; one apart for rows that name none."""
        return self.places.get(name) or NO_SITE

    def add(self, key: str, site: SitePlace, kind: str, *, parent: str = "", date: str = "",
            **terms) -> str:
        """Enter an event once; its place is that of its site."""
        if key not in self.rows:
            known = site.latitude is not None
            self.rows[key] = {
                "eventID": key, "parentEventID": parent, "eventType": kind, "eventDate": date,
                "locationID": site.code, "locality": site.label,
                "decimalLatitude": site.latitude, "decimalLongitude": site.longitude,
                "geodeticDatum": DATUM if known else None,
                "coordinateUncertaintyInMeters": site.uncertainty_m, **self._where, **terms}
        return key


def add_surveys(events: Events, records: FieldRecords) -> None:
    """Survey, transect and unit of every unit dug."""
    for (survey, name), units in _groups(records.units, "survey"):
        site = events.site(name)
        top = events.add(survey_id(site, survey), site, "Survey", date=_days(units["date"]),
                         samplingProtocol="quadrats", samplingEffort=f"{len(units)} units",
                         sampleSizeValue=_sum(units["area_m2"]), sampleSizeUnit=SQUARE_METRE)
        for transect, some in units.groupby(units["transect"].fillna("").astype(str), sort=False):
            parent = top
            if transect:
                parent = events.add(
                    f"{top}:transect:{id_part(transect)}", site, "Transect", parent=top,
                    date=_days(some["date"]), samplingProtocol="quadrats along a transect",
                    samplingEffort=f"{len(some)} units", sampleSizeValue=_sum(some["area_m2"]),
                    sampleSizeUnit=SQUARE_METRE)
            for one in some.itertuples():
                events.add(unit_id(site, survey, one.unit), site, "Unit", parent=parent,
                           date=_days(pd.Series([one.date])), samplingProtocol=_unit_words(one),
                           sampleSizeValue=_sum(pd.Series([one.area_m2])),
                           sampleSizeUnit=SQUARE_METRE)


def add_visits(events: Events, records: FieldRecords) -> None:
    """Visits, and the days of them on which something was recorded."""
    for one in records.visits.itertuples():
        site = events.site(one.site)
        area = _sum(pd.Series([one.area_m2]))
        events.add(visit_id(site, one.visit), site, "Visit",
                   date=_days(pd.Series([one.first_date, one.last_date])),
                   samplingProtocol=one.method or "search", samplingEffort=_effort(one),
                   sampleSizeValue=area, sampleSizeUnit=None if area is None else SQUARE_METRE)
    for (visit, name), seen in _groups(records.encounters, "visit"):
        site = events.site(name)
        top = events.add(visit_id(site, visit), site, "Visit", date=_days(seen["date"]))
        for date in sorted(seen["date"].dropna().unique()):
            events.add(day_id(site, visit, date), site, "Day", parent=top,
                       date=_days(pd.Series([date])),
                       samplingProtocol=events.rows[top].get("samplingProtocol"))


def _groups(frame: pd.DataFrame, kind: str):
    """Rows of every survey or visit of a site, in the order of the table."""
    return frame.groupby([kind, "site"], sort=False, dropna=False)


def _unit_words(unit) -> str:
    if unit.excavated is False:
        return "quadrat, surface only"
    dug = "quadrat, excavated" if unit.excavated else "quadrat"
    depth = "" if pd.isna(unit.depth_cm) else f" to {unit.depth_cm:g} cm"
    sieve = "" if pd.isna(unit.sieve_mm) else f", sieve of {unit.sieve_mm:g} mm"
    return f"{dug}{depth}{sieve}"


def _effort(visit) -> str:
    parts = [] if pd.isna(visit.effort_hours) else [f"{visit.effort_hours:g} hours"]
    if not pd.isna(visit.passes):
        parts.append(f"{visit.passes:g} pass{'es' * (visit.passes != 1)}")
    return "; ".join(parts)


def _days(dates: pd.Series) -> str:
    """A day or an interval as ISO 8601, empty where none is known."""
    known = pd.to_datetime(dates.dropna())
    if not len(known):
        return ""
    first, last = known.min().date().isoformat(), known.max().date().isoformat()
    return first if first == last else f"{first}/{last}"


def _sum(areas: pd.Series) -> float | None:
    return None if areas.isna().any() else round(float(areas.sum()), 6)
