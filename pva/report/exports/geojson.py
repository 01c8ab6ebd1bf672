"""Sites as GeoJSON (RFC 7946: WGS 84, longitude before latitude)."""

from __future__ import annotations

from collections.abc import Mapping

from pva.report.exports.places import Disclosure, SitePlace

FILE = "sites.geojson"


def sites_geojson(places: Mapping[str, SitePlace], *, disclosed: Disclosure, title: str = ""
                  ) -> dict:
    """A FeatureCollection with one feature a site; geometry null where no place is known."""
    found: dict = {"type": "FeatureCollection"}
    if title:
        found["title"] = title
    found["notes"] = disclosed.words()
    found["features"] = [_feature(place, disclosed) for place in places.values()]
    return found


def _feature(place: SitePlace, disclosed: Disclosure) -> dict:
    geometry = None
    if place.ring:
        geometry = {"type": "Polygon", "coordinates": [[list(point) for point in place.ring]]}
    elif place.latitude is not None:
        geometry = {"type": "Point", "coordinates": [place.longitude, place.latitude]}
    return {
        "type": "Feature", "id": place.code, "geometry": geometry,
        "properties": {
            "site": place.label, "role": place.role, "area_m2": place.area_m2,
            "coordinate_uncertainty_m": place.uncertainty_m,
            "coordinates": None if geometry is None else
            "exact" if disclosed.exact_places else "coarse"}}
