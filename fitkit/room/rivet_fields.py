"""Which rivet is used, and of what metal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fitkit.materials.rivet import rivet_named, rivets
from fitkit.room.form_fields import choice
from fitkit.room.row_fields import Row, RowFields

__all__ = ["rivet_fields"]


def rivet_fields(
    fields: RowFields, label: str, read: Callable[[Row], str], told: Callable[[str], Row]
) -> None:
    """Put a rivet and its metal on the page.

    Parameters
    ----------
    read
        The rivet's name in the row.
    told
        What to keep for a rivet of that name.
    """

    def plain(row: Row) -> str:
        rivet = rivet_named(read(row))
        return rivet.of(rivet.metals[0]).name

    def metal(row: Row) -> str:
        return rivet_named(read(row)).made_of

    def of_metal(value: Any) -> Row:
        return told(rivet_named(read(fields.row())).of(str(value)).name)

    now = fields.row()
    names = [rivet.name for rivet in rivets()]
    own = [] if plain(now) in names else [plain(now)]
    options = [(name, name) for name in (*own, *names)]
    fields.add(
        choice(label, plain(now), fields.keeps(lambda name: told(str(name))), options), plain
    )
    metals = [(one, one) for one in rivet_named(read(now)).metals]
    fields.add(choice("Metal", metal(now), fields.keeps(of_metal), metals), metal)
