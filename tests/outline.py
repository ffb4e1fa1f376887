"""A page taken apart: what is in it, what it refers to, what it says."""

import re
from collections import Counter
from html.parser import HTMLParser

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Outline(HTMLParser):
    """Fails on a tag closed out of turn; keeps ids, outside references and the words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: Counter[str] = Counter()
        self.tags: Counter[str] = Counter()
        self.inner: list[str] = []
        self.outer: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        for name, value in attrs:
            if name == "id":
                self.ids[value or ""] += 1
            if name in ("href", "src", "xlink:href"):
                (self.inner if (value or "").startswith("#") else self.outer).append((value or "").removeprefix("#"))
            self.inner += re.findall(r"url\(#([^)]+)\)", value or "")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] not in (["style"], ["script"]):
            self.words += data + " "
