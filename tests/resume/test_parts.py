"""Kept parts come back to the last bit, or count as not there; equal content has an equal name."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np
import pytest

from pva.errors import PvaError
from pva.files.content import content_digest
from pva.files.parts import KeptParts, packed, unpacked

NAME = "ab" * 32
VALUE = {
    "counts": np.arange(12, dtype=np.int64).reshape(3, 4), "none": None, "text": "Wehr-Müller",
    "list": [1, 2.5, True, [np.array([np.nan, -0.0, np.inf])], {}], "met": np.array([True, False]),
    "small": 5e-324, "array": {"array": 3, "mapping": 1}, "empty": np.zeros((0, 5)),
}


def same(a, b):
    if isinstance(a, dict):
        return list(a) == list(b) and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and a.shape == b.shape and a.tobytes() == b.tobytes()
    return type(a) is type(b) and a == b


def test_a_part_comes_back_to_the_last_bit(tmp_path):
    kept = KeptParts(tmp_path / "kept")
    kept.write(NAME, VALUE)
    assert same(VALUE, kept.read(NAME))
    assert kept.read("cd" * 32) is None and kept.damaged == 0
    assert [f.name for f in (tmp_path / "kept").iterdir()] == [f"{NAME}.part"]


def test_every_kind_of_damage_is_found():
    content = packed(NAME, VALUE)
    assert same(VALUE, unpacked(NAME, content))
    luck = np.random.default_rng(5)
    for at in [0, 11, 40, 75, 76, len(content) - 1, *luck.integers(0, len(content), 200)]:
        changed = bytearray(content)
        changed[at] ^= 1 << int(luck.integers(0, 8))
        with pytest.raises(ValueError, match="not the part that was written"):
            unpacked(NAME, bytes(changed))
    for length in (0, 5, 76, len(content) // 2, len(content) - 1):
        with pytest.raises(ValueError, match="not the part that was written"):
            unpacked(NAME, content[:length])
    with pytest.raises(ValueError, match="not the part that was written"):
        unpacked("cd" * 32, content)  # the file of another task


def test_a_damaged_file_is_removed_and_counted(tmp_path):
    kept = KeptParts(tmp_path)
    kept.write(NAME, VALUE)
    file = tmp_path / f"{NAME}.part"
    file.write_bytes(file.read_bytes()[:-3])
    assert kept.read(NAME) is None
    assert kept.damaged == 1 and not file.exists()


def test_the_folder_stays_below_its_bound_and_what_was_used_last_stays(tmp_path):
    part = np.random.default_rng(1).random(2000)
    size = len(packed("n00", part))
    kept = KeptParts(tmp_path, most_bytes=10 * size)
    for i in range(9):
        kept.write(f"n{i:02d}", part)
        os.utime(tmp_path / f"n{i:02d}.part", (i + 1, i + 1))
    assert kept.read("n00") is not None  # now the one used last
    for i in range(9, 30):
        kept.write(f"n{i:02d}", part)
        assert sum(f.stat().st_size for f in tmp_path.iterdir()) <= 10 * size
        assert i > 11 or (tmp_path / "n00.part").exists()
    assert not (tmp_path / "n01.part").exists() and (tmp_path / "n29.part").exists()
    again = KeptParts(tmp_path, most_bytes=10 * size)
    there = len(list(tmp_path.iterdir()))
    assert len(again) == again.clear() == there > 5
    assert len(again) == 0 and list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_the_folder_is_told(tmp_path):
    (tmp_path / "kept").write_text("mine")
    with pytest.raises(PvaError, match="in each other's way"):
        KeptParts(tmp_path / "kept").write(NAME, VALUE)
    assert (tmp_path / "kept").read_text() == "mine"


@dataclass(frozen=True)
class Rate:
    value: float
    name: str = "survival"


def test_content_is_named_by_every_bit_of_it():
    things = [
        None, True, 1, 1.0, "1", "", [], [[]], {}, [1, 2], [[1], 2], ["ab", "c"], ["a", "bc"],
        0.0, -0.0, np.nextafter(1.0, 2.0), float("nan"), {"a": 1}, {"a": 1.0}, {"b": 1},
        {"a": 1, "b": 2}, {"b": 2, "a": 1}, np.array([1, 2]), np.array([1.0, 2.0]),
        np.array([[1, 2]]), np.array([1, 2], dtype=np.int32), Rate(0.9), Rate(0.9, "growth"),
        Rate(np.nextafter(0.9, 1)), replace(Rate(0.9), value=1),
    ]
    names = [content_digest(t) for t in things]
    assert len(set(names)) == len(things)
    assert names == [content_digest(t) for t in things]
    assert content_digest((1, 2)) == content_digest([1, 2])
    turned = np.arange(6).reshape(2, 3)
    assert content_digest(turned.T) == content_digest(np.ascontiguousarray(turned.T))
    # the same on every machine and in every run
    assert content_digest(["a", 1, 0.5]).startswith("637d7e8e94e29d2f")


def test_content_that_nobody_can_compare_is_refused():
    for thing in (object(), {1, 2}, lambda: 0, np.array([object()]), [1, {"a": object}]):
        with pytest.raises(TypeError):
            content_digest(thing)
