"""How the documentation becomes a site that opens from disk and asks nothing of the network.

From the top of the project, with the extra `docs` installed:
``sphinx-build -W -c docs . build/docs``. The pages stay plain Markdown; which page stands in which
group is said in site_pages.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).resolve().parent
sys.path.insert(0, str(DOCS))
from site_pages import contents  # noqa: E402

project = "pva"
extensions = ["myst_parser"]
root_doc = "docs/index"
include_patterns = ["README.md", "DEVELOPERS.md", "docs/*.md", "docs/questions/*.md"]
exclude_patterns = ["build", ".venv*", "pva", "tests", "scenarios", "shared", ".*"]
myst_heading_anchors = 4  # pages link to headings as any viewer of Markdown names them
pygments_style = "bw"

html_theme = "alabaster"
html_title = "pva: freshwater-mussel restoration, from field records to decisions"
html_static_path = ["site_static"]
templates_path = ["site_templates"]
html_css_files = ["plain.css"]
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_theme_options = {
    "description": "Freshwater-mussel restoration, from field records to decisions",
    "fixed_sidebar": False, "show_powered_by": False, "github_button": False,
    "font_family": "Georgia, serif", "head_font_family": "Georgia, serif",
    "font_size": "16px", "page_width": "70rem", "sidebar_width": "17rem",
}
html_additional_pages = {"index": "begin.html"}
html_show_sphinx = False
html_show_copyright = False
html_copy_source = False
html_use_index = False


def setup(app) -> None:
    """Puts the list of groups under the page that everything begins with."""
    app.connect("source-read", _add_contents)


def _add_contents(app, name: str, source: list[str]) -> None:
    if name == root_doc:
        source[0] += "\n\n" + contents()
