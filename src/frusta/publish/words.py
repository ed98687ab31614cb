"""Numbers as people read them: with unit, with uncertainty, with as many digits as they carry."""

from __future__ import annotations

import math

from frusta.campaign.counts import things

NBSP = "\u00a0"
MINUS = "\u2212"


def plain(value: float, digits: int) -> str:
    """Write a number with ``digits`` decimals, a true minus sign and no thousands separators.

    >>> plain(-3.14159, 2)
    '−3.14'
    >>> plain(-0.001, 1)
    '0.0'
    """
    text = f"{value:.{max(0, digits)}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def decimals_for(uncertainty: float | None, value: float, *, significant: int = 3) -> int:
    """How many decimals a value deserves: two digits of its uncertainty if that starts with 1, else one.

    Without an uncertainty, ``significant`` digits of the value.

    >>> decimals_for(0.13, 4.6123), decimals_for(0.04, 4.6), decimals_for(None, 3961.0)
    (2, 2, 0)
    """
    if uncertainty is not None and uncertainty > 0 and math.isfinite(uncertainty):
        power = math.floor(math.log10(uncertainty))
        leading = uncertainty / 10.0**power
        return max(0, -power + (1 if leading < 1.95 else 0))
    if value == 0 or not math.isfinite(value):
        return 0
    return max(0, significant - 1 - math.floor(math.log10(abs(value))))


def _frequency_unit(hz: float) -> tuple[float, str]:
    return (1000.0, "kHz") if abs(hz) >= 999.5 else (1.0, "Hz")


def scaled(value: float, unit: str) -> tuple[float, str]:
    """Divisor and unit to show a value in: Hz becomes kHz from 1000 upwards."""
    return _frequency_unit(value) if unit == "Hz" else (1.0, unit)


def quantity(value: float, unit: str, *, half_width: float | None = None, trim: bool = True) -> str:
    r"""Write a value with its unit; the digits follow the half width of its interval if there is one.

    Without an interval three digits are written; ``trim`` drops their trailing zeros, as for a value that was set.

    >>> quantity(3961.2, "Hz", half_width=80.0)
    '3.96\xa0kHz'
    >>> quantity(250.0, "Hz")
    '250\xa0Hz'
    """
    factor, shown = scaled(value, unit)
    digits = decimals_for(None if half_width is None else half_width / factor, value / factor)
    text = plain(value / factor, digits)
    if trim and half_width is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text}{NBSP}{shown}" if shown else text


def interval(low: float, high: float, unit: str, *, value: float | None = None, with_unit: bool = False) -> str:
    """Write the interval of a value in the value's unit, with the value's digits: "3.88 to 4.04".

    >>> interval(3881.0, 4042.0, "Hz", value=3961.0)
    '3.88 to 4.04'
    """
    middle = value if value is not None else (low + high) / 2
    factor, shown = scaled(middle, unit)
    digits = decimals_for((high - low) / 2 / factor, middle / factor)
    text = f"{plain(low / factor, digits)} to {plain(high / factor, digits)}"
    return f"{text}{NBSP}{shown}" if with_unit and shown else text


def band(low_hz: float, high_hz: float) -> str:
    """Write a band: "250 Hz to 3.5 kHz"."""
    return f"{quantity(low_hz, 'Hz')} to {quantity(high_hz, 'Hz')}"


def percent_digits(*changes: float) -> int:
    """One decimal where all changes are below 10 %, none from there on."""
    return 1 if all(abs(change) < 10 for change in changes) else 0


def count(number: int, noun: str, plural: str | None = None) -> str:
    """Write a count in words up to twelve: "three prints", "1 print" as "one print"."""
    return things(number, noun, plural)


def listed(names: list[str] | tuple[str, ...], *, last: str = "and") -> str:
    """Join names: "A", "A and B", "A, B and C"; names that hold a comma themselves are told apart by semicolons."""
    if len(names) < 2:
        return "".join(names)
    comma = "; " if any("," in name for name in names) else ", "
    return f"{comma.join(names[:-1])} {last} {names[-1]}"


def sentence(text: str) -> str:
    """Give a text its capital letter and its full stop."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".?!" else text + "."


def shortened(name: str, width: int) -> str:
    """Cut a name to ``width`` characters, the last of them an ellipsis."""
    return name if len(name) <= width else name[: max(1, width - 1)].rstrip(" ,") + "…"
