"""Letters that can be read from a metre away: five rows of blocks, as wide as the terminal allows."""

from __future__ import annotations

_ROWS = {
    "A": "010101111101101", "B": "110101110101110", "C": "011100100100011", "D": "110101101101110",
    "E": "111100110100111", "F": "111100110100100", "G": "011100101101011", "H": "101101111101101",
    "I": "111010010010111", "J": "001001001101010", "K": "101101110101101", "L": "100100100100111",
    "M": "101111111101101", "N": "110101101101101", "O": "010101101101010", "P": "110101110100100",
    "Q": "010101101111011", "R": "110101110101101", "S": "011100010001110", "T": "111010010010010",
    "U": "101101101101111", "V": "101101101101010", "W": "101101111111101", "X": "101101010101101",
    "Y": "101101010010010", "Z": "111001010100111", "0": "111101101101111", "1": "010110010010111",
    "2": "110001010100111", "3": "110001010001110", "4": "101101111001001", "5": "111100110001110",
    "6": "011100111101111", "7": "111001010010010", "8": "111101111101111", "9": "111101111001110",
    ".": "000000000000010", "-": "000000111000000", "+": "000010111010000", " ": "000000000000000",
}  # fmt: skip
HEIGHT = 5


def big(text: str, width: int, block: str = "█") -> list[str] | None:
    """Return text as five rows of blocks, or None if it does not fit or has a letter that is not known.

    Parameters
    ----------
    text : str
    width : int
        Columns.
    block : str
        What a filled place is drawn with.

    Examples
    --------
    >>> big("1", 10, "#")
    ['  ##', '####', '  ##', '  ##', '######']
    >>> big("too long for this", 10) is None
    True
    """
    word = text.upper().replace("−", "-").replace("_", "-")
    if any(letter not in _ROWS for letter in word):
        return None
    for scale in (2, 1):
        if len(word) * (3 * scale + 1 + scale // 2) <= width:
            return [_row(word, row, scale, block) for row in range(HEIGHT)]
    return None


def _row(word: str, row: int, scale: int, block: str) -> str:
    gap = " " * (1 + scale // 2)
    cells = (_ROWS[letter][3 * row : 3 * row + 3] for letter in word)
    return gap.join("".join(block * scale if c == "1" else " " * scale for c in part) for part in cells).rstrip()
