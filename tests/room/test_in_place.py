"""Parts of a page built anew: what is as it was stays, and what is on its way to it arrives."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Sequence

import pytest
from nicegui import Client, ui
from nicegui.element import Element
from nicegui.events import GenericEventArguments
from nicegui.page import page

from fitkit.room.in_place import build_in_place
from fitkit.room.kept_input import KeptInput
from fitkit.room.page_parts import box, button, draft, field


@pytest.fixture
def client() -> Iterator[Client]:
    """Return a tab that no browser stands behind."""
    with asyncio.Runner() as runner:

        async def opened() -> Client:
            return Client(page("/test"), request=None)

        made = runner.run(opened())
        with made:
            yield made


def rows(names: str, heard: list[str], when: str) -> None:
    with box(tag="ul"):
        for name in names:
            with box(tag="li"):
                button(f"Take {name}", lambda name=name: heard.append(f"{name} {when}"))


def named(place: Element, kind: type[Element] = ui.button) -> dict[str, Element]:
    found = (one for one in place.descendants() if isinstance(one, kind))
    return {str(one._props.get("label") or one._props.get("data-key")): one for one in found}


def pressed(one: Element) -> Callable[[Client], None]:
    """Return the event of a press as a browser sends it later."""
    told = {"id": one.id, "listener_id": next(iter(one._event_listeners)), "args": []}
    return lambda client: client.handle_event(told)


def numbers(place: Element) -> dict[str, int]:
    return {name: one.id for name, one in named(place).items()}


def built(place: Element, *told: tuple[str, list[str], str]) -> None:
    for one in told:
        build_in_place(place, lambda one=one: rows(*one))


def test_a_press_on_its_way_meets_what_stands_there_now(client: Client) -> None:
    heard: list[str] = []
    place = box()
    built(place, ("abc", heard, "before"))
    press = pressed(named(place)["Take b"])
    was = named(place)["Take b"]
    built(place, ("axbc", heard, "after"))
    press(client)
    assert heard == ["b after"]
    assert was.is_deleted  # whoever followed it follows it no longer


def test_a_row_put_in_between_shifts_no_other(client: Client) -> None:
    place = box()
    built(place, ("abc", [], ""))
    before = numbers(place)
    client.outbox.updates.clear()
    built(place, ("axbc", [], ""))
    after = numbers(place)
    new = after.pop("Take x")
    assert after == before
    sent = set(client.outbox.updates)
    assert new in sent
    assert not sent & set(before.values())  # the browser hears of what changed alone


def test_a_press_for_what_is_gone_meets_nothing_else(client: Client) -> None:
    heard: list[str] = []
    place = box()
    built(place, ("ab", heard, "before"))
    press = pressed(named(place)["Take b"])
    built(place, ("ac", heard, "after"))
    press(client)
    assert heard == []


def test_nothing_is_taken_over_for_another_thing(client: Client) -> None:
    heard: list[str] = []
    place = box()
    built(place, ("ab", heard, "of one plate"))
    press = pressed(named(place)["Take a"])
    build_in_place(place, lambda: rows("ab", heard, "of another"), afresh=True)
    press(client)
    assert heard == []


def test_nothing_is_left_behind(client: Client) -> None:
    place = box()
    told: Sequence[str] = ("abc", "", "abc", "cb", "abc")
    counts = []
    for names in told:
        built(place, (names, [], ""))
        counts.append(len(client.elements))
    assert counts[0] == counts[2] == counts[4]
    assert counts[1] == counts[0] - 6
    assert counts[3] == counts[0] - 2


def test_what_is_half_typed_stays_and_what_was_changed_elsewhere_shows(client: Client) -> None:
    def told(value: str) -> KeptInput:
        def build() -> None:
            field("Height", value, lambda _: None)

        build_in_place(place, build)
        (made,) = (one for one in place.descendants() if isinstance(one, KeptInput))
        return made

    place = box()
    one = told("100")
    assert told("100").id == one.id
    assert told("100")._props["shown"] == 0  # the browser leaves it alone
    other = told("120")
    assert other.id == one.id
    assert (other._props["value"], other._props["shown"]) == ("120", 1)
    (listener,) = other._event_listeners.values()
    assert listener.handler is not None
    listener.handler(GenericEventArguments(sender=other, client=client, args="90"))
    again = told("120")  # which could not be kept
    assert (again._props["value"], again._props["shown"]) == ("120", 2)


def test_what_waits_for_its_button_is_not_forgotten(client: Client) -> None:
    taken: list[dict[str, str]] = []

    def build(size: str) -> None:
        told = {"length": "", "width": size}
        draft("Length", told, "length")
        draft("Width", told, "width")
        button("Add", lambda: taken.append(told))

    place = box()
    build_in_place(place, lambda: build("500"))
    length, width = (one for one in place.descendants() if isinstance(one, KeptInput))
    for one, text in ((length, "700"), (width, "400")):
        (listener,) = one._event_listeners.values()
        assert listener.handler is not None
        listener.handler(GenericEventArguments(sender=one, client=client, args=text))
    build_in_place(place, lambda: build("500"))  # something else has changed
    pressed(named(place)["Add"])(client)
    assert taken.pop() == {"length": "700", "width": "400"}
    build_in_place(place, lambda: build("600"))  # which stands for another width now
    length, width = (one for one in place.descendants() if isinstance(one, KeptInput))
    assert (length._props["value"], length._props["shown"]) == ("700", 0)
    assert (width._props["value"], width._props["shown"]) == ("600", 1)
    pressed(named(place)["Add"])(client)
    assert taken.pop() == {"length": "700", "width": "600"}


def test_a_part_that_fails_leaves_what_it_made_so_far(client: Client) -> None:
    def told() -> None:
        button("First", lambda: None)
        raise ValueError("no more")

    place = box()
    built(place, ("a", [], ""))
    with pytest.raises(ValueError, match="no more"):
        build_in_place(place, told)
    assert list(named(place)) == ["First"]
    assert len([one for one in client.elements.values() if isinstance(one, ui.button)]) == 1
