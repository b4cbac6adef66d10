"""Numbers that several questions about bands share, kept apart so that a quick answer loads no numerics."""

from calib.assumptions import BY_NAME

NORMAL_95 = 1.959964
SEEN = 1.645  # sd above the limit at which a change is seen in 95 of 100
U_TEMPERATURE = BY_NAME["u_temperature_unknown"].value  # [K] of a day whose temperature is not known
RETIRE = BY_NAME["retire"].value  # of the level lost
