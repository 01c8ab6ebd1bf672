"""Looks for places in files of every kind: two numbers side by side close to a known place."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import numpy as np
import xarray as xr

NEAR = 0.01  # degrees, about one kilometre
APART = 40  # characters between the two numbers
_NUMBER = re.compile(r"(?<![\w.])\d{1,3}\.\d{2,}(?!\w|\.\d)")
_TURNED = re.compile(r"(?<![\w.])(\d{1,3})[°º]\s*(\d{1,2}(?:\.\d+)?)['′]")


def holds_place(file: Path, places: list[tuple[float, float]]) -> bool:
    """Whether a file tells any of the places (latitude, longitude) more exactly than `NEAR`."""
    content = file.read_bytes()
    if file.suffix == ".nc":
        return _in_dataset(file, places)
    if zipfile.is_zipfile(io.BytesIO(content)):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return any(text_holds_place(_plain(archive.read(n)), places)
                       for n in archive.namelist())
    if file.suffix == ".png":
        return text_holds_place(content.decode("latin-1"), places)
    return text_holds_place(_plain(content), places)


def text_holds_place(text: str, places: list[tuple[float, float]]) -> bool:
    """Whether two numbers that stand close together are a place, in either order and any sign."""
    numbers = [(m.start(), m.end(), int(m[1]) + float(m[2]) / 60) for m in _TURNED.finditer(text)]
    text = _TURNED.sub(lambda m: " " * len(m[0]), text)
    numbers += [(m.start(), m.end(), float(m[0])) for m in _NUMBER.finditer(text)]
    numbers.sort()
    known = np.abs(np.array(places))
    for (_, end, a), (start, _, b) in zip(numbers, numbers[1:], strict=False):
        if start - end <= APART and (_near(known, a, b) or _near(known, b, a)):
            return True
    return False


def _near(known, latitude, longitude) -> bool:
    here = (latitude, longitude)
    if (known.min(axis=0) - NEAR > here).any() or (known.max(axis=0) + NEAR < here).any():
        return False
    return bool((np.abs(known - here).max(axis=1) < NEAR).any())


def _plain(content: bytes) -> str:
    """Text without the tags between its cells."""
    return re.sub(r"<[^<>]*>", " ", content.decode("utf-8", errors="replace"))


def _in_dataset(file: Path, places) -> bool:
    with xr.open_dataset(file) as data:
        texts = [str(data.attrs), *(str(v.attrs) for v in data.variables.values())]
        columns = [np.ravel(v.values) for v in data.variables.values()]
        texts += [" ".join(map(str, c)) for c in columns if c.dtype.kind in "OSU"]
        numbers = [c.astype(float) for c in columns if c.dtype.kind == "f"]
    exact = [all(any(np.isclose(np.abs(c), abs(v), rtol=0, atol=1e-7).any() for c in numbers)
                 for v in place) for place in places]
    return any(exact) or any(text_holds_place(text, places) for text in texts)


def places_of_study(study, records) -> list[tuple[float, float]]:
    """Corners of its sites and positions of its encounters."""
    corners = [tuple(c) for site in study.sites for c in site.corners]
    seen = records.encounters[["latitude", "longitude"]].dropna()
    return list(dict.fromkeys([*corners, *map(tuple, seen.to_numpy(float))]))
