"""Text to SI and back: outside factors, exact round trips, and sentences for what cannot be read."""

import math
import subprocess
import sys
from contextlib import suppress
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.units.formats import format_percent, format_quantity, format_time
from truerun.units.number import decimal_sign, parse_number, parse_written, plain_text
from truerun.units.quantity import Spread, read_quantity
from truerun.units.unit import UNITS, Dimension, Unit, parse_unit, units_of

LENGTH, MASS, TIME = Dimension.LENGTH, Dimension.MASS, Dimension.TIME

# Our symbols in the words of the registry of pint, where the two differ.
IN_PINT = {
    "°": "degree",
    "r/min": "revolution / minute",
    "turns/s": "turn / second",
    "rad/s²": "radian / second ** 2",
    "kg m²": "kilogram * meter ** 2",
    "g m²": "gram * meter ** 2",
    "g cm²": "gram * centimeter ** 2",
    "N m": "newton * meter",
    "mN m": "millinewton * meter",
    "µN m": "micronewton * meter",
    "in": "inch",
    "h": "hour",
    "Ω": "ohm",
    "kΩ": "kiloohm",
    "mΩ": "milliohm",
    "G": "tesla / 10000",  # in pint a gauss is of another system; 1 G = 1e-4 T by NIST SP 811 B.8
    "°C": "delta_degree_Celsius",
    "%": "percent",
    "": "dimensionless",
    "mm/m": "millimeter / meter",
}

finite = st.floats(allow_nan=False, allow_infinity=False)
bench = st.floats(min_value=-1e12, max_value=1e12, allow_nan=False)
units = st.sampled_from(UNITS)
signs = st.sampled_from([".", ","])


@pytest.fixture(scope="module")
def registry() -> Any:
    return pint.UnitRegistry()


class TestFactorsAreThoseOfOtherPeople:
    @pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.symbol or "ratio")
    def test_every_factor_is_that_of_pint(self, unit: Unit, registry: Any) -> None:
        other = registry.Quantity(f"1 {IN_PINT.get(unit.symbol, unit.symbol)}").to_base_units()
        assert unit.factor == pytest.approx(other.magnitude, rel=4e-16, abs=0.0)  # a few roundings in pint's chain

    def test_inch_foot_pound_and_ounce_are_exact(self) -> None:
        # NIST SP 811 (2008) B.8: 2.54E-02 m, 3.048E-01 m, 4.535 923 7E-01 kg, 2.834 952 E-02 kg (pound / 16)
        exact = {symbol: parse_unit(symbol).exact for symbol in ("in", "ft", "lb", "oz")}
        assert exact == {
            "in": Fraction(254, 10000),
            "ft": Fraction(3048, 10000),
            "lb": Fraction(45359237, 10**8),
            "oz": Fraction(45359237, 16 * 10**8),
        }
        assert round(exact["oz"], 8) == Fraction("0.02834952")

    def test_angles_are_the_floats_nearest_to_the_true_values(self) -> None:
        assert parse_unit("turn").factor == math.tau
        assert parse_unit("deg").factor == math.radians(1.0)
        assert read_quantity("90°", Dimension.ANGLE).value == math.pi / 2

    def test_no_spelling_stands_for_two_units(self) -> None:
        for unit in UNITS:
            for spelling in (unit.symbol, *unit.spellings):
                assert parse_unit(spelling) is unit

    def test_every_dimension_can_be_written(self) -> None:
        assert all(units_of(dimension) for dimension in Dimension)


class TestWhatIsWrittenReadsBack:
    @given(finite, units, signs)
    def test_all_digits_give_the_identical_float(self, value: float, unit: Unit, decimal: str) -> None:
        text = format_quantity(value, unit, decimal=decimal)
        assert read_quantity(text, unit.dimension, decimal=decimal).value == value

    @given(st.floats(min_value=-1e9, max_value=1e9), st.floats(min_value=1e-9, max_value=1e9), units, signs)
    def test_value_and_uncertainty_read_back_within_a_last_digit(
        self, value: float, uncertainty: float, unit: Unit, decimal: str
    ) -> None:
        text = format_quantity(value, unit, uncertainty, decimal=decimal)
        back = read_quantity(text, unit.dimension, decimal=decimal, spread=Spread.STANDARD)
        assert back.standard_uncertainty == pytest.approx(uncertainty, rel=0.0501)  # 10.5 is written 10 or 11
        assert abs(back.value - value) <= 0.0501 * uncertainty + 1e-15 * abs(value)

    @given(st.floats(min_value=-1e6, max_value=1e6), st.integers(min_value=0, max_value=6), signs)
    def test_a_clock_time_reads_back_as_the_rounded_seconds(self, seconds: float, decimals: int, decimal: str) -> None:
        text = format_time(seconds, decimals, decimal=decimal)
        assert read_quantity(text, TIME, decimal=decimal).value == round(seconds, decimals)

    @given(bench, signs)
    def test_a_percentage_reads_back_within_half_its_last_digit(self, share: float, decimal: str) -> None:
        text = format_percent(share, decimals=3, signed=True, decimal=decimal)
        back = read_quantity(text, Dimension.RATIO, decimal=decimal).value
        assert back == pytest.approx(share, abs=0.5001e-5, rel=1e-15)

    def test_three_and_a_half_millimetres_is_the_literal(self) -> None:
        assert read_quantity("3.5 mm", LENGTH).value == 0.0035
        assert read_quantity("4.1 mm", LENGTH).value == 0.0041 != 4.1 * 0.001  # a product of floats would miss


class TestNumbers:
    @pytest.mark.parametrize(
        ("text", "value"),
        [
            ("12.3", 12.3),
            ("12,3", 12.3),
            ("−5", -5.0),
            ("-5", -5.0),
            ("+0.5", 0.5),
            (".5", 0.5),
            ("0,125", 0.125),
            ("1 234.5", 1234.5),
            ("1\u202f234\u00a0567", 1234567.0),
            ("1,234.5", 1234.5),
            ("1.234,5", 1234.5),
            ("1,234,567", 1234567.0),
            ("1.234.567", 1234567.0),
            ("100.021 47", 100.02147),
            ("11 3/8", 11.375),
            ("11-3/8", 11.375),
            ("−11⅜", -11.375),
            ("½", 0.5),
            ("1.2e-4", 1.2e-4),
            ("1.2×10⁻⁴", 1.2e-4),
            ("1,2 x 10^-4", 1.2e-4),
        ],
    )
    def test_the_ways_of_writing_one_number(self, text: str, value: float) -> None:
        assert parse_number(text) == value

    @pytest.mark.parametrize("text", ["", "x", "1 2", "1,23.4", "12,34,567.8", "1.2.3", "5--3", "1/0", "3 x 100", "٣"])
    def test_what_is_not_one_number_is_refused(self, text: str) -> None:
        with pytest.raises(ValueOutOfRange):
            parse_number(text)

    def test_thousands_or_decimals_is_a_question(self) -> None:
        with pytest.raises(ChoiceNeeded, match=r'"1\.234" or "1234"'):
            parse_number("1,234")
        assert parse_number("1,234", ",") == 1.234
        assert parse_number("1,234", ".") == 1234.0
        assert parse_number("1.234", ",") == 1234.0

    def test_another_number_in_the_text_settles_the_question(self) -> None:
        assert read_quantity("1,234 ± 0,01 mm", LENGTH).value == 0.001234
        assert decimal_sign(["1.234", "5,5"]) == ","
        assert decimal_sign(["1.234", "5.678"]) == "."

    def test_a_column_written_both_ways_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match=r'both as "61\.52" and as "61,5"'):
            decimal_sign(["61.52", "61,5"])

    def test_a_grouped_number_must_fit_the_stated_sign(self) -> None:
        with pytest.raises(ValueOutOfRange, match="decimal comma"):
            parse_number("12.3", ",")

    def test_no_other_decimal_sign_is_taken(self) -> None:
        with pytest.raises(ValueOutOfRange, match="a point or a comma"):
            parse_number("12", ";")

    def test_the_step_of_the_last_digit_is_kept(self) -> None:
        assert parse_written("12.30").step == Fraction(1, 100)
        assert parse_written("3/16").step == Fraction(1, 16)
        assert parse_written("1.2e3").step == 100

    @given(st.text(alphabet="0123456789.,/ -+e×10^⁻()±:", max_size=130))
    def test_any_text_is_read_or_refused_in_our_own_words(self, text: str) -> None:
        for dimension in (TIME, LENGTH, Dimension.RATIO):
            with suppress(ValueOutOfRange, ChoiceNeeded):  # nothing else may come out
                assert math.isfinite(read_quantity(text, dimension).value)

    def test_huge_powers_are_refused_at_once(self) -> None:
        with pytest.raises(ValueOutOfRange, match="computer can hold"):
            parse_number("1e999")
        with pytest.raises(ValueOutOfRange):
            parse_number("1e999999999")
        with pytest.raises(ValueOutOfRange, match="at most 120"):
            parse_number("1" * 5000)

    def test_signs_and_spaces_get_their_plain_form(self) -> None:
        assert plain_text("\u2212\u200912\u00a0mm ") == "- 12 mm"


class TestQuantities:
    @pytest.mark.parametrize(
        ("text", "dimension", "value", "resolution"),
        [
            ("11 3/8 in", LENGTH, 0.288925, 0.003175),  # 11.375 * 25.4 mm
            ('3/16"', LENGTH, 0.0047625, 0.0015875),
            ("12,3 mm", LENGTH, 0.0123, 0.0001),
            ("8 oz", MASS, 0.22679618500, 0.028349523125),
            ("25.0 g", MASS, 0.025, 0.0001),
            ("2:03.4", TIME, 123.4, 0.1),
            ("1:02:03", TIME, 3723.0, 1.0),
            ("75:00", TIME, 4500.0, 1.0),
            ("−0:03,25", TIME, -3.25, 0.01),
            ("40 µs", TIME, 4e-5, 1e-6),
            ("40 us", TIME, 4e-5, 1e-6),
            ("1.5 h", TIME, 5400.0, 360.0),
            ("30 r/min", Dimension.SPEED, math.pi, 0.10471975511965978),
            ("2.5 Wh", Dimension.ENERGY, 9000.0, 360.0),
            ("470 uF", Dimension.CAPACITANCE, 4.7e-4, 1e-6),
            ("−30 %", Dimension.RATIO, -0.3, 0.01),
            ("0.25", Dimension.RATIO, 0.25, 0.01),
            ("1.5 mm/m", Dimension.RATIO, 0.0015, 0.0001),
        ],
    )
    def test_value_and_resolution_in_si(self, text: str, dimension: Dimension, value: float, resolution: float) -> None:
        read = read_quantity(text, dimension)
        assert (read.value, read.resolution) == (value, resolution)
        assert read.standard_uncertainty is None
        assert read.dimension is dimension

    @pytest.mark.parametrize(
        "text",
        ["12.3 ± 0.2 mm", "12.3+-0.2 mm", "12.3 +/- 0.2mm", "12.3 mm ± 0.2 mm", "(12.3 ± 0.2) mm", "1.23 cm ± 200 µm"],
    )
    def test_the_ways_of_writing_plus_or_minus(self, text: str) -> None:
        read = read_quantity(text, LENGTH)
        assert (read.value, read.half_width) == (0.0123, 0.0002)

    def test_a_power_of_ten_counts_for_both_sides(self) -> None:
        read = read_quantity("(1.20 ± 0.04)×10⁻⁷ kg m²", Dimension.INERTIA)
        assert (read.value, read.half_width) == (1.2e-7, 4e-9)

    def test_a_half_width_becomes_a_standard_uncertainty_only_as_the_caller_says(self) -> None:
        # GUM 4.3.7 (rectangular), 4.3.9 (triangular), 6.3.3 (k = 2 for about 95 %)
        divisors = {
            Spread.STANDARD: 1.0,
            Spread.EXPANDED: 2.0,
            Spread.RECTANGULAR: 3**0.5,
            Spread.TRIANGULAR: 6**0.5,
            Spread.ARCSINE: 2**0.5,
        }
        for spread, divisor in divisors.items():
            read = read_quantity("5 ± 0.3 g", MASS, spread=spread)
            assert (read.half_width, read.spread) == (0.0003, spread)
            assert read.standard_uncertainty == 0.0003 / divisor
        assert read_quantity("5 ± 0.3 g", MASS).spread is Spread.RECTANGULAR

    def test_digits_in_brackets_are_a_standard_uncertainty(self) -> None:
        # the mass standard of GUM 7.2.2, written in two of its ways: m_s = 100.021 47 g, u = 0.35 mg
        for text in ("100,021 47(35) g", "100.02147(0.00035) g"):
            read = read_quantity(text, MASS)
            assert (read.value, read.half_width) == (0.10002147, 3.5e-7)
            assert read.standard_uncertainty == 3.5e-7
        assert read_quantity("12(3) g", MASS).standard_uncertainty == 0.003
        assert read_quantity("12.34(5) s", TIME).standard_uncertainty == 0.05

    def test_percent_behind_plus_or_minus_is_a_share_of_the_value(self) -> None:
        assert read_quantity("−10 mF ± 20 %", Dimension.CAPACITANCE).half_width == 0.002
        assert read_quantity("50 % ± 2 %", Dimension.RATIO).half_width == 0.02

    def test_a_number_without_unit_takes_that_of_its_column(self) -> None:
        assert read_quantity("12.5", TIME, unit=parse_unit("ms")).value == 0.0125
        assert read_quantity("2:00", TIME, unit=parse_unit("min")).value == 120.0


class TestRefusalsSayWhatToDo:
    @pytest.mark.parametrize(
        ("text", "dimension", "sentence"),
        [
            ("3 Kg", MASS, 'mass is "3 Kg"; it must be written like 12.3 g. Did you mean "kg"?'),
            ("3 mms", LENGTH, 'length is "3 mms"; it must be written like 12.3 mm. Did you mean "mm"?'),
            ("3 kg", LENGTH, 'length is "3 kg"; it must be written like 12.3 mm. kg is a unit of mass.'),
            ("3", LENGTH, "Write the unit behind the number: mm, cm, m, µm, in, ft."),
            ("2:63", TIME, "Seconds, and minutes behind hours, stop at 59."),
            ("2:3.4", TIME, "have two digits"),
            ("2:03 h", TIME, "no unit follows"),
            ("soon", TIME, 'time is "soon"; it must be written like 12.3 s or 2:03.4.'),
            ("3 ± 0.1 ± 0.1 mm", LENGTH, "Write the uncertainty once"),
            ("3(1) ± 2 mm", LENGTH, "Write the uncertainty once"),
            ("3 ± -1 mm", LENGTH, "not negative"),
            ("3 mm ± 1 g", LENGTH, "of one kind"),
            ("3(1/2) mm", LENGTH, "Write the number in mm"),
            ("3 MW", Dimension.POWER, 'Did you mean "mW"?'),
        ],
    )
    def test_found_allowed_and_remedy(self, text: str, dimension: Dimension, sentence: str) -> None:
        with pytest.raises(ValueOutOfRange) as refusal:
            read_quantity(text, dimension)
        assert sentence in str(refusal.value)

    def test_the_field_is_called_as_on_the_page(self) -> None:
        with pytest.raises(ValueOutOfRange, match='gap is "wide"'):
            read_quantity("wide", LENGTH, name="gap")

    def test_an_unknown_unit_lists_those_of_its_dimension(self) -> None:
        with pytest.raises(ValueOutOfRange, match=r"unit of force is .* one of N, mN"):
            parse_unit("stone", Dimension.FORCE)


class TestSpellings:
    def test_superscripts_carets_and_dots_are_one_unit(self) -> None:
        assert {parse_unit(text).symbol for text in ("kg m²", "kg·m^2", "kg*m2", "kg m2")} == {"kg m²"}


class TestWriting:
    @pytest.mark.parametrize(
        ("value", "unit", "uncertainty", "text"),
        [
            (0.0123, "mm", 0.0002, "12.30 ± 0.20 mm"),
            (-0.0123, "mm", 0.0000996, "−12.30 ± 0.10 mm"),
            (4567.0, "m", 123.0, "4570 ± 120 m"),
            (0.0, "mm", 0.0002, "0.00 ± 0.20 mm"),
            (1.2e-7, "kg m²", 4e-9, "(1.200 ± 0.040)×10⁻⁷ kg m²"),
            (math.pi / 2, "°", 0.0175, "90.0 ± 1.0°"),
            (0.0035, "mm", 0.0, "3.5 ± 0 mm"),
            (0.5, "", None, "0.5"),
            (-0.3, "%", None, "−30 %"),
            (1e-9, "m", None, "1×10⁻⁹ m"),
        ],
    )
    def test_two_digits_of_uncertainty_and_the_value_to_the_same_place(
        self, value: float, unit: str, uncertainty: float | None, text: str
    ) -> None:
        assert format_quantity(value, unit, uncertainty).replace("\u00a0", " ") == text

    def test_the_comma_reader_gets_a_comma(self) -> None:
        assert format_quantity(0.0123, "mm", decimal=",") == "12,3\u00a0mm"
        assert format_time(123.4, 1, decimal=",") == "2:03,4"
        assert format_percent(0.055, decimal=",") == "5,5\u00a0%"

    def test_digits_can_be_limited(self) -> None:
        assert format_quantity(0.99996, "s", digits=3) == "1.00\u00a0s"
        assert format_quantity(123456.0, "s", digits=3) == "123000\u00a0s"

    def test_rounding_carries_into_minutes_and_hours(self) -> None:
        assert format_time(59.96, 1) == "1:00.0"
        assert format_time(3599.96, 1) == "1:00:00.0"
        assert format_time(-0.04, 1) == "0:00.0"
        assert format_time(-3.0, 0) == "−0:03"
        assert format_time(3.0, 2) == "0:03.00"

    def test_a_rounded_zero_has_no_sign(self) -> None:
        assert format_percent(-0.0001, signed=True) == "0.0\u00a0%"
        assert format_percent(0.0001, signed=True) == "0.0\u00a0%"

    @pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
    def test_what_is_not_a_number_is_not_written(self, value: float) -> None:
        with pytest.raises(ValueOutOfRange, match="finite"):
            format_quantity(value, "s")
        with pytest.raises(ValueOutOfRange, match="finite"):
            format_time(value, 1)
        with pytest.raises(ValueOutOfRange, match="finite"):
            format_percent(value)

    def test_a_negative_uncertainty_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="zero or positive"):
            format_quantity(1.0, "s", -0.1)


def test_units_do_not_import_numpy() -> None:
    code = "import sys, truerun.units; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
