"""Whether a path leads to an ordinary file of a size that can be read: asked before it is opened.

A pipe would be waited for without end, and a device never ends.
"""

from __future__ import annotations

import stat
from pathlib import Path

from pva.errors import Problem
from pva.files.near_names import ALIKE_FILES, near_name

MOST_FOLDERS = 200
NO_ORDINARY_FILE = "this is a pipe or a device, not a file"


def why_unreadable(path: Path, *, most_bytes: int, folder_todo: str, size_todo: str
                   ) -> Problem | None:
    """What stands against reading a file, or None.

    Parameters
    ----------
    path : Path
    most_bytes : int
        Largest size that is read.
    folder_todo, size_todo : str
        What to do where it is a folder, and where it is too large.
    """
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            return _problem(path, "this is a folder, not a file", folder_todo, "is-a-folder")
        if not stat.S_ISREG(state.st_mode):
            return _problem(path, NO_ORDINARY_FILE, "Save its content as a file, and name that.",
                            "not-a-file")
        with path.open("rb"):
            pass
    except FileNotFoundError:
        return _problem(path, "there is no such file", _where_else(path), "file-missing")
    except PermissionError:
        return _problem(path, "the file may not be read: another program holds it, or you have no "
                        "permission", "Close it there, or ask for permission.", "file-unreadable")
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or "no file can have this name"
        return _problem(path, f"the file cannot be read: {said}",
                        "Check its name and permissions.", "file-unreadable")
    if state.st_size > most_bytes:
        return _problem(path, f"the file has {state.st_size:,} bytes; at most {most_bytes:,} are "
                        "read", size_todo, "file-too-large")
    return None


def _where_else(path: Path) -> str:
    """Advice for a file that is not there: the same name one folder off, else a name like it."""
    folder = path.parent
    if not folder.is_dir():
        return f"There is no folder `{folder}` here: check its name, and the folder you are in."
    inside = sorted(one for one in folder.iterdir() if one.is_dir())[:MOST_FOLDERS]
    for one in [*inside, folder.parent]:
        if (one / path.name).is_file():
            return f"Did you mean `{one / path.name}`?"
    near = near_name(path.name, [one.name for one in folder.iterdir() if one.is_file()],
                     alike=ALIKE_FILES)
    return f"Did you mean `{folder / near}`?" if near else "Check the name and the folder."


def _problem(path: Path, what: str, todo: str, code: str) -> Problem:
    return Problem(what, todo, file=str(path), code=code)
