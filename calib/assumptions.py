"""Every constant that a result rests on and that no reading gives: its value, where it is from, and what it stands for.

One table. A number with a source is a fact of somebody else; one without is an assumption and says so. Those
a fit asks for, or two bands hooked end to end, may be changed for it (`assuming`), within bounds beyond which nothing
was tried; a profile then names them.
docs/assumptions.md is made from this table.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar

from calib.errors import DataError
from calib.frozen import dataclass

ASSUMED = "assumption"
PRACTICE = "common practice, no source"
FIT, SERIES = "a fit", "a series by tape alone"


@dataclass(frozen=True)
class Constant:
    """One number."""

    name: str
    value: float
    unit: str  # "" where it is a plain number or relative
    least: float
    most: float
    meaning: str
    source: str = ASSUMED
    asked_by: str = FIT  # what may change it with `--assume`; empty: nothing


TABLE = (
    # of the band
    Constant("between_day_gain", 0.015, "", 0.0005, 0.1,
             "sd of a band's pull from one day to another, the middle of what is thought possible; the middle is "
             "taken where it is asked whether a band has changed"),
    Constant("between_day_gain_log_sd", 0.6, "", 0.05, 1.5,
             "how widely that may be off, as the sd of its logarithm: 0.6 is 0.5 to 4.9 %; the limits of a next set "
             "allow for all of it"),
    Constant("relaxation", 2.0, "% per decade", 0.0, 20.0,
             "loss of pull for ten times the time at a held length, if no held point showed it"),
    Constant("u_relaxation", 2.0, "% per decade", 0.0, 20.0, "its standard uncertainty"),
    Constant("temperature_per_K", 0.0025, "1/K", -0.01, 0.01,
             "change of pull with temperature at a held length",
             "an ideal rubber has 1/T = 0.0034 at room temperature (Treloar, The Physics of Rubber Elasticity, 1975, "
             "from memory); less is taken, an assumption, as real rubber lengthens when it is warm"),
    Constant("u_temperature_per_K", 0.001, "1/K", 0.0, 0.01, "its standard uncertainty"),
    Constant("u_temperature_unknown", 5.8, "K", 0.0, 30.0,
             "u of a temperature nobody recorded: within 10 K either way, rectangular", asked_by=""),
    Constant("rubber_density", 950.0, "kg/m3", 850.0, 1400.0, "for the weight of a band that was not weighed"),
    Constant("shear_modulus", 0.4e6, "Pa", 0.1e6, 2e6,
             "for the weight of a band that was not weighed, and for the pull a plan expects",
             "0.39 MPa in Treloar, Trans. Faraday Soc. 40 (1944) 59, from memory"),
    Constant("u_weight_guess", 0.5, "", 0.1, 1.0,
             "u of half the weight of a band that was not weighed, over the guess"),
    Constant("thickness", 0.0045, "m", 0.0005, 0.05, "of a band for which nobody measured it", asked_by=""),
    Constant("u_thickness", 0.001, "m", 0.0, 0.02, "its standard uncertainty", asked_by=""),
    Constant("caution_stretch", 2.5, "", 1.2, 6.0, "times the flat length, above which caution is asked for", PRACTICE),
    # of scale and tape
    Constant("u_gain_unchecked", 0.006, "", 0.0, 0.2,
             "u of the gain of a scale never checked: 1 % either way, rectangular"),
    Constant("stability_per_root_month", 0.001, "", 0.0, 0.05,
             "how far the gain of a scale wanders from its last check: a random walk, relative, in a month"),
    Constant("unknown_days", 365.0, "days", 1.0, 10_000.0,
             "between two calibrations of which a day was not noted, for that wandering", asked_by=""),
    Constant("zero_unseen_steps", 2.0, "", 0.0, 50.0,
             "u of a zero that was not read again after the last reading, in steps of the display"),
    Constant("zero_unseen_share", 0.003, "", 0.0, 0.1,
             "the same, over the largest pull; the larger of the two counts"),
    Constant("display_cut", 0.5, "", 0.0, 0.5,
             "u, in steps, of a display that may round or truncate: the effect of truncating"),
    Constant("u_length_offset", 0.001, "m", 0.0, 0.05,
             "least u of how a band sits on its fittings, the same in all readings of a set-up"),
    Constant("thinning", 1.0, "", 0.0, 1.5,
             "u of the thinning of a stretched band round its fittings, over that of a free piece of rubber"),
    Constant("u_recheck_reading", 0.002, "m", 0.0, 0.05, "u of the one tape reading of a re-check", asked_by=""),
    # of two bands end to end, by tape alone
    Constant("series_cycle", 0.006, "", 0.0, 0.1,
             "how one pull of a band differs from its mean where no profile tells",
             asked_by=SERIES),
    Constant("series_hook", 0.0015, "m", 0.0, 0.05, "the same for how a loop hooked again moves", asked_by=SERIES),
    Constant("series_day", 0.005, "", 0.0, 0.1, "of one band beside another on one day in one room", asked_by=SERIES),
    Constant("series_law", 0.65, "", 0.05, 1.0,
             "u of the slope of the law, relative: as much as springs and bands with a second layer or plateaus need, "
             "which no three lengths tell from rubber. Published rubbers keep within 0.12", asked_by=SERIES),
    # what is worth doing
    Constant("one_size", 0.2, "", 0.05, 1.0, "bands of a box farther apart in pull than this are two nominal sizes",
             asked_by=""),
    Constant("mixed_sizes", 0.25, "", 0.05, 1.0, "a pair farther apart in pull than this is said to be of two sizes",
             asked_by=""),
    Constant("look_months", 6.0, "months", 0.5, 120.0, "after which a band should be "
                                                       "re-checked", PRACTICE, asked_by=""),
    Constant("look_reps", 1000.0, "repetitions", 10.0, 1e6, "likewise", PRACTICE, asked_by=""),
    Constant("worth_seeing", 0.05, "", 0.005, 0.5, "change of level worth a re-check", asked_by=""),
    Constant("retire", 0.15, "", 0.02, 0.9, "loss of level at which a band should be retired", PRACTICE,
             asked_by=""),
)  # fmt: skip
BY_NAME = {constant.name: constant for constant in TABLE}
_SET: ContextVar[Mapping[str, float] | None] = ContextVar("assumed", default=None)


def value(name: str) -> float:
    """The value in force of a constant."""
    return (_SET.get() or {}).get(name, BY_NAME[name].value)


def changed() -> dict[str, float]:
    """Constants that were changed, with their values."""
    return dict(_SET.get() or {})


def page() -> str:
    """docs/assumptions.md, made of the table."""
    lines = [
        "# What is assumed",
        "",
        "Made of the table in `calib/assumptions.py`: each number a result rests on that no reading gives. Those with",
        "bounds may be changed for one fit, `bandcurve fit B07.run.csv --assume between_day_gain=2%`; the profile",
        "then names it under `made.assumed`. Several fit in a file, each in a line as `between_day_gain = 0.02` or",
        '`between_day_gain = "2%"`: `--assume box.toml`. Those that begin with `series` are for two bands hooked end',
        "to end without profiles: `bandcurve pair --series B07+B08.series.csv --assume series_law=0.12`, or `compare`.",
        "Priors of the fit itself, which say what orders of magnitude rubber and kitchen gear have, stand in",
        "`fit/curve/variance_components.py` and `fit/curve/elastic.py` with their reasons; what plates, water and",
        "weighed things are worth in `fit/gear/known_loads.py`.",
        "",
        "| name | value | bounds | what it is | where it is from |",
        "|---|---|---|---|---|",
    ]
    for c in TABLE:
        unit = f" {c.unit}" if c.unit else ""
        bounds = f"{c.least:g} to {c.most:g}" if c.asked_by else ""
        lines.append(f"| `{c.name}` | {c.value:g}{unit} | {bounds} | {c.meaning} | {c.source} |")
    return "\n".join(lines) + "\n"


@contextmanager
def assuming(given: Mapping[str, float]) -> Iterator[None]:
    """Take other values within a `with`.

    Args:
        given: Values by name.

    Raises:
        DataError: An unknown name, or a value out of its bounds.
    """
    for name, number in given.items():
        check(name, number)
    token = _SET.set({**changed(), **given})
    try:
        yield
    finally:
        _SET.reset(token)


def check(name: str, number: float, asker: str = "") -> None:
    """Refuse a name that is not in the table, one that is not asked for, and a value nothing was tried with.

    Args:
        name: Of the constant.
        number: Its value.
        asker: Who must be the one that asks for it; empty for anybody.

    Raises:
        DataError: With what would do.
    """
    known = BY_NAME.get(name)
    if known is None:
        from difflib import get_close_matches

        near = get_close_matches(name, list(BY_NAME), n=1)
        remedy = f"did you mean {near[0]!r}?" if near else "docs/assumptions.md lists them"
        raise DataError(f"there is no assumption {name[:40]!r}", remedy=remedy)
    if not known.asked_by or known.asked_by != (asker or known.asked_by):
        raise DataError(f"{name} is not used by {asker or FIT}", remedy="docs/assumptions.md says which are")
    if not known.least <= number <= known.most:
        unit = f" {known.unit}" if known.unit else ""
        raise DataError(
            f"{name} of {number:g}{unit} is out of its range",
            remedy=f"give {known.least:g} to {known.most:g}{unit}; {known.value:g} is the usual value",
        )


def parse(text: str, asker: str = FIT) -> tuple[str, float]:
    """NAME=VALUE as it is typed; a per cent sign is understood.

    Raises:
        DataError: It is no such thing, or not in the table.
    """
    name, equals, number = (part.strip() for part in text.partition("="))
    share = number.endswith("%")
    try:
        found = float(number.removesuffix("%")) / (100 if share else 1)
    except ValueError:
        found = float("nan")
    if not equals or found != found:
        raise DataError(f"{text[:40]!r} is not an assumption", remedy="write NAME=VALUE, like between_day_gain=2%")
    check(name, found, asker)
    return name, found


def parse_file(data: bytes, file: str, asker: str = FIT) -> dict[str, float]:
    """The same of a file of TOML: `name = 0.02` or `name = "2%"` in each line.

    Raises:
        DataError: As `parse`, or it is not TOML, or holds nothing.
    """
    from calib.safe_read import utf8_text
    from calib.strict_toml import parse_toml  # neither is loaded where no such file is given

    text = utf8_text(data, file)
    try:
        found = dict(parse(f"{name}={given}", asker) for name, given in parse_toml(text, file).items())
    except DataError as error:
        raise error.placed_at(file) from None
    if not found:
        raise DataError("sets nothing", where=file, remedy="write a line like between_day_gain = 0.02")
    return found
