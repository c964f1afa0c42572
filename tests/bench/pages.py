"""What printing costs: a job of a hundred pages, from drawings to one PDF file.

Run ``python -m tests.bench.pages``; processor seconds, so that a busy machine counts less.
"""

from __future__ import annotations

from fitkit.drawing.paper import PAPERS
from fitkit.drawing.tiling import tile_drawings
from fitkit.export.page_pdf import pdf_of_pages
from tests.bench.lines import spent
from tests.drawing.example_parts import plate

__all__ = ["hundred_pages"]


def hundred_pages() -> list:
    """Return sixty parts, large and small, that take about a hundred pages of A4."""
    large = [plate(f"plate {n}", 330.0 + 4 * n, 480.0, points=900, waves=n) for n in range(16)]
    small = [plate(f"lame {n}", 90.0 + n, 130.0, points=400, waves=n) for n in range(44)]
    return large + small


def main() -> None:
    parts = hundred_pages()
    spent(lambda: pdf_of_pages(tile_drawings(parts[:2], paper=PAPERS["A4"], title="warm")))
    pages, laying = spent(lambda: tile_drawings(parts, paper=PAPERS["A4"], title="bench"))
    pdf, writing = spent(lambda: pdf_of_pages(pages))
    print(
        f"{len(parts)} parts, {len(pages.pages)} pages: laid in {laying:.2f} s, written in "
        f"{writing:.2f} s, together {laying + writing:.2f} s (5 asked), "
        f"{len(pdf) / 1e6:.2f} MB (1 asked)"
    )


if __name__ == "__main__":
    main()
