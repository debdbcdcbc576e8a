"""Shares and spans as people say them: one in three, about 20 of 100."""

import math

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_PARTS = ((2, 3), (3, 4), (4, 5), (9, 10))  # shares above a half that people say
HALF = 0.55


def in_words(number: int) -> str:
    """Write a small number as a word.

    >>> in_words(3), in_words(25)
    ('three', '25')
    """
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)


def one_in(share: float, thing: str) -> str:
    """Say a share as one thing in so many.

    >>> one_in(0.34, "press"), one_in(0.049, "press"), one_in(0.78, "press"), one_in(0.0, "press")
    ('about one press in three', 'about one press in 20', 'about four presses in five', 'hardly any press')
    """
    many = f"{thing}es" if thing.endswith("s") else f"{thing}s"
    if share > 0.95:
        return f"nearly every {thing}"
    if share >= HALF:
        top, bottom = min(_PARTS, key=lambda part: abs(part[0] / part[1] - share))
        return f"about {in_words(top)} {many} in {in_words(bottom)}"
    if share < 0.002:
        return f"hardly any {thing}"
    number = round(1 / share)
    if number > len(_NUMBERS) - 1:
        number = int(float(f"{number:.2g}")) if number > 100 else 5 * round(number / 5)
    return f"about one {thing} in {in_words(number)}"


def of_100(share: float) -> str:
    """Write a share as so many of 100; below one with a decimal.

    >>> of_100(0.34), of_100(0.004)
    ('34', '0.4')
    """
    return f"{100 * share:.{1 if 0 < share < 0.0095 else 0}f}"


def likely(low: float, high: float) -> str:
    """Write the interval of a share of 100; empty where it is unknown.

    >>> likely(0.24, 0.44)
    'likely 24 to 44'
    """
    return "" if math.isnan(low) or math.isnan(high) else f"likely {of_100(low)} to {of_100(high)}"


def times_more(ratio: float) -> str:
    """Write a gain as a share of what there is now.

    >>> times_more(1.47), times_more(2.3)
    ('47 % more', '2.3 times as many')
    """
    return f"{100 * (ratio - 1):.0f} % more" if ratio < 2 else f"{ratio:.1f} times as many"
