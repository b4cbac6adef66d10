"""Drawings in characters of where the tape and the gear go; at most 76 columns."""

TAPE = (
    "        pin                                        pin",
    "       .---------------------------------------------.",
    "      ( (O)                                       (O) )",
    "       '---------------------------------------------'",
    "      ^ ^ ^                                       ^ ^ ^",
    "      | | +---- 3  centre to centre --------------+ | |",
    "      | +------ 1  inside edge to inside edge ------+ |",
    "      +-------- 2  outside to outside ----------------+",
)
FLAT = (
    "    |<----------- flat length ----------->|",
    "    .-------------------------------------.",
    "    |=====================================|     lying flat, unstretched",
    "    '-------------------------------------'",
)
HOLES = (
    "     4     5     6     7    ...   14",
    "     o     o     o     o           o      holes of the rack",
    "     ^                             ^",
    "     fixed pin, hole 4             the pin you move: hole 14",
    "     |<--->| one hole to the next, centre to centre",
)
WAYS = (
    "  1  anchor =====band===== [scale] - strap     pulled level",
    "  2  the same, upright, the scale on top",
    "  3  anchor on top, band below it, plates hung on the band's lower end",
    "  4  you pull up; the band's lower end is tied to a weight that stands on a",
    "     floor scale: the harder you pull, the less it shows",
)
