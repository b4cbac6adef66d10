"""A number in letters that are read across a garage: rows of blocks for a terminal. Nothing is printed here."""

from itertools import chain

WIDE, HIGH = 5, 7  # blocks of one sign
_ROWS = {
    "0": ".###. #...# #..## #.#.# ##..# #...# .###.",
    "1": "..#.. .##.. ..#.. ..#.. ..#.. ..#.. .###.",
    "2": ".###. #...# ....# ...#. ..#.. .#... #####",
    "3": ".###. #...# ....# ..##. ....# #...# .###.",
    "4": "...#. ..##. .#.#. #..#. ##### ...#. ...#.",
    "5": "##### #.... ####. ....# ....# #...# .###.",
    "6": ".###. #.... #.... ####. #...# #...# .###.",
    "7": "##### ....# ...#. ..#.. ..#.. ..#.. ..#..",
    "8": ".###. #...# #...# .###. #...# #...# .###.",
    "9": ".###. #...# #...# .#### ....# ....# .###.",
    "-": "..... ..... ..... ##### ..... ..... .....",
    ".": ". . . . . # #",
    " ": ".. .. .. .. .. .. ..",
    "A": ".###. #...# #...# ##### #...# #...# #...#",
    "E": "##### #.... #.... ####. #.... #.... #####",
    "F": "##### #.... #.... ####. #.... #.... #....",
    "G": ".###. #...# #.... #.### #...# #...# .###.",
    "I": "### .#. .#. .#. .#. .#. ###",
    "L": "#.... #.... #.... #.... #.... #.... #####",
    "N": "#...# ##..# ##..# #.#.# #..## #..## #...#",
    "O": ".###. #...# #...# #...# #...# #...# .###.",
    "R": "####. #...# #...# ####. #.#.. #..#. #...#",
    "T": "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
    "U": "#...# #...# #...# #...# #...# #...# .###.",
    "V": "#...# #...# #...# #...# #...# .#.#. ..#..",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#",
    "b": "#... #... ###. #..# #..# #..# ###.",
    "f": ".## #.. ##. #.. #.. #.. #..",
    "g": ".... .### #..# #..# .### ...# .##.",
    "k": "#..# #..# #.#. ##.. ##.. #.#. #..#",
    "l": "# # # # # # #",
    "o": ".... .... .##. #..# #..# #..# .##.",
    "z": ".... .... #### ..#. .#.. #... ####",
}


def big_text(text: str, width: int, height: int, block: str = "#") -> list[str]:
    """Rows of blocks that show a text as large as it fits; the text itself where it does not fit at all.

    Args:
        text: Digits, point, minus, units and the few capitals of a status; other characters are left out.
        width: Columns there are.
        height: Rows there are.
        block: The sign a block is made of; a block is twice as wide as high, as most terminals show it square.

    >>> print(chr(10).join(row for row in big_text("7.", 80, 7)))
    ##########
            ##
          ##
        ##
        ##
        ##      ##
        ##      ##
    >>> big_text("12.34", 10, 7)
    ['12.34']
    """
    signs = [_ROWS[sign].split() for sign in text if sign in _ROWS]
    columns = sum(len(sign[0]) + 1 for sign in signs) - 1
    size = min(width // (2 * columns), height // HIGH) if columns > 0 else 0
    if size < 1:
        return [text]
    rows = []
    for i in range(HIGH):
        row = ".".join(sign[i] for sign in signs)
        drawn = "".join((block if c == "#" else " ") * 2 * size for c in row).rstrip()
        rows += [drawn] * size
    return rows


def big_value(text: str, width: int, height: int, block: str = "#") -> list[str]:
    """A number and its unit in blocks: where it is too wide, without the unit, then with fewer decimals.

    It takes as many rows whatever the number, so that what stands below keeps its place.

    >>> len(big_value("11.532 kg", 78, 7)), big_value("11.532 kg", 78, 7) == big_text("11.532", 78, 7)
    (7, True)
    >>> big_value("-1234.567 kg", 78, 7) == big_text("-1234.6", 78, 7)
    True
    """
    number = text.partition(" ")[0]
    decimals = len(number.partition(".")[2])
    shorter = (f"{float(number):.{places}f}" for places in reversed(range(decimals)))
    found = (big_text(one, width, height, block) for one in chain((text, number), shorter))
    rows = next((rows for rows in found if len(rows) >= HIGH), [text])
    return [*rows, *[""] * (HIGH - len(rows))]
