"""Pictures show what the pages show."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2 as pdfium
import pytest
from PIL import Image
from scipy.ndimage import distance_transform_edt

from fitkit.drawing.drawing import Drawing, Fill, Layer, Stroke, Words
from fitkit.drawing.page import PageSet
from fitkit.drawing.paper import PAPERS
from fitkit.drawing.tiling import tile_drawings
from fitkit.errors import InputError
from fitkit.export.drawing_picture import png_of_drawing, png_of_page
from fitkit.export.page_pdf import pdf_of_pages
from fitkit.geometry.arrays import Bytes
from tests.drawing.example_parts import costume, plate


def grey(png: bytes) -> Bytes:
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


@pytest.fixture(scope="module")
def pages() -> PageSet:
    return tile_drawings(costume(), paper=PAPERS["A4"], title="The Heron Warden")


def test_a_drawing_is_shown_at_the_scale_asked_for() -> None:
    box = Fill(np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 20.0], [0.0, 20.0]]))
    dark = grey(png_of_drawing(Drawing("box", fills=(box,)), px_per_mm=5.0)) < 128
    assert np.ptp(np.flatnonzero(dark.any(axis=0))) + 1 == pytest.approx(200, abs=1)
    assert np.ptp(np.flatnonzero(dark.any(axis=1))) + 1 == pytest.approx(100, abs=1)


def test_the_upper_end_of_a_drawing_is_the_upper_end_of_its_picture() -> None:
    low = Stroke(np.array([[0.0, 0.0], [40.0, 0.0]]), Layer.CUT)
    high = Stroke(np.array([[0.0, 30.0], [10.0, 30.0]]), Layer.CUT)
    dark = grey(png_of_drawing(Drawing("steps", strokes=(low, high)))) < 128
    rows = np.flatnonzero(dark.any(axis=1))
    assert dark[rows[0]].sum() < dark[rows[-1]].sum()


@pytest.mark.parametrize("index", [0, 2, 5])
def test_a_page_s_picture_agrees_with_pdfium_s_view_of_its_pdf(pages: PageSet, index: int) -> None:
    """Two renderers of different make put their ink within two pixels of each other."""
    ours = grey(png_of_page(pages, index, dpi=100)) < 190
    page = pdfium.PdfDocument(pdf_of_pages(pages))[index]
    image = page.render(scale=100 / 72, grayscale=True)
    theirs = image.to_numpy().reshape(image.height, image.width) < 190
    rows, columns = np.minimum(ours.shape, theirs.shape)
    ours, theirs = ours[:rows, :columns], theirs[:rows, :columns]
    assert ours.sum() > 3000
    assert theirs.sum() > 3000
    for one, other in ((ours, theirs), (theirs, ours)):
        away = distance_transform_edt(~other)[one]
        # dashes may fall elsewhere where a renderer leaves out what is clipped away
        assert (away > 2.0).mean() < 0.03


def test_nothing_of_a_part_shows_outside_its_window(pages: PageSet) -> None:
    tile = next(i for i, p in enumerate(pages.pages) if p.windows and p.windows[0].tile)
    dark = grey(png_of_page(pages, tile, dpi=100)) < 100
    rim = round(5.0 * 100 / 25.4)
    assert not dark[:rim].any()
    assert not dark[:, :rim].any()


def test_a_page_that_is_not_there_is_refused(pages: PageSet) -> None:
    with pytest.raises(InputError, match=f"no page {len(pages.pages) + 1}"):
        png_of_page(pages, len(pages.pages))


def test_words_alone_make_a_picture() -> None:
    assert (
        grey(png_of_drawing(Drawing("w", words=(Words("Ωmega", np.zeros(2), 5.0),)))) < 90
    ).any()


def test_same_drawing_same_bytes() -> None:
    part = plate("knee", 90.0, 120.0)
    assert png_of_drawing(part) == png_of_drawing(part)
