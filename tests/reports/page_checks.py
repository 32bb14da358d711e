"""What every page must keep: strict HTML, and what assistive programs need to make sense of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from xml.etree.ElementTree import Element

import pytest

LANDMARKS = ("header", "main")
NAMED = ("nav", "section")  # they must say what they hold
SVG = "svg"


def tree_of(html: str) -> Element:
    """The page as a strict parser reads it; the first error of syntax fails."""
    html5lib = pytest.importorskip("html5lib", reason="needs html5lib (pip install html5lib)")
    parser = html5lib.HTMLParser(html5lib.getTreeBuilder("etree"), strict=True, namespaceHTMLElements=False)
    root: Element = parser.parse(html)
    return root


def wrongs(root: Element) -> list[str]:
    """Everything amiss with a page, in words."""
    return [*_ids(root), *_head(root), *_landmarks(root), *_headings(root), *_pictures(root), *_tables(root)]


def _ids(root: Element) -> Iterator[str]:
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    yield from (f"id {name} stands {n} times" for name, n in Counter(ids).items() if n > 1)
    for e in root.iter():
        for name in (e.get("aria-labelledby") or "").split():
            if name not in ids:
                yield f"{e.tag} is labelled by {name}, which is nowhere"
        target = e.get("href") or ""
        if target.startswith("#") and target[1:] not in ids:
            yield f"a link leads to {target}, which is nowhere"


def _head(root: Element) -> Iterator[str]:
    if not root.get("lang"):
        yield "no language"
    if not (root.findtext("head/title") or "").strip():
        yield "no title"
    if root.find("head/meta[@name='viewport']") is None:
        yield "no viewport, so phones shrink it"


def _landmarks(root: Element) -> Iterator[str]:
    yield from (f"{len(root.findall(f'body/{tag}'))} of {tag}" for tag in LANDMARKS
                if len(root.findall(f"body/{tag}")) != 1)  # fmt: skip
    for e in root.iter():
        if e.tag in NAMED and not (e.get("aria-labelledby") or e.get("aria-label")):
            yield f"a {e.tag} without a name"


def _headings(root: Element) -> Iterator[str]:
    levels = [int(e.tag[1]) for e in root.iter() if e.tag in ("h1", "h2", "h3", "h4", "h5", "h6")]
    if levels.count(1) != 1 or levels[:1] != [1]:
        yield f"headings begin {levels[:3]} and hold {levels.count(1)} of the first level"
    yield from (f"h{b} after h{a}" for a, b in pairwise(levels) if b > a + 1)
    for e in root.iter():
        if e.tag in ("h1", "h2", "h3", "h4") and not "".join(e.itertext()).strip():
            yield f"an empty {e.tag}"


def _pictures(root: Element) -> Iterator[str]:
    within = {id(inner) for e in root.iter() if e.tag.endswith(SVG) for inner in list(e.iter())[1:]}
    for e in root.iter():
        drawing = e.tag.endswith(SVG) and id(e) not in within and e.get("aria-hidden") != "true"
        titles = "".join(inner.text or "" for inner in e if inner.tag.endswith("title"))
        if drawing and (e.get("role") != "img" or not (e.get("aria-label") or titles).strip()):
            yield "a drawing without words"
        if e.tag == "img" and not (e.get("alt") or "").strip():
            yield "a picture without words"
        if e.tag == "a" and not "".join(e.itertext()).strip():
            yield "a link without words"


def _tables(root: Element) -> Iterator[str]:
    for table in root.iter("table"):
        heads = list(table.iter("th"))
        if not heads or any(th.get("scope") not in ("row", "col", "rowgroup") for th in heads):
            yield "a table whose headings do not say whether they are of rows or columns"
        widths = {sum(int(c.get("colspan", "1")) for c in row) for row in table.iter("tr")}
        if len(widths) > 1:
            yield f"a table with rows of {sorted(widths)} cells"
