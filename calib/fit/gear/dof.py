"""The coverage factor that goes with a number of degrees of freedom. No budget is made here."""


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """Factor that makes a standard uncertainty a symmetric interval (Student's t), JCGM 100:2008 G.3."""
    from scipy.special import stdtrit  # it takes a fifth of a second to load, and few fits need it

    return float(stdtrit(min(dof, 1e9), 0.5 + level / 2))
