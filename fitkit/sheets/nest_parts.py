"""Parts and stock in, a nesting out: the step itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from fitkit.findings import Finding, Severity
from fitkit.sheets.kept_places import PinnedPlace, pinned_sheets, sheets_as_they_lay
from fitkit.sheets.layout_check import layout_faults
from fitkit.sheets.layout_score import beats, layout_score
from fitkit.sheets.nesting import LaidSheet, Nesting, NestRules
from fitkit.sheets.open_sheet import OpenSheet
from fitkit.sheets.part_groups import groups_of_parts, sizes_to_add
from fitkit.sheets.part_to_place import PartToPlace
from fitkit.sheets.placing import Placer
from fitkit.sheets.quick_layout import lay_on_open_sheets, lay_quickly
from fitkit.sheets.relaying import relay
from fitkit.sheets.search_watch import SearchWatch
from fitkit.sheets.sheet_supply import SheetSupply
from fitkit.sheets.stock_notes import grain_not_told, stock_not_told
from fitkit.sheets.stock_sheet import StockSheet
from fitkit.sheets.strip_filling import fill_by_strips

__all__ = ["NestResult", "nest_parts"]

# The last sheet of a group is pressed together only: it gets this share of a full one's time.
_LAST_SHARE = 0.35


@dataclass(frozen=True, slots=True, eq=False)
class NestResult:
    """A nesting and what was noticed on the way; ``stock`` holds the sizes that were added."""

    nesting: Nesting
    stock: tuple[StockSheet, ...]
    findings: tuple[Finding, ...] = ()


def nest_parts(
    parts: Sequence[PartToPlace],
    stock: Sequence[StockSheet],
    rules: NestRules,
    *,
    watch: SearchWatch,
    start: Nesting | None = None,
    pinned: Sequence[PinnedPlace] = (),
    better: Callable[[Nesting], None] | None = None,
    seed: int = 1,
) -> NestResult:
    """Lay every part on as few sheets as can be found in the time.

    Parts of one material and thickness share sheets. Rows of the stock are used in their order,
    sizes to buy after them; a material with no row takes the sizes it is usually sold in.

    Parameters
    ----------
    watch
        How long to look; a first layout is made in any case.
    start
        An earlier nesting: what still fits stays where it lies unless something better is found.
    pinned
        Parts that stay put.
    better
        Called with the first whole layout and each better one.

    Raises
    ------
    InputError
        When a part's material is not known.
    """
    work = _Nest(parts, stock, rules, watch, pinned, better, seed)
    work.run(start)
    assert work.best is not None
    faults = layout_faults(work.best, parts, work.stock)
    notes = [*stock_not_told(work.best, stock, work.added), *grain_not_told(work.best)]
    return NestResult(work.best, work.stock, (*notes, *work.findings, *faults))


class _Nest:
    def __init__(
        self,
        parts: Sequence[PartToPlace],
        stock: Sequence[StockSheet],
        rules: NestRules,
        watch: SearchWatch,
        pinned: Sequence[PinnedPlace],
        better: Callable[[Nesting], None] | None,
        seed: int,
    ) -> None:
        self.rules, self.watch, self.seed, self.better = rules, watch, seed, better
        self.placer = Placer.of_parts(parts, rules)
        self.added = sizes_to_add(parts, stock)
        self.stock = (*stock, *self.added)
        self.pinned, faults = pinned_sheets(pinned, parts, self.stock, rules)
        self.findings = faults
        self.best: Nesting | None = None
        self._best_score: tuple[float, ...] = ()
        self._rest_key: object = None
        self._rest: list[LaidSheet] = []

    def run(self, start: Nesting | None) -> None:
        groups = groups_of_parts(self.placer)
        self.watch.tell("laying the parts out")
        if start is not None:
            parts = self.placer.parts
            lying = sheets_as_they_lay(start, self.pinned, parts.values(), self.stock, self.rules)
            again = lay_quickly(self.placer, self.stock, groups, lying)
            self._offer(self._nesting(sheet.laid() for sheet in again), always=True)
        watch = None if self.best is None else self.watch
        first = lay_quickly(self.placer, self.stock, groups, self.pinned, watch=watch)
        self._offer(self._nesting(sheet.laid() for sheet in first))
        if self.watch.over():
            return
        # How the time is shared out: by sheets, as many as the quick layout took.
        odd = [sheet for sheet in first if _is_odd(sheet)]
        counts = [self._count_of(first, group) for group in groups]
        done: list[OpenSheet] = [sheet.copied() for sheet in self.pinned]
        sheets_left = sum(max(0, count - 1) + _LAST_SHARE for count in counts if count)
        sheets_left += len(odd)
        for index, (group, count) in enumerate(zip(groups, counts, strict=True)):
            sheets_left = self._thoroughly(done, group, count, sheets_left, groups[index + 1 :])
            if self.watch.over():
                return
        # A part alone lies where it reaches least already.
        several = [group for group in groups if len(group) > 1]
        self._relay([group for group in several if any(_holds(sheet, group) for sheet in odd)])

    def _relay(self, groups: Sequence[list[int]]) -> None:
        """Look on from the best layout where parts lie on sheets that no strip can fill."""
        if not groups:
            return
        assert self.best is not None
        parts = self.placer.parts.values()
        relay(
            self.placer,
            self.stock,
            groups,
            sheets_as_they_lay(self.best, self.pinned, parts, self.stock, self.rules),
            self.watch,
            seed=self.seed,
            as_nesting=lambda sheets: self._nesting(sheet.laid() for sheet in sheets),
            better=self._offer,
        )

    def _thoroughly(
        self,
        done: list[OpenSheet],
        group: list[int],
        count: int,
        shares: float,
        later: Sequence[list[int]],
    ) -> float:
        """Fill the group's sheets one after the other as well as the time allows."""
        held = {number for sheet in done for number in sheet.placed}
        left = [number for number in group if number not in held]
        left = lay_on_open_sheets(self.placer, done, left, self.watch)
        supply, passed_over = SheetSupply.without(self.stock, done), set[str]()
        while left and not self.watch.over():
            found = supply.next_sheet(self.placer, left, passed_over)
            if found is None:
                break
            own, seconds = 0.0, 0.0
            if found[0].is_rectangle:
                own = 1.0 if count > 1 else _LAST_SHARE
                seconds = self.watch.left() * min(1.0, own / max(shares, own))
                count -= 1
            shares -= own
            further = [left, *later]

            def tell(laid: LaidSheet, further: list[list[int]] = further) -> None:
                self._offer_with(done, laid, further)

            sheet, rest = self._filled(OpenSheet(*found, self.rules), left, seconds, tell)
            if len(rest) == len(left):
                passed_over.add(found[0].name)
                continue
            left = rest
            done.append(sheet)
            self._offer_with(done, None, [left, *later])
        return shares

    def _offer_with(
        self, done: Sequence[OpenSheet], laid: LaidSheet | None, groups: Sequence[list[int]]
    ) -> None:
        """Offer the sheets done, one more as it is now, and the rest laid one by one."""
        sheets = [sheet.laid() for sheet in done] + ([laid] if laid is not None else [])
        held = {placed.part.number for sheet in sheets for placed in sheet.placed}
        rest = [[n for n in group if n not in held] for group in groups]
        taken = tuple((sheet.stock.name, sheet.copy) for sheet in sheets)
        key = (taken, tuple(map(tuple, rest)))
        if key != self._rest_key:
            quick = lay_quickly(self.placer, self.stock, rest, (), taken, self.watch)
            self._rest_key, self._rest = key, [sheet.laid() for sheet in quick]
        self._offer(self._nesting([*sheets, *self._rest]))

    def _filled(
        self,
        sheet: OpenSheet,
        left: list[int],
        seconds: float,
        tell: Callable[[LaidSheet], None],
    ) -> tuple[OpenSheet, list[int]]:
        if not sheet.stock.is_rectangle:
            return self.placer.lay_first(sheet, left, self.watch)
        watch = self.watch.part(seconds)
        self.seed += 100
        fitting = self.placer.fitting(left, sheet.stock)
        sheet, rest = self.placer.lay_first(sheet, fitting, self.watch)
        if len(fitting) > 1:
            sheet, rest, fault = fill_by_strips(
                self.placer, sheet, rest, watch, seed=self.seed, better=tell
            )
            if fault:
                self._strip_fault(fault)
            rest = self.placer.lay(sheet, rest, self.watch)
        on = set(sheet.placed)
        return sheet, [number for number in left if number not in on]

    def _strip_fault(self, fault: str) -> None:
        finding = Finding(
            "strips-failed",
            Severity.WARNING,
            "nesting",
            f"The library that squeezes parts together failed ({fault}); they lie looser.",
            "Install fitkit again with: pip install . (from its folder)",
        )
        if finding not in self.findings:
            self.findings.append(finding)

    def _count_of(self, sheets: Sequence[OpenSheet], group: Sequence[int]) -> int:
        """Return how many sheets of the group strips are to fill."""
        return sum(not _is_odd(sheet) and _holds(sheet, group) for sheet in sheets)

    def _nesting(self, sheets: Iterable[LaidSheet]) -> Nesting:
        rank = {row.name: index for index, row in enumerate(self.stock)}
        used = [sheet for sheet in sheets if sheet.placed]
        used.sort(key=lambda sheet: (rank[sheet.stock.name], sheet.copy))
        held = {placed.part.number for sheet in used for placed in sheet.placed}
        left = [part for number, part in self.placer.parts.items() if number not in held]
        return Nesting(self.rules, tuple(used), tuple(left))

    def _offer(self, nesting: Nesting, *, always: bool = False) -> None:
        score = layout_score(nesting, self.stock)
        if self.best is not None and not always and not beats(score, self._best_score):
            return
        self.best, self._best_score = nesting, score
        if self.better is not None:
            self.better(nesting)


def _is_odd(sheet: OpenSheet) -> bool:
    """Tell whether no strip can fill a sheet: an odd outline, a bad zone, a part that stays."""
    return not sheet.stock.is_rectangle or any(one.pinned for one in sheet.placed.values())


def _holds(sheet: OpenSheet, group: Iterable[int]) -> bool:
    return any(number in sheet.placed for number in group)
