"""Every key of the written form describes itself, for the reference and for messages."""

from __future__ import annotations

import subprocess
import sys

from pva.scenario.spec import every_key


def test_every_key_has_words_and_a_form():
    keys = every_key()
    assert len(keys) > 140 and len({k.path for k in keys}) == len(keys)
    for key in keys:
        assert key.meaning.endswith(".") and key.form, key.path


def test_optional_top_level_keys_say_their_default():
    silent = {"extends", "estimates", "stages", "survival", "growth", "recruitment", "matrix",
              "start"}
    for key in every_key():
        if "." not in key.path and not key.required and not key.twin_only:
            assert key.default or key.path in silent, key.path


def test_importing_the_package_does_not_import_the_form():
    code = "import sys, pva; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
