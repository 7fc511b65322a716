"""Truth with a third value."""

from __future__ import annotations

from itertools import product

import pytest

from domain.rules.law.truth import NO, YES, all_of, any_of, known, unknown

VALUES = (YES, NO, unknown("a"), unknown("b"))


@pytest.mark.parametrize(("one", "other"), list(product(VALUES, repeat=2)))
def test_what_is_false_settles_all_and_what_is_true_settles_any(one, other):
    every, some = all_of((one, other)), any_of((one, other))

    assert every.is_false == (one.is_false or other.is_false)
    assert every.is_true == (one.is_true and other.is_true)
    assert some.is_true == (one.is_true or other.is_true)
    assert some.is_false == (one.is_false and other.is_false)
    assert every.missing == (frozenset() if every.is_known else one.missing | other.missing)


@pytest.mark.parametrize("value", VALUES)
def test_denying_twice_says_the_same(value):
    assert ~~value == value
    assert (~value).missing == value.missing


def test_nothing_at_all_holds_and_none_of_it_does():
    assert (all_of(()), any_of(())) == (YES, NO)
    assert [known(one) for one in (True, False)] == [YES, NO]
