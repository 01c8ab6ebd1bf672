"""The documentation as a site: no warning, each page in one group, nothing fetched elsewhere."""

from __future__ import annotations

import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from page_blocks import DOCS, PAGES, TOP, script

pytest.importorskip("sphinx", reason="the extra `docs` is not installed")
pytest.importorskip("myst_parser", reason="the extra `docs` is not installed")
# attributes by which a page makes a browser fetch something
FETCHED = {("script", "src"), ("img", "src"), ("iframe", "src"), ("source", "src"),
           ("video", "src"), ("audio", "src"), ("embed", "src"), ("object", "data"),
           ("link", "href"), ("form", "action"), ("use", "href")}


def built(folder: Path, top: Path = TOP) -> subprocess.CompletedProcess:
    """The one command of docs/conf.py, into a folder."""
    return subprocess.run([sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-c",
                           str(top / "docs"), str(top), str(folder)],
                          capture_output=True, text=True, timeout=300)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("a site") / "docs site"
    done = built(folder)
    assert done.returncode == 0, done.stderr
    assert not done.stderr.strip()
    return folder


class Fetches(HTMLParser):
    """Collects what a page would fetch, and its links."""

    def __init__(self):
        super().__init__()
        self.fetched: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag, attrs):
        for name, value in attrs:
            if (tag, name) in FETCHED and value:
                self.fetched.append(value)
            if (tag, name) == ("a", "href") and value:
                self.links.append(value)
            if name == "style" and value and "url(" in value:
                self.fetched.append(value)


def elsewhere(address: str) -> bool:
    return bool(re.match(r"(?:[a-z][a-z0-9+.-]*:)?//|(?:https?|ftp|data|file):", address.strip()))


def foreign(page: Path) -> list[str]:
    """Addresses outside the site that a page fetches or links to."""
    text = page.read_text(encoding="utf-8")
    reader = Fetches()
    reader.feed(text)
    in_styles = re.findall(r"(?:url\(|@import)\s*[\"']?([^\"')\s;]+)", text)
    return [a for a in [*reader.fetched, *reader.links, *in_styles] if elsewhere(a)]


def test_nothing_is_fetched_from_elsewhere(site):
    pages = sorted(site.rglob("*.html"))
    assert len(pages) > len(PAGES)
    assert {page.name: foreign(page) for page in pages if foreign(page)} == {}
    for style in site.rglob("*.css"):
        found = re.findall(r"(?:url\(|@import)\s*[\"']?([^\"')\s;]+)",
                           style.read_text(encoding="utf-8"))
        assert not [a for a in found if elsewhere(a) and not a.startswith("data:")], style.name
    for code in site.rglob("*.js"):
        text = code.read_text(encoding="utf-8")
        asked = re.search(r"(?:fetch|open|import|src\s*=)\s*\(?\s*[\"'`]https?:", text)
        assert not asked, code.name


def test_a_page_that_fetches_is_found_out(tmp_path):
    page = tmp_path / "page.html"
    page.write_text('<script src="//elsewhere.example/a.js"></script><link href="own.css">'
                    '<style>@import "https://elsewhere.example/b.css";</style>', encoding="utf-8")
    assert foreign(page) == ["//elsewhere.example/a.js", "https://elsewhere.example/b.css"]


def test_every_link_leads_to_a_page_of_the_site(site):
    for page in site.rglob("*.html"):
        reader = Fetches()
        reader.feed(page.read_text(encoding="utf-8"))
        for link in [*reader.fetched, *reader.links]:
            file = re.split(r"[#?]", link)[0]
            assert not file or (page.parent / file).exists(), f"{page.name}: {link}"


def test_groups_hold_every_page_once_and_the_site_shows_them(site):
    made = script("site_pages")
    groups = made.grouped()
    listed = [page for pages in groups.values() for page in pages]
    on_disk = [str(p.relative_to(DOCS).with_suffix("")) for p in DOCS.rglob("*.md")]
    assert sorted(listed) == sorted({*on_disk, "../README", "../DEVELOPERS"} - {"index"})
    shown = (site / "docs" / "index.html").read_text(encoding="utf-8")
    assert re.findall(r'class="caption"[^>]*><span class="caption-text">([^<]+)', shown) == list(
        groups)
    assert 'url=docs/index.html' in (site / "index.html").read_text(encoding="utf-8")


def test_a_broken_link_stops_the_build(tmp_path):
    docs = tmp_path / "docs"
    docs.mkdir()
    for name in ("conf.py", "site_pages.py"):
        (docs / name).write_text((DOCS / name).read_text(encoding="utf-8"), encoding="utf-8")
    for name in ("site_static", "site_templates"):
        (docs / name).mkdir()
    (docs / "site_static/plain.css").write_text("", encoding="utf-8")
    (docs / "site_templates/begin.html").write_text("", encoding="utf-8")
    for name in ("README.md", "DEVELOPERS.md"):
        (tmp_path / name).write_text("# Page\n", encoding="utf-8")
    (docs / "index.md").write_text("# Index\n\n[to nowhere](no-such-page.md)\n", encoding="utf-8")
    done = built(tmp_path / "build", tmp_path)
    assert done.returncode != 0 and "no-such-page.md" in done.stderr
