"""Numbers in print: three figures, true minus signs, lengths to the centimetre, utilisations
rounded up."""

import numpy as np

# Rounding of values that are meant to be equal.
SLACK = 1e-9


def within(utilisation: float) -> bool:
    """Whether a utilisation is not above 1."""
    return utilisation <= 1.0 + SLACK


def rounded_up(utilisation: float) -> str:
    """A utilisation to the hundredth, rounded up: 1.00 and less passes, 1.01 and more does not."""
    if not np.isfinite(utilisation):
        return "–"
    shown = np.ceil(100.0 * (utilisation - SLACK)) / 100.0
    return f"{min(shown, 1.0) if within(utilisation) else max(shown, 1.01):.2f}"


def number(value: float) -> str:
    """A number to three figures in plain notation, with a true minus sign."""
    if not np.isfinite(value):
        return "–"
    rounded = float(f"{value:.3g}")
    if rounded == 0.0:
        return "0"
    if abs(rounded) < 1e-3 or abs(rounded) >= 1e6:
        digits, power = f"{rounded:.2e}".split("e")
        text = f"{digits} × 10{_raised(int(power))}"
    else:
        decimals = max(0, 2 - int(np.floor(np.log10(abs(rounded)))))
        text = f"{rounded:.{decimals}f}"
    return text.replace("-", "\u2212", 1) if text.startswith("-") else text


def at_least(value: float) -> str:
    """A lower bound to three figures, no more than its value but for rounding."""
    return number(_figures(value, np.floor))


def at_most(value: float) -> str:
    """An upper bound to three figures, no less than its value but for rounding."""
    return number(_figures(value, np.ceil))


def _figures(value: float, towards: np.ufunc) -> float:
    if not np.isfinite(value) or value == 0.0:
        return value
    unit = 10.0 ** (np.floor(np.log10(abs(value))) - 2.0)
    near = np.round(value / unit)
    return float(unit * (near if abs(value / unit - near) < 1e-6 else towards(value / unit)))


def as_result(value: float) -> str:
    """A result to three figures, no finer than a thousandth of its unit: less is rounding."""
    rounded = round(value, 3)
    if not np.isfinite(value) or rounded == 0.0:
        return number(rounded)
    # Rounded once: 2.0348 is not 2.035 and then 2.04.
    return number(value) if abs(rounded) >= 0.1 else f"{rounded:.3f}".replace("-", "\u2212", 1)


def _raised(power: int) -> str:
    return str(power).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


def length(value: float) -> str:
    """A coordinate or length [m] to the centimetre, to the millimetre where it needs it."""
    decimals = 2 if abs(value - round(value, 2)) < 5e-4 else 3
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = f"{0.0:.{decimals}f}"
    return text.replace("-", "\u2212", 1)


def as_given(value: float) -> str:
    """A number of the input as it was given."""
    text = f"{value:.6g}"
    if "e+" in text:
        text = f"{value:.0f}"
    return text.replace("-", "\u2212", 1)
