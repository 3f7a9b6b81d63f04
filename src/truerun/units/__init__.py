"""Text to SI and back, by a small grammar of our own; nothing else in truerun reads or writes a unit."""

from truerun.units.formats import format_percent, format_quantity, format_time
from truerun.units.number import decimal_sign, parse_number
from truerun.units.quantity import Quantity, Spread, read_quantity
from truerun.units.unit import Dimension, Unit, parse_unit

__all__ = [
    "Dimension",
    "Quantity",
    "Spread",
    "Unit",
    "decimal_sign",
    "format_percent",
    "format_quantity",
    "format_time",
    "parse_number",
    "parse_unit",
    "read_quantity",
]
