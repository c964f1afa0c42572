"""Reading a report back: what it says, what it shows, and what it asks of the outside."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser

_VOID = {"meta", "img", "br"}


class Report(HTMLParser):
    """A parsed report.

    Attributes
    ----------
    title, text
        The title, and all words of the body.
    pictures
        Alternative text and content of each picture.
    headings
        Text of the headings below the first.
    outside
        Whatever a browser would load from elsewhere or run.
    """

    def __init__(self, content: bytes) -> None:
        super().__init__()
        self.title, self.text = "", ""
        self.pictures: list[tuple[str, bytes]] = []
        self.headings: list[str] = []
        self.outside: list[str] = []
        self._open: list[str] = []
        source = content.decode("utf-8")
        self.feed(source)
        self.close()
        assert self._open == [], f"left open: {self._open}"
        style = "".join(re.findall(r"<style>(.*?)</style>", source, re.S))
        self.outside += re.findall(r"@import|url\(", style)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        if tag not in _VOID:
            self._open.append(tag)
        if tag in {"script", "link", "iframe", "object", "embed", "base", "form"}:
            self.outside.append(tag)
        for name, value in values.items():
            if name.startswith("on") or (name in {"href", "src", "srcset"} and tag != "img"):
                self.outside.append(f"{tag} {name}={value}")
        if tag == "img":
            head, _, data = values["src"].partition(",")
            if head != "data:image/png;base64":
                self.outside.append(values["src"])
            self.pictures.append((values.get("alt", ""), base64.b64decode(data, validate=True)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "title" in self._open:
            self.title += data
        elif "style" not in self._open:
            self.text += data + " "
        if "h2" in self._open:
            self.headings.append(data)
