"""Building a part of a page anew without taking from under the hand what is still there.

A browser knows an element by its number and what listens to it by another. What is built again as
it was takes over both: its place in the browser stays, with the focus, what is half typed and a
press that is not released yet, and an event that is on its way meets what stands there now.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Hashable, Iterator, Sequence

from nicegui import binding
from nicegui.element import Element
from nicegui.event_listener import EventListener

from fitkit.room.kept_input import KeptInput

__all__ = ["build_in_place"]


def build_in_place(box: Element, build: Callable[[], None], *, afresh: bool = False) -> None:
    """Build what stands in a box anew.

    An element that can be clicked or filled in is the same only as one of the same name: its
    ``data-key`` or ``aria-label``, or the first words in it.

    Parameters
    ----------
    build
        Makes the elements; called inside the emptied box.
    afresh
        Whether nothing of what stood there is to be taken over, since it was about another thing.
    """
    before = list(box.default_slot.children)
    box.default_slot.children.clear()
    try:
        with box:
            build()
    finally:
        _take_over([] if afresh else before, box.default_slot.children)
        _remove([old for old in before if not old.is_deleted])
        box.update()


def _take_over(before: Sequence[Element], now: Sequence[Element]) -> None:
    """Let new elements stand in the places of those that were the same."""
    old_ones, new_ones = list(before), list(now)
    # Those with the same things in them first: a row put in between shifts no other.
    for likeness in (_contents, _kind):
        waiting: defaultdict[Hashable, deque[Element]] = defaultdict(deque)
        for old in old_ones:
            waiting[likeness(old)].append(old)
        strangers = []
        for new in new_ones:
            if (same := waiting[likeness(new)]) and set(new.slots) == {"default"}:
                _stand_in_for(same.popleft(), new)
            else:
                strangers.append(new)
        old_ones, new_ones = [old for row in waiting.values() for old in row], strangers


def _stand_in_for(old: Element, new: Element) -> None:
    client = old.client
    updates = client.outbox.updates
    was, waiting = old._to_dict(), old.id in updates
    children = list(old.default_slot.children)
    _take_over(children, new.default_slot.children)
    _remove([child for child in children if not child.is_deleted])
    if isinstance(new, KeptInput) and isinstance(old, KeptInput):
        new.take_over(old)
    _take_over_listeners(old, new)
    del client.elements[new.id]
    updates.pop(new.id, None)
    new.id = old.id
    client.elements[new.id] = new
    if waiting or was != new._to_dict():
        client.outbox.enqueue_update(new)
    binding.remove([old])
    old._handle_delete()
    old._deleted = True


def _take_over_listeners(old: Element, new: Element) -> None:
    known: defaultdict[Hashable, deque[str]] = defaultdict(deque)
    for listener in old._event_listeners.values():
        known[_hears(listener)].append(listener.id)
    for listener in new._event_listeners.values():
        listener.element_id = old.id
        listener.id = known[_hears(listener)].popleft()
    new._event_listeners = {listener.id: listener for listener in new._event_listeners.values()}


def _hears(listener: EventListener) -> tuple[str, bool]:
    told = listener.to_dict()
    del told["listener_id"]
    return repr(told), listener.handler is None


def _remove(elements: Sequence[Element]) -> None:
    for element in elements:
        element.client.remove_elements(element.descendants(include_self=True))


# -- what is the same ------------------------------------------------------------------------


def _kind(element: Element) -> Hashable:
    # The browser makes an element anew that hears of something new.
    heard = tuple(sorted(_hears(listener) for listener in element._event_listeners.values()))
    return type(element), element.tag, tuple(element.slots), _name(element), heard


def _contents(element: Element) -> Hashable:
    names = (_name(one) for one in element.descendants())
    return _kind(element), tuple(name for name in names if name is not None)


def _name(element: Element) -> str | None:
    """Return what tells an element from others like it, None where any will do."""
    if key := element._props.get("data-key"):
        return str(key)
    if not element._event_listeners and element.tag != "a":
        return None
    if label := element._props.get("aria-label"):
        return str(label)
    return next(filter(None, _texts(element)), element.tag)


def _texts(element: Element) -> Iterator[str]:
    for one in element.descendants(include_self=True):
        yield str(one._text or one._props.get("label") or "")
