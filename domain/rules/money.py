"""Amounts of money: a decimal number in a currency, kept as whole minor units."""

from __future__ import annotations

from decimal import Decimal

_NONE = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
_THOUSANDTHS = "BHD IQD JOD KWD LYD OMR TND"
_TEN_THOUSANDTHS = "CLF UYW"
MINOR_DIGITS = {
    **dict.fromkeys(_NONE.split(), 0),
    **dict.fromkeys(_THOUSANDTHS.split(), 3),
    **dict.fromkeys(_TEN_THOUSANDTHS.split(), 4),
}
"""Currencies and units of account whose minor unit is not a hundredth, with the decimals that their amounts have.

Source:
    ISO 4217, list one.
"""


def minor_digits(currency: str) -> int:
    """Return how many decimals amounts in a currency have."""
    return MINOR_DIGITS.get(currency, 2)


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
