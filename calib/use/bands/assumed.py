"""Numbers that several questions about bands share, kept apart so that a quick answer loads no numerics."""

NORMAL_95 = 1.959964
SEEN = 1.645  # sd above the limit at which a change is seen in 95 of 100
U_TEMPERATURE = 5.8  # K of a day whose temperature is not known: within 10 K, rectangular. An assumption
RETIRE = 0.15  # of the level lost: the band is another one by then (common practice, no source)
