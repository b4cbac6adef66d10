"""A profile's curve as a plain table for a spreadsheet. Files are not known here."""

from calib.profile import table
from calib.profile.document import Profile

HEADER = "branch,length_m,tape_m,force_N,u_N,u95_mean_N,u95_next_set_N"


def curve_csv(profile: Profile) -> str:
    """One row a grid point, loading first: half-path and tape lengths, pull, u (k = 1), both 95 % half-widths.

    Args:
        profile: The profile; where it does not say how the tape was held, `tape_m` is empty.
    """
    rows, offset = [HEADER], profile.half_path_less_tape
    for name in table.BRANCHES:
        branch = profile.branch(name)
        for length in branch.length_m if branch is not None else ():
            at = profile.estimate(length, name)
            tape = "" if offset is None else f"{length - offset:.7g}"
            values = (at.force, at.u, at.u95, profile.u95_next(at))
            rows.append(",".join([name, f"{length:.7g}", tape, *(f"{v:.7g}" for v in values)]))
    return "\n".join(rows) + "\n"
