"""A band and a scale as a list tells them: the last calibration, what was looked at since, what is due."""

from datetime import date

from calib.errors import BandcurveError
from calib.finding import Finding
from calib.profile.store.collection import BandFiles
from calib.profile.store.register import Register
from calib.profile.store.uses import reps_between, whole_day
from calib.scale import Scale
from calib.use.answers.bands import ListedBand, ListedScale
from calib.use.answers.parts import doubts
from calib.use.bands.history import LOOK_REPS, History, history, look_again
from calib.use.bands.lookup import band_findings
from calib.use.bands.predict import pull_at

SCALE_DAYS = 366  # between two checks of a scale, as in the fit


def listed_band(files: BandFiles, register: Register, today: date) -> ListedBand:
    """One band of a list.

    Args:
        files: What there is of it.
        register: All bands, for what is to be said of this one.
        today: What is due is due on that day.
    """
    latest = files.latest
    last = date.fromisoformat(latest.made.measured_at) if latest and latest.made.measured_at else None
    past = band_history(files)
    reps = past.reps_since if past else reps_between(files.uses, whole_day(last) if last else None, None)
    due = past.look_again if past else look_again(last)
    plate = (
        next((p for p in reversed(past.plates) if p.newest and (last is None or p.on >= last)), None) if past else None
    )
    at = _middle(files)
    return ListedBand(
        band=files.id,
        status=files.known.status,
        day=last.isoformat() if last else None,
        calibrations=len(files.profiles),
        rechecked=plate.on.isoformat() if plate else None,
        recheck_passed=plate.passed if plate else None,
        file=str(files.profiles[-1][0]) if files.profiles else None,
        flat_length_m=latest.band.flat_length_m if latest else None,
        length_m=at,
        loading=pull_at(latest, latest.estimate(at)) if latest and at else None,
        reps_since=reps,
        look_again=due.isoformat() if due else None,
        due=files.known.status != "retired"
        and (latest is None or reps >= LOOK_REPS or (due is not None and due <= today)),
        two_bands=files.is_two_bands,
        findings=doubts((*of_the_band(files, register), *latest.findings)) if latest else (),
    )


def of_the_band(files: BandFiles, register: Register) -> tuple[Finding, ...]:
    """Retired, suspect, gone soft, and what else is said beside the answers of a band that was calibrated.

    Args:
        files: What there is of it.
        register: All bands.
    """
    path, profile = files.profiles[-1]
    of_profile = {f.code for f in profile.findings}
    return tuple(f for f in band_findings(files.known, register, profile, path) if f.code not in of_profile)


def band_history(files: BandFiles) -> History | None:
    """Of the last calibration alone where all cannot be laid side by side; None where there is none, or two bands."""
    if not files.profiles or files.is_two_bands:
        return None
    profiles = [p for _, p in files.profiles]
    try:
        return history(profiles, files.uses, rechecks=files.rechecks, begun=files.begun)
    except BandcurveError:
        return history(profiles[-1:], files.uses, rechecks=files.rechecks, begun=files.begun[-1:])


def _middle(files: BandFiles) -> float | None:
    """Twice the rest length, None where it was not tested. [m]"""
    latest = files.latest
    if latest is None:
        return None
    at, grid = 2 * latest.band.rest_half_path_m, latest.branches.loading.length_m
    return at if grid[0] <= at <= grid[-1] else None


def listed_scale(scale: Scale, today: date) -> ListedScale:
    """One scale of a list.

    Args:
        scale: What is known of it.
        today: What is due is due on that day.
    """
    check = scale.latest()
    checked = date.fromisoformat(check.checked_on) if check else None
    due = checked is None or (today - checked).days > SCALE_DAYS
    return ListedScale(scale.id, scale.kind, checked.isoformat() if checked else None, due)
