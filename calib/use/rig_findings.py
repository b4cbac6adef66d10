"""What is doubtful about a rig's numbers, each a finding with the numbers of the case. Nothing is worked out here."""

from collections.abc import Sequence
from math import log10

from calib.finding import Finding
from calib.profile.document import Profile
from calib.records import Array
from calib.use.rig_curve import loop_of
from calib.use.rig_file import Rig, RigBand
from calib.use.rig_geometry import run_of

SHORT = 0.02  # of the tested lengths: turning nearer to their end is turning there
WORKING_STRETCH = 2.5  # caution above; common practice, no source


def rig_findings(rig: Rig, profiles: Sequence[Profile], heights: Array) -> tuple[Finding, ...]:
    """Doubts about each band of a rig."""
    found: list[Finding] = []
    for i, (band, profile) in enumerate(zip(rig.band, profiles, strict=True)):
        where = f"band[{i}] {profile.band.id}"
        found += _length_findings(band, rig, profile, heights, where)
        found += _condition_findings(rig, profile, where)
        found += _turn_findings(band, rig, profile, heights, where)
        if band.arrangement == "choked" and band.slack_length is None:
            text = "no slack length was given, so what the hitch takes up is estimated, and U is wide for it"
            found.append(Finding("hitch-estimated", f"{where}: {text}"))
        if profile.branches.unloading is None:
            way = "coming down" if band.source == "below" else "going up"
            found.append(Finding("no-unloading", f"{where}: its way back was not measured, so {way} cannot be told"))
    names = [profile.band.id for profile in profiles]
    for name in sorted({n for n in names if names.count(n) > 1}):
        text = f"the profile of {name} stands for {names.count(name)} bands; two of one kind differ by some percent"
        found.append(Finding("one-profile-for-two", f"{text}, and no difference between them can be told"))
    return tuple(found)


def _turn_findings(band: RigBand, rig: Rig, profile: Profile, heights: Array, where: str) -> list[Finding]:
    """Where a repetition turns short of what was tested, the way back starts elsewhere."""
    loop, tested = loop_of(profile), profile.branches.loading.length_m
    top = float(run_of(band, rig.bar, heights, loop).length.max())
    if not loop.rest < top < tested[-1] - SHORT * (tested[-1] - tested[0]):
        return []
    text = f"is stretched to {top:.2f} m (half path) and was to {tested[-1]:.2f} m when tested"
    return [Finding("different-conditions", f"{where} {text}: it runs inside its measured loop, and U is wider")]


def _length_findings(band: RigBand, rig: Rig, profile: Profile, heights: Array, where: str) -> list[Finding]:
    found: list[Finding] = []
    loop, tested = loop_of(profile), profile.branches.loading.length_m
    length = run_of(band, rig.bar, heights, loop).length
    slack = heights[length <= loop.rest]
    if len(slack):
        text = f"{where} is slack and pulls nothing with the bar at {slack.min():.2f} to {slack.max():.2f} m"
        found.append(Finding("band-slack", text))
    if ((length < tested[0] - 1e-6) & (length > loop.rest)).any():
        text = f"{where} pulls at half-path lengths below {tested[0]:.3f} m, the shortest that was measured"
        found.append(Finding("outside-tested", f"{text}: between none there and that pull, and U is wide for it"))
    if length.max() > tested[-1] + 1e-6:
        text = f"{where} is pulled to a half-path length of {length.max():.3f} m and was measured to {tested[-1]:.3f} m"
        found.append(Finding("outside-tested", f"{text}: beyond that it is a guess"))
    stretch = float(length.max()) / loop.rest
    if stretch > WORKING_STRETCH:
        text = f"{where} is stretched to {stretch:.2f} times its rest length; above {WORKING_STRETCH} asks for caution"
        found.append(Finding("over-working-stretch", text))
    return found


def _condition_findings(rig: Rig, profile: Profile, where: str) -> list[Finding]:
    found: list[Finding] = []
    tested, here = profile.conditions.temperature_C, rig.bar.temperature
    if tested is None or here is None:
        text = "the temperature is not known both when it was measured and here; U allows for 10 K either way"
        found.append(Finding("no-temperature", f"{where}: {text}"))
    elif abs(here - tested) > 2:
        percent = 100 * profile.temperature_coefficient.per_K * (here - tested)
        text = f"was measured at {tested:.0f} C and is used at {here:.0f} C; its pull is corrected by {percent:+.1f} %"
        found.append(Finding("different-conditions", f"{where} {text}, and U is wider"))
    dwell = profile.conditions.dwell_s or 10.0
    if abs(log10(dwell / rig.bar.tempo_s)) > 0.3:
        measured = profile.relaxation is not None and profile.relaxation.measured
        rate = profile.relaxation.percent_per_decade if profile.relaxation else 2.0
        text = (
            f"was read after {dwell:.0f} s and is used at a tempo of {rig.bar.tempo_s:g} s: a faster band pulls more "
            f"on the way out and less on the way back, {rate:g} % for each tenfold time"
        )
        found.append(Finding("different-conditions", f"{where} {text} ({'measured' if measured else 'assumed'})"))
    return found
