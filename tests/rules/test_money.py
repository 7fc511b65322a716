"""Amounts of money and the minor units of currencies."""

from __future__ import annotations

from decimal import Decimal

import pytest

from domain.rules.money import minor_digits, minor_units


@pytest.mark.parametrize(
    ("currency", "digits"),
    [("EUR", 2), ("GBP", 2), ("JPY", 0), ("KRW", 0), ("ISK", 0), ("UYI", 0), ("BHD", 3), ("KWD", 3), ("CLP", 0), ("CLF", 4), ("UYW", 4)],
)
def test_currencies_have_their_own_minor_units(currency, digits):
    assert minor_digits(currency) == digits


@pytest.mark.parametrize(
    ("amount", "currency", "minor"),
    [("12.34", "EUR", 1234), ("900", "JPY", 900), ("900.00", "JPY", 900), ("1.005", "BHD", 1005), ("0.0001", "CLF", 1)],
)
def test_an_amount_is_counted_in_minor_units(amount, currency, minor):
    assert minor_units(Decimal(amount), currency=currency) == minor


@pytest.mark.parametrize(("amount", "currency", "said"), [("0.005", "EUR", "at most 2 decimals"), ("0.5", "JPY", "no decimals")])
def test_a_part_of_a_minor_unit_is_refused(amount, currency, said):
    with pytest.raises(ValueError, match=said):
        minor_units(Decimal(amount), currency=currency)
