"""A profile's curve as a plain table for a spreadsheet. Files are not known here."""

from calib.profile import table
from calib.profile.document import Profile

HEADER = "branch,length_m,force_N,u_N,u95_N"


def curve_csv(profile: Profile) -> str:
    """One row a grid point, loading first; lengths are half-path, u is k = 1, u95 the 95 % half-width.

    Args:
        profile: The profile.
    """
    rows = [HEADER]
    for name in table.BRANCHES:
        branch = profile.branch(name)
        if branch is not None:
            columns = zip(branch.length_m, branch.force_N, branch.u_N, branch.u95_N, strict=True)
            rows += [",".join([name, *(f"{v:.7g}" for v in values)]) for values in columns]
    return "\n".join(rows) + "\n"
