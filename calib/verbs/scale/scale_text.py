"""A scale and its check in words and as an answer. Nothing is asked, fitted or written here."""

from collections.abc import Iterator

from calib.fit.gear.known_loads import WORTH
from calib.fit.gear.scale_check import ScaleCheck
from calib.fit.gear.scale_correction import Z95, LackOfFit
from calib.fit.gear.weighings import down_less_up
from calib.scale import Scale
from calib.units import FORCE
from calib.use.answers.gear import CheckedPoint, FitTest, FitTests, PlainFit, ScaleCheckAnswer
from calib.use.scales.checked import per_unit, places, verdict
from calib.verbs.terminal.plain_text import wrap

KINDS = {"hanging-scale": "hanging scale", "platform-scale": "platform scale", "load-cell": "load cell"}


def check_text(check: ScaleCheck, unit: str) -> str:
    """What a check found, the answer first."""
    quality = [_paragraph(line) for line in _quality(check, unit)]
    lines = [*map(_paragraph, _verdicts(check, unit)), "", *_table(check, unit), "", *quality]
    return "\n".join([*lines, *(_paragraph(f"note: {remark}") for remark in check.remarks)])


def _paragraph(line: str) -> str:
    return wrap(line.strip(), first="  ", rest="    ")


def _verdicts(check: ScaleCheck, unit: str) -> Iterator[str]:
    for force in places(check):
        yield verdict(check, force, unit)


def _signed(value: float) -> str:
    """A small signed number, to a thousandth."""
    return f"{round(value, 3) + 0.0:+.3f}"


def _table(check: ScaleCheck, unit: str) -> Iterator[str]:
    factor, per = FORCE[unit], per_unit(check, unit)
    yield f"  {'known':>9} {'shown':>9} {'corrected':>10}   [{unit}]"
    zero = check.correction.coefficients[0]
    first = next((w.shown for w in check.weighings if not w.pieces), -zero / check.correction.coefficients[1])
    base = check.correction.force(first)
    for w in check.weighings:
        corrected = check.correction.force(w.shown) - base
        way = "" if not w.pieces else "up" if w.branch == "loading" else "down"
        numbers = (w.nominal * check.g / per, w.shown / factor, corrected / per)
        known, shown, right = (round(x, 3) + 0.0 for x in numbers)  # no minus before zero
        yield f"  {known:9.3f} {shown:9.3f} {right:10.3f}   {way}".rstrip()


def _quality(check: ScaleCheck, unit: str) -> Iterator[str]:
    factor = FORCE[unit]
    line = "curve" if check.order == 2 else "line"
    yield f"scatter about the {line}: {check.correction.residual_sd / factor:.2g} {unit}"
    if check.repeatability is not None:
        yield f"one load read again: {check.repeatability / factor:.2g} {unit} (standard deviation)"
    if check.relative_reversibility is not None:
        gaps = down_less_up(check.weighings)
        load = max(gaps, key=lambda k: abs(gaps[k]))
        words = "more" if gaps[load] > 0 else "less"
        same = "going down it shows the same as going up"
        yield (
            same
            if gaps[load] == 0
            else (
                f"on the way down it shows up to {abs(gaps[load]) / factor:.2g} {unit} {words} than on the way up, "
                f"{100 * check.relative_reversibility:.2g} % on average"
            )
        )
    if check.zero_return is not None:
        yield f"reading with nothing on, end minus start: {_signed(check.zero_return / factor)} {unit}"
    loads = check.loads
    worth = f"all together {100 * loads.u_common:.2g} %, {_piece_words(check)}"
    yield f"known loads {loads.id}, {WORTH[loads.kind].name}: {worth} (standard uncertainties)"


def _piece_words(check: ScaleCheck) -> str:
    loads = check.loads
    if loads.pieces:
        us = [p.u_mass_kg for p in loads.pieces]
        return f"each piece {1000 * min(us):.2g} to {1000 * max(us):.2g} g"
    parts = [f"{100 * loads.u_each:.2g} %"] if loads.u_each or not loads.u_each_mass else []
    if loads.u_each_mass:
        parts.append(f"{loads.u_each_mass:.2g} N" if loads.kind == "force" else f"{1000 * loads.u_each_mass:.2g} g")
    return "each piece " + " and ".join(parts)


def check_answer(check: ScaleCheck, name: str, file: str) -> ScaleCheckAnswer:
    """The check for other programs."""
    correction = check.correction
    return ScaleCheckAnswer(
        check=name,
        file=file,
        coefficients=tuple(correction.coefficients),
        covariance=tuple(map(tuple, correction.covariance)),
        residual_sd_N=correction.residual_sd,
        max_N=correction.max,
        known_loads=correction.known_loads,
        factor_known_loads=tuple(correction.factor_known_loads),
        points=tuple(_point(check, force) for force in places(check)),
        order=check.order,
        lack_of_fit=FitTests(_test(check.line_fit), _test(check.quadratic_fit)),
        plain=PlainFit(
            tuple(check.plain.coefficients.tolist()),
            tuple(check.plain.sd.tolist()),
            float(check.plain.residual_sd),
            int(check.plain.dof),
        ),
        repeatability_N=check.repeatability,
        prior_share=check.prior_share,
        relative_reversibility=check.relative_reversibility,
        zero_return_N=check.zero_return,
        gravity_m_s2=None if check.loads.kind == "force" else check.g,
        remarks=tuple(check.remarks),
    )


def _point(check: ScaleCheck, force: float) -> CheckedPoint:
    u = check.u(check.shown_for(force))
    return CheckedPoint(force, check.excess(force), u, Z95 * u)


def _test(found: LackOfFit | None) -> FitTest | None:
    return None if found is None else FitTest(*found)


def scale_text(scale: Scale, unit: str) -> str:
    """What is known of a scale."""
    factor = FORCE[unit]
    capacity = f", takes {scale.capacity_N / factor:g} {unit}" if scale.capacity_N else ""
    locks = {"no": "", "peak": ", locks at the peak", "steady": ", locks when steady"}[scale.locks]
    lines = [f"{scale.id}: {KINDS[scale.kind]}, steps of {scale.resolution_N / factor:g} {unit}{capacity}{locks}"]
    for check in scale.checks:
        zero, gain, bend = check.correction.coefficients
        u = check.correction.covariance[1][1] ** 0.5
        top = f" up to {check.correction.max_N / factor:.4g} {unit}" if check.correction.max_N else ""
        curved = ", with a bend" if bend else ""
        sure = f"u {100 * u / abs(gain):.2g} %{curved}"
        lines.append(
            f"  {check.checked_on} ({scale.id}/{check.id}){top}: true = shown x {gain:.5f}, {sure}; "
            f"zero {_signed(zero / factor)} {unit}; loads {check.known_loads.id}"
        )
    if not scale.checks:
        lines.append("  never checked: its gain is assumed right within about 1 % (u 0.6 %)")
    return "\n".join(lines)
