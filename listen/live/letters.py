"""Words in large letters for a terminal that is read from across the bench."""

from __future__ import annotations

# Five rows of five for each letter, written row by row.
_SHAPES = {
    "A": ".###. #...# ##### #...# #...#",
    "B": "####. #...# ####. #...# ####.",
    "C": ".#### #.... #.... #.... .####",
    "D": "####. #...# #...# #...# ####.",
    "E": "##### #.... ####. #.... #####",
    "F": "##### #.... ####. #.... #....",
    "G": ".#### #.... #..## #...# .####",
    "H": "#...# #...# ##### #...# #...#",
    "I": "##### ..#.. ..#.. ..#.. #####",
    "J": "..### ...#. ...#. #..#. .##..",
    "K": "#...# #..#. ###.. #..#. #...#",
    "L": "#.... #.... #.... #.... #####",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#...# ##..# #.#.# #..## #...#",
    "O": ".###. #...# #...# #...# .###.",
    "P": "####. #...# ####. #.... #....",
    "Q": ".###. #...# #.#.# #..#. .##.#",
    "R": "####. #...# ####. #..#. #...#",
    "S": ".#### #.... .###. ....# ####.",
    "T": "##### ..#.. ..#.. ..#.. ..#..",
    "U": "#...# #...# #...# #...# .###.",
    "V": "#...# #...# #...# .#.#. ..#..",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#...# .#.#. ..#.. .#.#. #...#",
    "Y": "#...# .#.#. ..#.. ..#.. ..#..",
    "Z": "##### ...#. ..#.. .#... #####",
    " ": "..... ..... ..... ..... .....",
}


def large(word: str, *, ink: str = "█", width: int = 80) -> str:
    """Draw a word five rows high; twice as wide where it fits in `width` columns.

    >>> large("l", ink="#", width=5).splitlines()
    ['#', '#', '#', '#', '#####']
    """
    letters = [_SHAPES.get(letter, _SHAPES[" "]).split() for letter in word.upper()]
    wide = 2 if 12 * len(letters) <= width else 1
    rows = (" ".join(letter[row] for letter in letters) for row in range(5))
    return "\n".join(
        "".join((ink if cell == "#" else " ") * wide for cell in row).rstrip() for row in rows
    )
