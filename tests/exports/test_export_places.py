"""Sites as GeoJSON: coarse unless asked for, and the true place always within the radius told."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pva.report.exports.geojson import sites_geojson
from pva.report.exports.places import (
    STEP,
    Disclosure,
    SitePlace,
    coarse_place,
    site_places,
)


def metres(a, b):
    """Great-circle distance on a sphere of the earth's mean radius, 6,371 km."""
    (p, m), (q, n) = (map(math.radians, place) for place in (a, b))
    h = math.sin((q - p) / 2) ** 2 + math.cos(p) * math.cos(q) * math.sin((n - m) / 2) ** 2
    return 2 * 6_371_000 * math.asin(math.sqrt(h))


@settings(max_examples=300, deadline=None)
@given(st.floats(-89.9, 89.9), st.floats(-179.9, 179.9))
def test_the_radius_holds_the_true_place_and_hides_it(latitude, longitude):
    lat, lon, radius = coarse_place(latitude, longitude)
    assert metres((latitude, longitude), (lat, lon)) <= radius < 8000.5
    assert radius >= 5500  # never less than half a tenth of a degree of latitude
    assert (lat / STEP, lon / STEP) == pytest.approx((round(lat / STEP), round(lon / STEP)))


@given(st.floats(44.051, 44.149), st.floats(-85.149, -85.051))
def test_all_places_of_a_cell_become_the_same_point(latitude, longitude):
    assert coarse_place(latitude, longitude)[:2] == (44.1, -85.1)


def test_default_tells_neither_exact_places_nor_corners_nor_names(small):
    study, records = small
    found = sites_geojson(site_places(study, records), disclosed=Disclosure())
    assert [f["geometry"] for f in found["features"]] == [
        {"type": "Point", "coordinates": [-3.3, 0.5]}, None]
    text = json.dumps(found)
    for secret in ("Quillstone", "Tallow", "Secret River", "0.453", "0.454", "3.26"):
        assert secret not in text
    assert found["features"][0]["properties"] == {
        "site": "site 1", "role": "restoration", "area_m2": None,
        "coordinate_uncertainty_m": 8000, "coordinates": "coarse"}
    assert "rounded to the nearest 0.1 degree" in found["notes"][0]


def test_exact_places_are_the_middle_of_the_corners_and_say_so_aloud(small):
    study, records = small
    disclosed = Disclosure(exact_places=True, site_names=True)
    found = sites_geojson(site_places(study, records, disclosed=disclosed), disclosed=disclosed)
    first = found["features"][0]
    assert first["geometry"]["coordinates"] == pytest.approx([-3.2675, 0.4535])
    assert first["properties"]["site"] == "Quillstone Riffle"
    # half the diagonal of a box of 0.001 degrees, about 79 m
    assert first["properties"]["coordinate_uncertainty_m"] == 79
    assert found["notes"][0].startswith("EXACT PLACES")


def test_corners_make_a_closed_ring_turning_left_only_when_asked(small):
    study, _ = small
    corners = [[0.45, -3.27], [0.46, -3.27], [0.46, -3.26], [0.45, -3.26]]
    site = study.sites[0].model_copy(update={"corners": corners})
    spec = study.spec.model_copy(update={"sites": [site]})
    other = type(study)(study.path, spec, study.positions)
    for disclosed, kind in ((Disclosure(), "Point"), (Disclosure(exact_places=True), "Point"),
                            (Disclosure(corners=True), "Point"),
                            (Disclosure(exact_places=True, corners=True), "Polygon")):
        found = sites_geojson(site_places(other, disclosed=disclosed), disclosed=disclosed)
        geometry = found["features"][0]["geometry"]
        assert geometry["type"] == kind
    ring, = geometry["coordinates"]
    assert ring[0] == ring[-1] and len(ring) == 5
    assert sorted(ring[:-1]) == sorted([b, a] for a, b in corners)
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:], strict=False)) / 2
    assert area == pytest.approx(1e-4)  # positive: counter-clockwise, as RFC 7946 asks


def test_a_site_without_corners_stands_where_its_records_lie(small):
    study, records = small
    spec = study.spec.model_copy(update={"sites": [s.model_copy(update={"corners": []})
                                                   for s in study.sites]})
    other = type(study)(study.path, spec, study.positions)
    place = site_places(other, records)["Quillstone Riffle"]
    assert (place.latitude, place.longitude) == (0.5, -3.3)
    assert isinstance(place, SitePlace) and place.code == "site-1"
