"""An emblem's drawing or picture that has arrived: what kind it is by its content alone."""

from __future__ import annotations

import warnings
from pathlib import Path

from fitkit.errors import FileError
from fitkit.job.arriving_file import ArrivingFile
from fitkit.job.artwork_files import read_artwork

__all__ = ["ArrivingEmblem", "next_emblem_name"]

_SUFFIX_OF_FORMAT = {"PNG": ".png", "JPEG": ".jpg"}
_MOST_PIXELS = 40_000_000
_HEAD_BYTES = 1 << 16


class ArrivingEmblem(ArrivingFile):
    """A drawing or picture that is being received."""

    def whole(self) -> str:
        """Return the name ending for what has arrived, once all of it has.

        Raises
        ------
        FileError
            When it is neither SVG nor a picture, is too large, shows nothing, or the disk does
            not take it.
        """
        self.flush()
        suffix = _suffix_of(self.path)
        named = self.path.with_suffix(suffix)
        self.path.replace(named)
        try:
            read_artwork(named.parent, named.name)
        except FileError as error:
            raise FileError(error.cause.replace(f" '{named.name}'", ""), error.remedy) from error
        finally:
            named.replace(self.path)
        return suffix


def next_emblem_name(job_folder: Path, suffix: str) -> str:
    """Return a name of the job's own that no file in its folder has yet."""
    taken = {path.stem.lower() for path in job_folder.iterdir()}
    number = next(n for n in range(1, len(taken) + 2) if f"emblem-{n}" not in taken)
    return f"emblem-{number}{suffix}"


def _suffix_of(path: Path) -> str:
    from PIL import Image

    with path.open("rb") as file:
        if b"<svg" in file.read(_HEAD_BYTES):
            return ".svg"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            # Reads the head of the file only; no pixel is unpacked.
            with Image.open(path, formats=tuple(_SUFFIX_OF_FORMAT)) as picture:
                pixels, kind = picture.width * picture.height, str(picture.format)
    except Image.DecompressionBombError:
        pixels, kind = _MOST_PIXELS + 1, ""
    except Exception as error:
        # A decoder that is fed garbage may raise anything.
        raise FileError(
            "This is neither a drawing nor a picture that can be read.",
            "Give SVG, or PNG or JPEG of dark areas on a light ground.",
        ) from error
    if pixels > _MOST_PIXELS:
        raise FileError(
            f"This picture has more than {_MOST_PIXELS / 1e6:.0f} megapixels.", "Save it smaller."
        )
    return _SUFFIX_OF_FORMAT.get(kind, ".jpg")
