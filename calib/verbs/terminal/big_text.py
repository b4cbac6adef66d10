"""A number in letters that are read across a garage: rows of blocks for a terminal. Nothing is printed here."""

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
