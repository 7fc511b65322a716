"""Flow to one sink: as much as a second way of reckoning finds, and nothing taken back."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from domain.rules.flow import SINK, Network

PLACES = 4
rooms = st.lists(st.integers(0, 3), min_size=PLACES, max_size=PLACES)
choices = st.lists(st.sets(st.integers(0, PLACES - 1)), max_size=6)
numbers = st.integers(0, 4)


def pushed(chosen, amounts, room):
    """Return how much each in turn could push, and the network."""
    network = Network()
    places = [network.node() for _ in room]
    for place, there in zip(places, room, strict=True):
        network.arc(place, SINK, there)
    found = []
    for places_open, amount in zip(chosen, amounts, strict=False):
        node = network.node()
        for place in sorted(places_open):
            network.arc(node, places[place], 100)
        found.append(network.push(node, amount))
    return found


def most(chosen, amounts, room):
    """Return the most that can be placed, by the least of all cuts: which places are given up."""
    least = None
    for given_up in product((False, True), repeat=len(room)):
        cut = sum(there for there, is_up in zip(room, given_up, strict=True) if is_up)
        cut += sum(amount for open_, amount in zip(chosen, amounts, strict=False) if any(not given_up[one] for one in open_))
        least = cut if least is None else min(least, cut)
    return least


@given(choices, st.lists(numbers, min_size=6, max_size=6), rooms)
def test_as_much_is_pushed_as_the_least_cut_lets_through(chosen, amounts, room):
    assert sum(pushed(chosen, amounts, room)) == most(chosen, amounts, room)


@given(choices, st.lists(numbers, min_size=6, max_size=6), rooms)
def test_whoever_comes_first_has_what_there_is_without_the_others(chosen, amounts, room):
    found = pushed(chosen, amounts, room)

    assert [sum(found[:end]) for end in range(len(found) + 1)] == [most(chosen[:end], amounts[:end], room) for end in range(len(found) + 1)]


def test_an_earlier_one_is_led_another_way_to_make_room():
    network = Network()
    wide, narrow = network.node(), network.node()
    first, second = network.node(), network.node()
    for node in (wide, narrow):
        network.arc(node, SINK, 1)
    to_narrow, to_wide = network.arc(first, narrow, 1), network.arc(first, wide, 1)
    network.arc(second, narrow, 1)

    assert (network.push(first, 1), network.flow(to_narrow)) == (1, 1)
    assert network.push(second, 1) == 1
    assert (network.flow(to_narrow), network.flow(to_wide)) == (0, 1)
    assert network.push(second, 1) == 0
