"""What is doubtful about a rig's numbers, each a finding with the numbers of the case. Nothing is worked out here."""

from collections.abc import Sequence
from math import log10
from typing import NamedTuple

from calib import assumptions
from calib.finding import Finding
from calib.profile.document import Profile
from calib.records import Array
from calib.units import metres
from calib.use.rig.rig_curve import RELAXATION, loop_of
from calib.use.rig.rig_file import Rig, RigBand
from calib.use.rig.rig_geometry import run_of

SHORT = 0.02  # of the tested lengths: turning nearer to their end is turning there
WORKING_STRETCH = assumptions.BY_NAME["caution_stretch"].value


class _Doubt(NamedTuple):
    """Of one band; the same of several bands is said once."""

    code: str
    text: str


def rig_findings(rig: Rig, profiles: Sequence[Profile], heights: Array) -> tuple[Finding, ...]:
    """Doubts about the bands of a rig."""
    bands: dict[_Doubt, dict[str, list[str]]] = {}
    for band, profile in zip(rig.band, profiles, strict=True):
        for doubt in _doubts(band, rig, profile, heights):
            bands.setdefault(doubt, {}).setdefault(profile.band.id, []).append(
                "middle" if band.side == "both" else band.side
            )
    found = [
        Finding(doubt.code, f"{', '.join(f'{name} ({_sides(sides)})' for name, sides in named.items())}: {doubt.text}")
        for doubt, named in bands.items()
    ]
    names = [profile.band.id for profile in profiles]
    for name in sorted({n for n in names if names.count(n) > 1}):
        text = f"the profile of {name} stands for {names.count(name)} bands; two of one kind differ by some percent"
        found.append(Finding("one-profile-for-two", f"{text}, and no difference between them can be told"))
    return tuple(found)


def _sides(sides: Sequence[str]) -> str:
    return " and ".join(dict.fromkeys(sides))


def _doubts(band: RigBand, rig: Rig, profile: Profile, heights: Array) -> list[_Doubt]:
    found = _length_doubts(band, rig, profile, heights) + _condition_doubts(rig, profile)
    found += _turn_doubts(band, rig, profile, heights)
    if band.arrangement == "choked" and band.slack_length is None:
        text = "no slack length was given, so what the hitch takes up is estimated, and U is wide for it"
        found.append(_Doubt("hitch-estimated", text))
    if profile.branches.unloading is None:
        way = "coming down" if band.source == "below" else "going up"
        found.append(_Doubt("no-unloading", f"its unloading was not measured, so {way} is not known"))
    return found


def _turn_doubts(band: RigBand, rig: Rig, profile: Profile, heights: Array) -> list[_Doubt]:
    """Where a repetition turns short of what was tested, the unloading branch starts elsewhere."""
    loop, tested = loop_of(profile), profile.branches.loading.length_m
    top = float(run_of(band, rig.bar, heights, loop).length.max())
    if not loop.rest < top < tested[-1] - SHORT * (tested[-1] - tested[0]):
        return []
    text = f"stretched to {metres(top)} (half path), and to {metres(tested[-1])} when tested"
    return [_Doubt("different-conditions", f"{text}: it works inside its measured loop, so U is wider")]


def _length_doubts(band: RigBand, rig: Rig, profile: Profile, heights: Array) -> list[_Doubt]:
    found: list[_Doubt] = []
    loop, tested = loop_of(profile), profile.branches.loading.length_m
    length = run_of(band, rig.bar, heights, loop).length
    slack = heights[length <= loop.rest]
    if len(slack):
        text = f"slack, and pulls nothing, with the bar at {metres(slack.min())} to {metres(slack.max())}"
        found.append(_Doubt("band-slack", text))
    if ((length < tested[0] - 1e-6) & (length > loop.rest)).any():
        text = f"pulls at half-path lengths below {metres(tested[0])}, the shortest that was measured"
        found.append(_Doubt("outside-tested", f"{text}: between none there and that pull, and U is wide for it"))
    if length.max() > tested[-1] + 1e-6:
        text = f"pulled to a half-path length of {metres(length.max())}, and measured to {metres(tested[-1])}"
        found.append(_Doubt("outside-tested", f"{text}: beyond that the pull is a guess"))
    stretch = float(length.max()) / loop.rest
    if stretch > WORKING_STRETCH:
        text = f"stretched to {stretch:.2f} times its rest length; above {WORKING_STRETCH} asks for caution"
        found.append(_Doubt("over-working-stretch", text))
    return found


def _condition_doubts(rig: Rig, profile: Profile) -> list[_Doubt]:
    found: list[_Doubt] = []
    tested, here = profile.conditions.temperature_C, rig.bar.temperature
    if tested is None or here is None:
        text = "the temperature is not known both when it was measured and here; U allows for 10 K either way"
        found.append(_Doubt("no-temperature", text))
    elif abs(here - tested) > 2:
        percent = 100 * profile.temperature_coefficient.per_K * (here - tested)
        text = f"measured at {tested:.0f} C and used at {here:.0f} C; its pull is corrected by {percent:+.1f} %"
        found.append(_Doubt("different-conditions", f"{text}, and U is wider"))
    dwell = profile.conditions.dwell_s or 10.0
    if abs(log10(dwell / rig.bar.tempo_s)) > 0.3:
        measured = profile.relaxation is not None and profile.relaxation.measured
        rate = profile.relaxation.percent_per_decade if profile.relaxation else RELAXATION[0]
        text = (
            f"read after {dwell:.0f} s and used at a tempo of {rig.bar.tempo_s:g} s: a faster band pulls more "
            f"while loading and less while unloading, {rate:g} % for each tenfold time"
        )
        found.append(_Doubt("different-conditions", f"{text} ({'measured' if measured else 'assumed'})"))
    return found
