"""A result sheet read back: its tables, headings, pictures and attributes, for the tests of its pieces."""

from __future__ import annotations

import math
from html.parser import HTMLParser

VOID = {"meta", "img"}
PIXEL = b"\x89PNG"


class Sheet(HTMLParser):
    """Tables by caption, headings, images, and every attribute; fails on tags that do not close."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.headings, self.images, self.attributes, self.tags = {}, [], [], [], []
        self.stack, self.text = [], ""
        self.words = []
        self.feed(text)
        self.close()
        assert not self.stack

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        if tag == "img":
            self.images.append(dict(attrs))
        if tag not in VOID:
            self.stack.append((tag, dict(attrs)))
        if tag == "table":
            self.rows = []
        if tag == "tr":
            self.rows.append([])
        self.text = ""

    def handle_data(self, data):
        self.text += data
        if self.stack and self.stack[-1][0] != "style":
            self.words.append(data)

    def handle_endtag(self, tag):
        opened, attrs = self.stack.pop()
        assert opened == tag
        if tag in ("th", "td"):
            assert tag == "td" or attrs["scope"] in ("row", "col")
            self.rows[-1].append(self.text)
        if tag == "caption":
            self.caption = self.text
        if tag == "table":
            assert self.caption not in self.tables
            self.tables[self.caption] = self.rows
        if tag in ("h1", "h2", "h3"):
            self.headings.append(self.text)


def number(text):
    """A printed number."""
    return math.inf if text == "∞" else float(text.replace("−", "-"))


def agrees(text, value):
    """Whether a printed number is the value, rounded where it ends."""
    if value in ("inf", math.inf) or text == "∞":
        return text == "∞" and float(value) > 1000
    decimals = len(text.partition(".")[2])
    return math.isclose(number(text), value, rel_tol=0, abs_tol=0.5000001 * 10**-decimals)


def agrees_p(text, p):
    """Whether a printed p is the value, to two digits."""
    if text == "below 0.0001":
        return p < 0.0001
    if text == "above 0.99":
        return 0.995 <= p < 1
    return float(text) == float(f"{p:.2g}")
