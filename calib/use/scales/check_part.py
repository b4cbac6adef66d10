"""A fitted check as the part of a scale's file that keeps it. Nothing is asked, fitted or written here."""

from calib.fit.gear.known_loads import KnownLoads
from calib.fit.gear.scale_check import ScaleCheck
from calib.fit.gear.weighings import down_less_up
from calib.scale import Creep, FittedCorrection, KnownLoad, StoredCheck, StoredLoads, StoredReading
from calib.units import G_STANDARD


def check_part(
    result: ScaleCheck,
    name: str,
    place: tuple[float | None, float | None],
    temperature: float | None,
    creep: Creep | None = None,
) -> StoredCheck:
    """The check as the scale's file keeps it.

    Args:
        result: What was fitted.
        name: Its name, usually the day.
        place: Latitude [degree] and altitude [m], None where not known.
        temperature: [degree Celsius]
        creep: What a load's value did in minutes, where it was watched.
    """
    known = result.loads
    per_kg = 1 / G_STANDARD if known.kind == "force" else 1.0  # the file keeps masses
    ids = {id_: p * per_kg for w in result.weighings for id_, p in _ids(w.pieces, known)}
    sizes = {id_: p for w in result.weighings for id_, p in _ids(w.pieces, known)}
    gaps = list(down_less_up(result.weighings).values())
    return StoredCheck(
        id=name,
        checked_on=result.correction.checked_on,
        latitude_deg=place[0],
        altitude_m=place[1],
        temperature_C=temperature,
        known_loads=StoredLoads(
            id=known.id,
            u_common=known.u_common,
            loads=tuple(
                KnownLoad(id=i, mass_kg=ids[i], u_mass_kg=known.u_piece(sizes[i]) * per_kg) for i in sorted(ids)
            ),
        ),
        readings=tuple(
            StoredReading(
                mass_kg=w.nominal * per_kg,
                shown_N=w.shown,
                branch=w.branch,
                loads=tuple(i for i, _ in _ids(w.pieces, known)),
            )
            for w in result.weighings
        ),
        correction=FittedCorrection.from_correction(result.correction),
        repeatability_N=result.repeatability,
        reversibility_N=max((-gap for gap in gaps), default=None),
        zero_return_N=result.zero_return,
        creep=creep,
    )


def _ids(pieces: tuple[float, ...], known: KnownLoads) -> list[tuple[str, float]]:
    """Names of pieces: those of their set, else their size; equal ones are numbered."""
    seen: dict[float, int] = {}
    out = []
    for p in pieces:
        seen[p] = seen.get(p, 0) + 1
        by_size = f"{p:.6g}" if seen[p] == 1 else f"{p:.6g}#{seen[p]}"
        out.append((known.name(p, seen[p] - 1) if known.pieces else by_size, p))
    return out
