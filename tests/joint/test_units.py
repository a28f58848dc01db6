"""Quantities in, N-mm-MPa-K inside. Reference: pint itself, and exact legal definitions."""

import math

import pint
import pytest

from fejoint.units import DISPLAY_SYSTEMS, as_number, display, shown_unit


@pytest.mark.parametrize(
    ("given", "inside", "expected"),
    [
        (0.2, "mm", 0.2),
        ("0.2 mm", "mm", 0.2),
        ("1 in", "mm", 25.4),  # international inch, exact (1959 agreement)
        ("10 ksi", "MPa", 10e3 * 4.4482216152605 / 25.4**2),  # pound-force: 0.45359237 kg * 9.80665 m/s^2, exact
        ("2.5kN", "N", 2500.0),
        ("1 lbf", "N", 4.4482216152605),
        ("3 N*m", "N*mm", 3000.0),
        ("430 J/m^2", "N/mm", 0.43),
        ("-100 K", "K", -100.0),
        ("-100 degC", "K", -100.0),
        ("-180 degF", "K", -100.0),
        ("-180 °F", "K", -100.0),
        ("-100 celsius", "K", -100.0),
        ("23e-6 1/K", "1/K", 23e-6),
        ("23e-6 /degC", "1/K", 23e-6),
        ("13e-6/degF", "1/K", 13e-6 * 1.8),
        ("23 ppm/K", "1/K", 23e-6),
        ("33 %", "", 0.33),
        # Absolute temperatures: 0 degC is 273.15 K, 32 degF is 0 degC, by definition.
        ("120 degC", "K absolute", 393.15),
        ("-40 °C", "K absolute", 233.15),
        ("-40 degF", "K absolute", 233.15),
        ("32 fahrenheit", "K absolute", 273.15),
        ("20 celsius", "K absolute", 293.15),
        ("300 K", "K absolute", 300.0),
        ("300 K absolute", "K absolute", 300.0),
        ("491.67 degR", "K absolute", 273.15),
        (293.15, "K absolute", 293.15),
        (" +1.5e1 mm ", "mm", 15.0),
        (".5 mm", "mm", 0.5),
    ],
)
def test_quantities(given, inside, expected):
    assert as_number(given, inside) == pytest.approx(expected, rel=1e-12)


def test_pint_quantities_of_any_registry():
    assert as_number(pint.UnitRegistry().Quantity(2, "GPa"), "MPa") == pytest.approx(2000, rel=1e-12)
    assert as_number(pint.application_registry.Quantity(1, "inch"), "mm") == pytest.approx(25.4, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "kelvin"), [("degC", -180), ("delta_degC", -180), ("degF", -100), ("delta_degF", -100), ("K", -180)]
)
def test_pint_temperatures_are_differences(unit, kelvin):
    """As the text "-180 degF": 180 degF are 100 K; an offset must never enter."""
    assert as_number(pint.application_registry.Quantity(-180, unit), "K") == pytest.approx(kelvin, rel=1e-12)


@pytest.mark.parametrize(
    ("given", "inside", "says"),
    [
        ("2 kg", "mm", "a length"),
        ("2", "mm", None),
        ("two mm", "mm", "a length"),
        ("2 furlongz", "mm", "not a unit"),
        ("9**9**9 mm", "mm", "not a unit"),
        ("1 __import__('os').system('true')", "mm", "not a unit"),
        ("", "mm", "a length"),
        ("nan mm", "mm", "a length"),
        ("inf", "mm", "a length"),
        (math.nan, "mm", "finite"),
        (math.inf, "MPa", "finite"),
        ("1e999 mm", "mm", "finite"),
        (10**400, "mm", "finite"),
        (True, "mm", "a length"),
        (None, "mm", "a length"),
        ([1.0], "mm", "a length"),
        ("5 degC/m", "K", "temperature"),
        ("5 degC/m", "K absolute", "an absolute temperature"),
        ("5 delta_degC", "K absolute", "an absolute temperature"),
        ("5 mm", "K absolute", "an absolute temperature"),
    ],
)
def test_refusals_say_what_is_wanted(given, inside, says):
    if says is None:
        assert as_number(given, inside) == 2.0
        return
    with pytest.raises(ValueError, match=says):
        as_number(given, inside)


@pytest.mark.parametrize(("unit", "kelvin"), [("degC", 393.15), ("kelvin", 120), ("degF", (120 + 459.67) / 1.8)])
def test_pint_temperatures_may_be_absolute(unit, kelvin):
    """Held against pint's own offset scales."""
    given = pint.application_registry.Quantity(120, unit)
    assert as_number(given, "K absolute") == pytest.approx(kelvin, rel=1e-12)
    assert as_number(given, "K absolute") == pytest.approx(given.to("K").magnitude, rel=1e-12)


def test_absolute_temperatures_are_shown_as_people_write_them():
    for system in DISPLAY_SYSTEMS:
        assert as_number(display(393.15, "K absolute", system, digits=12), "K absolute") == pytest.approx(393.15, rel=1e-12)
    assert display(393.15, "K absolute") == "120 degC"
    assert display(273.15, "K absolute") == "0 degC"
    assert display(233.15, "K absolute", "inch") == "-40 degF"
    assert shown_unit("K absolute", "inch") == (1.0, "K")


def test_display_converts_back():
    """What is shown in any system reads back as the same quantity."""
    for system in DISPLAY_SYSTEMS:
        for inside in ("mm", "MPa", "N", "N*mm", "1/K", ""):
            text = display(123.456, inside, system, digits=12)
            assert as_number(text, inside) == pytest.approx(123.456, rel=1e-9)
    assert display(-100.0, "K", "inch") == "-180 degF"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (72000.0, "72000 MPa"),
        (22.488, "22.49 MPa"),
        (0.005248, "0.005248 MPa"),
        (2.32e-5, "2.32e-05 MPa"),
        (99999.6, "100000 MPa"),
        (0.0, "0 MPa"),
    ],
)
def test_numbers_are_shown_as_people_write_them(value, text):
    assert display(value, "MPa") == text
