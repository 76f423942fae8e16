"""Small numbers in few bytes, as the stores keep them. Pure: no clock, no I/O."""

from collections.abc import Iterable

SCALE = 10_000
"""Stored integers are ten-thousandths: four decimals hold what common sensors send, 1/16 K included."""
SCALED_MAX = 1e11
MS_MAX = 2**62


def scaled(value: float) -> int | float:
    """Return a value as a whole number of ten-thousandths where that gives back the very same value, else itself.

    Examples
    --------
    >>> scaled(4.0625), scaled(-127.0), scaled(1 / 3)
    (40625, -1270000, 0.3333333333333333)
    """
    if abs(value) < SCALED_MAX:
        whole = round(value * SCALE)
        if whole / SCALE == value:
            return whole
    return float(value)


def milliseconds(at: float) -> int:
    """Return the instant in whole milliseconds. [ms]"""
    return round(at * 1000)


def first_millisecond(at: float) -> int:
    """Return the first whole millisecond that is not before the instant; endless instants become very distant. [ms]

    Examples
    --------
    >>> first_millisecond(1.0005), first_millisecond(0.007), first_millisecond(float("-inf")) == -MS_MAX
    (1001, 7, True)
    """
    if abs(at) >= MS_MAX / 1000:
        return MS_MAX if at > 0 else -MS_MAX
    whole = round(at * 1000)
    return whole if whole / 1000 >= at else whole + 1


def pack(numbers: Iterable[int]) -> bytes:
    """Return whole numbers of either sign in as few bytes as each needs: seven bits a byte, low bits first.

    Examples
    --------
    >>> pack([0, -1, 1, 300]).hex()
    '000102d804'
    >>> unpack(pack([0, -1, 1, 300]))
    [0, -1, 1, 300]
    """
    out = bytearray()
    for number in numbers:
        rest = number << 1 if number >= 0 else ((-number) << 1) - 1
        while rest > 0x7F:
            out.append(rest & 0x7F | 0x80)
            rest >>= 7
        out.append(rest)
    return bytes(out)


def unpack(packed: bytes) -> list[int]:
    """Return the numbers that `pack` packed."""
    numbers, rest, shift = [], 0, 0
    for byte in packed:
        rest |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            numbers.append(-((rest + 1) >> 1) if rest & 1 else rest >> 1)
            rest, shift = 0, 0
    return numbers


def split_sequence(sequence: str) -> tuple[str, int]:
    """Return a sequence as its boot and its number, so that a boot's readings share one name.

    Whatever is not written just so is a boot of its own with the number -1; `join_sequence` gives back the same text.

    Examples
    --------
    >>> split_sequence("a7f3:12"), split_sequence("12"), split_sequence("a:012")
    (('a7f3', 12), ('12', -1), ('a:012', -1))
    """
    boot, colon, number = sequence.rpartition(":")
    plain = colon and number.isascii() and number.isdigit() and len(number) < 18 and str(int(number)) == number
    return (boot, int(number)) if plain else (sequence, -1)


def join_sequence(boot: str, number: int) -> str:
    """Return the sequence that was split.

    Examples
    --------
    >>> join_sequence("a7f3", 12), join_sequence("a:012", -1)
    ('a7f3:12', 'a:012')
    """
    return boot if number < 0 else f"{boot}:{number}"
