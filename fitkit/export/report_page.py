"""A report as one self-contained page: sections, pictures inside, light, dark and print."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

__all__ = ["Figure", "page"]

_STYLE = """
:root { color-scheme: light dark; --ground: #fbfaf6; --ink: #22262a; --soft: #5c636a;
  --line: #d9d5ca; --card: #ffffff; --good: #1f5f8b; --look: #8a5a00; --stop: #a8320a; }
@media (prefers-color-scheme: dark) {
  :root { --ground: #1c1f22; --ink: #e8e5de; --soft: #a9b0b6; --line: #3c4146; --card: #26292d;
    --good: #8fc1e3; --look: #e8b95a; --stop: #ff8f66; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 66rem; padding: 2.5rem 1.5rem 4rem; background: var(--ground);
  color: var(--ink); font: 1.16rem/1.55 system-ui, "DejaVu Sans", sans-serif; }
h1 { font-size: 2rem; font-weight: 600; line-height: 1.2; margin: 0 0 .6rem; }
h2 { font-size: 1.4rem; font-weight: 600; margin: 2.8rem 0 .8rem; padding-top: 1rem;
  border-top: 1px solid var(--line); }
.verdict { font-size: 1.35rem; margin: 0 0 1.4rem; }
table { border-collapse: collapse; }
th, td { text-align: left; vertical-align: top; padding: .35rem 1.6rem .35rem 0;
  border-bottom: 1px solid var(--line); font-weight: 400; }
th { color: var(--soft); }
td { font-variant-numeric: tabular-nums; }
figure { margin: 0; }
figure img { display: block; width: 100%; height: auto; background: #fafaf8;
  border: 1px solid var(--line); border-radius: 6px; }
figcaption { color: var(--soft); margin-top: .6rem; }
ul { padding: 0; margin: 0; list-style: none; }
table + ul { margin-top: 1.2rem; }
.again li { font-size: 1.25rem; margin: 0 0 .5rem; padding-left: 1rem;
  border-left: 4px solid var(--stop); }
.findings li { margin: 0 0 .8rem; padding-left: 1rem; border-left: 4px solid var(--line); }
.findings .warning { border-color: var(--look); }
.findings .warning strong { color: var(--look); }
.findings .stop { border-color: var(--stop); }
.findings .stop strong { color: var(--stop); }
.remedy { color: var(--soft); }
.photos { display: grid; grid-template-columns: repeat(auto-fill, minmax(11rem, 1fr)); gap: 1rem; }
.photos li { background: var(--card); border: 1px solid var(--line); border-radius: 6px;
  padding: .6rem; break-inside: avoid; }
.photos img { display: block; width: 100%; height: auto; border-radius: 3px; }
.photos p { margin: .5rem 0 0; font-size: 1rem; line-height: 1.4; overflow-wrap: anywhere; }
.photos .left { border-color: var(--stop); }
@media print {
  :root { --ground: #fff; --ink: #000; --soft: #444; --line: #bbb; --card: #fff; --good: #1f5f8b;
    --look: #8a5a00; --stop: #a8320a; }
  body { max-width: none; padding: 0; font-size: 11pt; }
  h2 { break-after: avoid; } figure, tr, .findings li { break-inside: avoid; }
  .photos { grid-template-columns: repeat(5, 1fr); } }
"""


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture in a report.

    Attributes
    ----------
    png
        The picture.
    alt
        What it shows, for those who do not see it.
    caption
        Words below it.
    """

    png: bytes
    alt: str
    caption: str

    def html(self) -> str:
        """Return the figure with its picture inside."""
        data = base64.b64encode(self.png).decode("ascii")
        return (
            f"<figure><img src='data:image/png;base64,{data}' "
            f"alt='{escape(self.alt, quote=True)}'>"
            f"<figcaption>{escape(self.caption)}</figcaption></figure>"
        )


def page(title: str, sections: Sequence[tuple[str, str]]) -> bytes:
    """Return an HTML page that needs nothing but itself, without scripts.

    Parameters
    ----------
    title
        Its heading.
    sections
        Heading (may be empty) and HTML of each.
    """
    parts = []
    for head, body in sections:
        heading = f"<h2>{escape(head)}</h2>" if head else ""
        parts.append(f"<section>{heading}{body}</section>")
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>\n"
        f"<body><main><h1>{escape(title)}</h1>\n" + "\n".join(parts) + "\n</main></body></html>\n"
    ).encode()
