"""Exact decimal money on the minor-unit grid of its ISO 4217 currency.

No binary fraction enters here: amounts are ``Decimal`` and every operation either is exact or
rounds where its name says so.
"""

from collections.abc import Iterable, Sequence
from decimal import (
    ROUND_DOWN,
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    ROUND_UP,
    Context,
    Decimal,
    DivisionByZero,
    Inexact,
    InvalidOperation,
    Overflow,
)
from functools import cache, lru_cache
from math import lcm

import numpy as np
import numpy.typing as npt
from iso4217 import Currency

from loomwright.engineering.record import record
from loomwright.pricing.minor_units import percent_of, percent_within, shared_units

# 100 digits hold the product of any price and quantity that a price book may state; an inexact
# step would be a lost cent, so it is an error and not a rounding.
_EXACT = Context(prec=100, traps=[InvalidOperation, DivisionByZero, Overflow, Inexact])
_ROUNDING = Context(prec=100, traps=[InvalidOperation, DivisionByZero, Overflow])
# Shops sell the same quantities at the same prices again and again; each takes some 0.5 kB.
_GREATEST_KNOWN_PRODUCTS = 4096
# Many amounts of one bill are alike, or nothing.
_GREATEST_KNOWN_AMOUNTS = 1024


# How an amount between two minor units is rounded, by the name that a price book says it with.
# Half a minor unit goes away from zero or to the even neighbour; "up" is away from zero.
ROUNDING_MODES = {
    "half_up": ROUND_HALF_UP,
    "half_even": ROUND_HALF_EVEN,
    "down": ROUND_DOWN,
    "up": ROUND_UP,
}


class MoneyError(ValueError):
    """Money that cannot be stated: an unusable currency, a mixed sum, a part of a minor unit."""


@cache
def minor_unit_digits(currency: str) -> int:
    """Return the number of decimals of a currency's minor unit.

    Valid for the active currencies of ISO 4217 list one that have a minor unit; metals, funds and
    testing codes have none and are refused.

    Parameters
    ----------
    currency
        Three-letter code in capitals.

    Returns
    -------
    int
        Decimals of an amount, 0 to 4.

    Raises
    ------
    MoneyError
        The code is not in list one, or the list gives it no minor unit.

    References
    ----------
    ISO 4217 list one, column "minor unit", as carried by the ``iso4217`` package.
    """
    try:
        digits = Currency(currency).exponent
    except ValueError as error:
        raise MoneyError(f"{currency!r} is not an ISO 4217 currency code.") from error
    if digits is None:
        raise MoneyError(f"ISO 4217 gives {currency} no minor unit, so no price can be in it.")
    return int(digits)


# Codes that a price may be in.
CURRENCIES = tuple(sorted(entry.code for entry in Currency if entry.exponent is not None))


def product(left: Decimal, right: Decimal) -> Decimal:
    """Return the exact product of two decimals.

    Parameters
    ----------
    left
        Factor of at most 50 digits.
    right
        Factor of at most 50 digits.

    Returns
    -------
    Decimal
        The product, every digit kept.
    """
    return _EXACT.multiply(left, right)


@cache
def _grid(currency: str) -> Decimal:
    """Return one minor unit of a currency."""
    return Decimal(1).scaleb(-minor_unit_digits(currency))


@record
class Money:
    """An amount on the minor-unit grid of its currency.

    Parameters
    ----------
    amount
        Decimal with exactly the currency's decimals; negative for a credit.
    currency
        ISO 4217 code.
    """

    amount: Decimal
    currency: str

    def __post_init__(self) -> None:
        if not self.amount.same_quantum(_grid(self.currency)):
            digits = minor_unit_digits(self.currency)
            raise MoneyError(f"An amount in {self.currency} has exactly {digits} decimals.")

    def __str__(self) -> str:
        # No exponent is written: an amount has four decimals at most.
        return str(self.amount)

    def __add__(self, other: "Money") -> "Money":
        self._same_currency(other)
        return Money(_EXACT.add(self.amount, other.amount), self.currency)

    def __sub__(self, other: "Money") -> "Money":
        self._same_currency(other)
        return Money(_EXACT.subtract(self.amount, other.amount), self.currency)

    def _same_currency(self, other: "Money") -> None:
        if self.currency != other.currency:
            raise MoneyError(f"{self.currency} and {other.currency} cannot be added.")

    @property
    def minor_units(self) -> int:
        """The amount as a whole number of minor units (cents, fils, yen)."""
        return int(self.amount.scaleb(minor_unit_digits(self.currency), context=_EXACT))


def rounded_money(exact: Decimal, currency: str, rounding: str = ROUND_HALF_UP) -> Money:
    """Return an exact amount rounded to the currency's minor unit.

    This is the one place where money is rounded. Half a minor unit goes away from zero unless
    another mode of the ``decimal`` module is named.

    Parameters
    ----------
    exact
        Amount with any number of decimals.
    currency
        ISO 4217 code.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    Money
        The amount on the grid.

    Raises
    ------
    MoneyError
        The currency is unusable or the amount is not finite.
    """
    if not exact.is_finite():
        raise MoneyError("An amount of money is finite.")
    grid = _grid(currency)
    rounded = exact.quantize(grid, rounding=rounding, context=_ROUNDING)
    # Decimal keeps a negative zero; a price of -0.00 is not something a customer reads.
    return Money(rounded if rounded else grid * 0, currency)


@lru_cache(maxsize=_GREATEST_KNOWN_PRODUCTS)
def rounded_product(each: Decimal, quantity: Decimal, currency: str, rounding: str) -> Money:
    """Return what a quantity comes to, multiplied exactly and then rounded to the minor unit.

    Parameters
    ----------
    each
        Amount for one, of at most 50 digits.
    quantity
        How many, of at most 50 digits.
    currency
        ISO 4217 code.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    Money
        The amount on the grid.

    Raises
    ------
    MoneyError
        The currency is unusable.
    """
    return rounded_money(_EXACT.multiply(each, quantity), currency, rounding)


def product_in_minor_units(each: Decimal, quantity: Decimal, currency: str) -> tuple[int, int]:
    """Return what a quantity comes to before it is rounded, as a quotient of minor units.

    Parameters
    ----------
    each
        Amount for one, of at most 50 digits.
    quantity
        How many, of at most 50 digits.
    currency
        ISO 4217 code.

    Returns
    -------
    tuple of two int
        Numerator and denominator [minor units]; ``rounded_product`` is the quotient, rounded.

    Raises
    ------
    MoneyError
        The currency is unusable.
    """
    exact = _EXACT.multiply(each, quantity)
    return exact.scaleb(minor_unit_digits(currency), context=_EXACT).as_integer_ratio()


@lru_cache(maxsize=_GREATEST_KNOWN_AMOUNTS)
def money_from_minor_units(units: int, currency: str) -> Money:
    """Return the amount that a whole number of minor units makes.

    Parameters
    ----------
    units
        Cents, fils, yen; negative for a credit.
    currency
        ISO 4217 code.

    Returns
    -------
    Money
        The amount.

    Raises
    ------
    MoneyError
        The currency is unusable.
    """
    return Money(Decimal(units).scaleb(-minor_unit_digits(currency), context=_EXACT), currency)


def money_total(amounts: Iterable[Money], currency: str) -> Money:
    """Return the exact sum of amounts, zero for none.

    Parameters
    ----------
    amounts
        Amounts of one currency in any order.
    currency
        ISO 4217 code of the sum.

    Returns
    -------
    Money
        The sum; no rounding takes place.

    Raises
    ------
    MoneyError
        An amount is in another currency.
    """
    total, add = _grid(currency) * 0, _EXACT.add
    for money in amounts:
        if money.currency != currency:
            raise MoneyError(f"{currency} and {money.currency} cannot be added.")
        total = add(total, money.amount)
    return Money(total, currency)


def tax_on(base: Money, percent: Decimal, rounding: str = ROUND_HALF_UP) -> Money:
    """Return a tax on a net amount, rounded to the minor unit.

    Parameters
    ----------
    base
        Net amount that the tax is due on.
    percent
        Rate [%], 0 or more.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    Money
        The tax.
    """
    units = percent_of(base.minor_units, percent, rounding)
    return money_from_minor_units(int(units), base.currency)


def tax_within(gross: Money, percent: Decimal, rounding: str = ROUND_HALF_UP) -> Money:
    """Return the tax that an amount holds already, rounded to the minor unit.

    Parameters
    ----------
    gross
        Amount with the tax.
    percent
        Rate on the net amount [%], 0 or more.
    rounding
        Rounding mode of the ``decimal`` module.

    Returns
    -------
    Money
        The tax; ``gross`` less it is the net amount.

    Notes
    -----
    ``gross x percent / (100 + percent)``, the tax fraction: 1/6 at 20 %, 1/11 at 10 %.

    References
    ----------
    HMRC VAT guide (Notice 700), the VAT fraction (memory).
    """
    units = percent_within(gross.minor_units, percent, rounding)
    return money_from_minor_units(int(units), gross.currency)


def shared_money(total: Money, weights: Sequence[Decimal]) -> tuple[Money, ...]:
    """Return an amount shared by weights to the last minor unit.

    Each share is first cut to whole minor units; those left over go one by one to the shares that
    lost most by the cut, the earlier first where they lost alike (largest remainder).

    Parameters
    ----------
    total
        Amount to be shared; may be negative.
    weights
        One or more weights, none negative; equal shares where all are zero.

    Returns
    -------
    tuple of Money
        Shares that add up to the total exactly.

    Raises
    ------
    MoneyError
        No weight, or a negative one.
    """
    if not weights or min(weights) < 0:
        raise MoneyError("Money is shared by one or more weights of 0 or more.")
    shares = shared_units(total.minor_units, whole_weights(weights))
    return tuple(money_from_minor_units(share, total.currency) for share in shares.tolist())


def whole_weights(weights: Sequence[Decimal]) -> npt.NDArray[np.object_]:
    """Return weights as whole numbers of any size that stand to each other in the same way."""
    ratios = [weight.as_integer_ratio() for weight in weights]
    together = lcm(*(denominator for _, denominator in ratios))
    whole = [together // denominator * numerator for numerator, denominator in ratios]
    return np.array(whole, object)
