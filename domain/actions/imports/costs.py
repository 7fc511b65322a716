"""Money as lists state it: a decimal number in the organisation's currency, kept in its minor unit."""

from __future__ import annotations

from decimal import Decimal

NO_MINOR_UNIT = frozenset(
    (
        "BIF",
        "CLP",
        "DJF",
        "GNF",
        "ISK",
        "JPY",
        "KMF",
        "KRW",
        "PYG",
        "RWF",
        "UGX",
        "UYI",
        "VND",
        "VUV",
        "XAF",
        "XOF",
        "XPF",
    )
)
"""Currencies without a minor unit.

Source:
    ISO 4217, list one.
"""
THREE_DIGITS = frozenset(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"))
"""Currencies whose minor unit is a thousandth.

Source:
    ISO 4217, list one.
"""
FOUR_DIGITS = frozenset(("CLF", "UYW"))
"""Units of account with four digits.

Source:
    ISO 4217, list one.
"""


def minor_digits(currency: str) -> int:
    """Return how many decimals amounts in a currency have."""
    if currency in NO_MINOR_UNIT:
        return 0
    if currency in THREE_DIGITS:
        return 3
    return 4 if currency in FOUR_DIGITS else 2


def minor_units(amount: Decimal, *, currency: str) -> int:
    """Return an amount in the currency's minor unit, exactly.

    Raises:
        ValueError: It has more decimals than the currency.
    """
    digits = minor_digits(currency)
    scaled = amount.scaleb(digits)
    if scaled != scaled.to_integral_value():
        raise ValueError(f"amounts in {currency} have at most {digits} decimals" if digits else f"amounts in {currency} have no decimals")
    return int(scaled)
