"""What is measured in a tank's water: quantities, units, and what can be no reading at all.

A reading is kept in the unit in which it was stated. Units of one scale turn into each other exactly
(degrees Celsius and Fahrenheit); those of different scales do not without knowing more: grams of salt in a
kilogram and practical salinity differ by what is dissolved (TEOS-10), milligrams of oxygen in a litre and
per cent of saturation by temperature and salinity. So they are shown and drawn apart.

The bounds refuse only what is a slip of the hand or of the unit; whether a value is good for the animals
is said by the range that the house wants for the tank. They are *common practice, no source*, wide on
purpose: sea water freezes at -1.9 °C (35 g/kg, 1 bar; UNESCO 1983, from memory).
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

CELSIUS, FAHRENHEIT = "°C", "°F"


class NotAReading(ValueError):
    """A value, a unit or a quantity that cannot be; ``column`` names which, the message says what to do."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of a quantity. ``value * factor + offset`` is the value in the scale's own unit."""

    code: str
    words: str
    low: Decimal
    high: Decimal
    scale: str
    factor: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)

    @property
    def symbol(self) -> str:
        """As it is written behind a number; practical salinity and pH have no unit (IOC 2010)."""
        return "" if self.code in {"PSU", "pH"} else self.code


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is measured; its first unit is the one offered."""

    code: str
    words: str
    units: tuple[Unit, ...]

    def unit(self, code: str) -> Unit:
        """The unit of this quantity with this code; raises :class:`NotAReading`."""
        for unit in self.units:
            if unit.code == code:
                return unit
        allowed = ", ".join(unit.code for unit in self.units)
        raise NotAReading("unit", f"{code!r} is no unit of {self.words.lower()}; expected {allowed}")


def _unit(code: str, words: str, low: str, high: str, scale: str = "") -> Unit:
    return Unit(code, words, Decimal(low), Decimal(high), scale or code)


_TO_CELSIUS = Decimal(5) / Decimal(9)

QUANTITIES = (
    Quantity(
        "temperature",
        "Temperature",
        (
            _unit(CELSIUS, "degrees Celsius", "-3", "45"),
            Unit(
                FAHRENHEIT,
                "degrees Fahrenheit",
                Decimal("26.6"),
                Decimal("113"),
                CELSIUS,
                _TO_CELSIUS,
                Decimal(-32) * _TO_CELSIUS,
            ),
        ),
    ),
    Quantity(
        "salinity",
        "Salinity",
        (
            _unit("g/kg", "grams of salt in a kilogram of sea water", "0", "80"),
            _unit("PSU", "practical salinity, a number without a unit", "0", "80"),
        ),
    ),
    Quantity(
        "oxygen",
        "Oxygen",
        (
            _unit("mg/L", "milligrams in a litre", "0", "40"),
            _unit("%", "per cent of saturation", "0", "400"),
        ),
    ),
    Quantity("ph", "pH", (_unit("pH", "pH, a number without a unit", "4", "11"),)),
    Quantity(
        "ammonia", "Ammonia and ammonium", (_unit("mg/L N", "milligrams of nitrogen in a litre", "0", "50"),)
    ),
    Quantity("nitrite", "Nitrite", (_unit("mg/L N", "milligrams of nitrogen in a litre", "0", "100"),)),
    Quantity("nitrate", "Nitrate", (_unit("mg/L N", "milligrams of nitrogen in a litre", "0", "1000"),)),
)
_BY_CODE = {quantity.code: quantity for quantity in QUANTITIES}

# Digits kept: more than any probe in a tank gives.
DECIMAL_PLACES, MAX_DIGITS = 4, 10
_SMALLEST = Decimal(1).scaleb(-DECIMAL_PLACES)


def quantity_of(code: str) -> Quantity:
    """The quantity with this code; raises :class:`NotAReading`."""
    try:
        return _BY_CODE[code]
    except KeyError:
        raise NotAReading(
            "quantity", f"{code!r} is not measured here; expected {', '.join(_BY_CODE)}"
        ) from None


def checked(quantity: str, value: str | Decimal, unit: str) -> Decimal:
    """The value as a number; raises :class:`NotAReading` when it can be no reading of a tank.

    A decimal comma is read as a point.
    """
    measured = quantity_of(quantity)
    stated = measured.unit(unit)
    number = _number(value)
    if not stated.low <= number <= stated.high:
        raise NotAReading("value", _nonsense(measured, stated, number))
    return number


def converted(quantity: str, value: Decimal, unit: str, to: str) -> Decimal | None:
    """``value`` in the unit ``to``, rounded to a tenth more than it was stated; None between scales."""
    measured = quantity_of(quantity)
    stated, wanted = measured.unit(unit), measured.unit(to)
    if stated == wanted:
        return value
    if stated.scale != wanted.scale:
        return None
    exact = _turned(value, stated, wanted)
    return exact.quantize(Decimal("0.1"), rounding=ROUND_HALF_EVEN)


def exactly(quantity: str, value: Decimal, unit: str) -> Decimal:
    """The value in its scale's own unit, for comparing and drawing."""
    stated = quantity_of(quantity).unit(unit)
    return value * stated.factor + stated.offset


def said(value: Decimal, unit: str) -> str:
    """ "9.4 °C", "34.1" for practical salinity, "97 %"; a true minus in front."""
    number = f"{value.normalize():f}".replace("-", "\N{MINUS SIGN}")
    symbol = "" if unit in {"PSU", "pH"} else unit
    return f"{number} {symbol}".strip()


def _number(value: str | Decimal) -> Decimal:
    if isinstance(value, str):
        text = value.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
        try:
            value = Decimal(text)
        except ArithmeticError:
            raise NotAReading("value", f"{text!r} is no number; expected one such as 9.4") from None
    if not value.is_finite():
        raise NotAReading("value", f"{value} is no number; expected one such as 9.4")
    return value.quantize(_SMALLEST) if abs(value) < 10**6 else value


def _nonsense(quantity: Quantity, unit: Unit, number: Decimal) -> str:
    message = (
        f"{said(number, unit.code)} is no {quantity.words.lower() if quantity.code != 'ph' else 'pH'} of a "
        f"tank; expected {said(unit.low, unit.code)} to {said(unit.high, unit.code)}"
    )
    for other in quantity.units:
        if other.scale == unit.scale and other != unit and other.low <= number <= other.high:
            turned = _turned(number, other, unit).quantize(Decimal("0.1"))
            return f"{message}. Was it {said(number, other.code)}, which is {said(turned, unit.code)}?"
    return message


def _turned(value: Decimal, stated: Unit, wanted: Unit) -> Decimal:
    return (value * stated.factor + stated.offset - wanted.offset) / wanted.factor
