"""The register of bands: made again each time from the files that are there and from what people decided about them.

A band is an owner's mark (B07, in whatever case) and an id of its own. Its calibrations are those that bear the mark:
profiles of the same runs are one calibration, whoever fitted them. Two coaches may both have a B03. Where files of one
mark lie in several folders and cannot be of one band (another flat length, another pull on one day, a band that grew
stronger), each folder's is a band by itself and is called FOLDER/MARK, until somebody renames one or says they are one.
The files win: a decision about calibrations that are not there changes nothing, and that is said.
"""

from collections.abc import Iterable, Sequence
from dataclasses import field, replace
from datetime import date, datetime
from functools import cached_property
from itertools import combinations
from pathlib import Path
from typing import Literal

from calib.errors import DataError
from calib.frozen import dataclass
from calib.profile.store.cards import Card, Cards, Logged, Problem, read_cards
from calib.profile.store.decisions import Decision, standing
from calib.profile.store.levels import can_be_one_band, can_be_one_loop
from calib.profile.store.own_files import profile_in
from calib.profile.store.rechecks import Recheck, noted_once
from calib.profile.store.uses import Use, counted_once
from calib.stamp import EARLIEST, is_to_come

Status = Literal["in use", "suspect", "retired"]
STATUS: dict[str, Status] = {"in-use": "in use", "suspect": "suspect", "retired": "retired"}


@dataclass(frozen=True)
class KnownBand:
    """One band as the register has it."""

    mark: str
    address: str  # the mark, or FOLDER/MARK where another band bears the same
    folders: tuple[str, ...] = ()  # of its files, as seen from the folder looked through
    calibrations: tuple[Card, ...] = ()  # oldest first, each once
    copies: tuple[Card, ...] = ()  # other profiles of the same runs, or of a part of them
    aside: tuple[Card, ...] = ()  # set aside by somebody
    uses: tuple[Use, ...] = ()
    rechecks: tuple[Recheck, ...] = ()
    decision: Decision | None = None  # the last about its status
    former: tuple[tuple[str, Decision], ...] = ()  # names it had, and what ended them
    one_band: bool = False  # somebody said that its folders hold one band
    problems: tuple[Problem, ...] = ()  # files of its name that could not be used
    partner: str = ""  # id of the band that somebody keeps it together with
    hangs: Literal["left", "right", ""] = ""  # of the two

    @property
    def status(self) -> Status:
        """In use unless somebody decided otherwise."""
        return STATUS[self.decision.event] if self.decision else "in use"

    @property
    def id(self) -> str:
        """Its own, from its first calibration; "" where it was never measured."""
        return self.calibrations[0].key if self.calibrations else ""

    def log_path(self, folder: Path, kind: str) -> Path:
        """Where a log is added to: the folder looked through, or the band's own where two share a mark."""
        return folder / self.address.rpartition("/")[0] / f"{self.mark}.{kind}.csv"

    @property
    def unread(self) -> tuple[str, ...]:
        """Why calibrations of its name cannot be read, a sentence each."""
        return tuple(p.text for p in self.problems if p.path.name.endswith(".profile.json"))

    @property
    def keys(self) -> tuple[str, ...]:
        """Of all its calibrations."""
        return tuple(dict.fromkeys(c.key for c in (*self.calibrations, *self.aside, *self.copies)))

    @property
    def is_two_bands(self) -> bool:
        """Whether some of its files cannot be of one loop; nobody could tell which is meant."""
        return not can_be_one_loop([c.loop for c in self.calibrations])


@dataclass(frozen=True)
class Register:
    """All bands of a folder and the folders below."""

    folder: Path
    bands: tuple[KnownBand, ...]
    scales: tuple[Path, ...]
    problems: tuple[Problem, ...]
    said: tuple[str, ...]  # where decisions and files do not agree
    decisions: tuple[Decision, ...] = ()
    invented: tuple[Path, ...] = ()  # folders below that are left out: a demo's

    @property
    def newest(self) -> datetime:
        """When the newest entry of all was noted, by whatever clock."""
        uses = [use.stamp.at for band in self.bands for use in band.uses]
        rechecks = [check.stamp.at for band in self.bands for check in band.rechecks]
        return max([*uses, *rechecks, *(decision.stamp.at for decision in self.decisions)], default=EARLIEST)

    def band(self, name: str) -> KnownBand:
        """The band of a name: its mark in whatever case, FOLDER/MARK, or a name it had.

        Raises:
            DataError: There is none, or there are two.
        """
        wanted = name.strip().lower().replace("\\", "/").removeprefix("./")
        for names in (self._by_address, self._by_mark, self._by_former):
            called = names.get(wanted, [])
            if len(called) == 1:
                return called[0]
            if called:
                raise self._several_bands(name, called)
        raise self._no_band(name)

    @cached_property
    def _by_address(self) -> dict[str, list[KnownBand]]:
        return _grouped((band.address, band) for band in self.bands)

    @cached_property
    def _by_mark(self) -> dict[str, list[KnownBand]]:
        return _grouped((band.mark, band) for band in self.bands)

    @cached_property
    def _by_former(self) -> dict[str, list[KnownBand]]:
        return _grouped((old, band) for band in self.bands for old in {old.lower() for old, _ in band.former})

    def _several_bands(self, name: str, called: Sequence[KnownBand]) -> DataError:
        told = " and ".join(f"{b.address} ({_words(b)})" for b in called)
        first = called[0].address
        return DataError(
            f"{name} is the name of {len(called)} bands: {told}",
            remedy=f"say which one, like {first}, or decide with: bandcurve merge {called[0].mark}",
        )

    def _no_band(self, name: str) -> DataError:
        names = [b.address for b in self.bands]
        from difflib import get_close_matches  # only where a name was mistyped

        near = get_close_matches(name.lower(), [n.lower() for n in names], n=1)
        closest = next((n for n in names if near and n.lower() == near[0]), "")
        unread = [p for p in self.problems if p.mark.lower() == name.lower()]
        if unread:
            more = f" (and {len(unread) - 1} more)" if len(unread) > 1 else ""
            what = f"no file of band {name[:64]!r} in {self.folder} can be read: {unread[0].text}{more}"
            return DataError(what, remedy="bandcurve list says what else is here")
        if (demo := profile_in(self.invented, name)) is not None:
            what = f"{name} is an invented band of {demo.parent}, which is left out here"
            return DataError(what, remedy=f"name its file: {demo}")
        measured = [b.address for b in self.bands if b.calibrations]
        known = ", ".join(measured[:12]) or "none"
        remedy = f"did you mean {closest}? " if closest else ""
        return DataError(
            f"there is no band {name[:64]!r} in {self.folder}",
            remedy=f"{remedy}known here: {known}; or give another --folder",
        )

    def band_of_file(self, path: Path) -> KnownBand | None:
        """The band a profile's file belongs to."""
        return self._by_file.get(path.resolve())

    @cached_property
    def _by_file(self) -> dict[Path, KnownBand]:
        found: dict[Path, KnownBand] = {}
        for band in self.bands:
            for card in (*band.calibrations, *band.copies, *band.aside):
                found.setdefault(card.path.resolve(), band)
        return found


def _grouped(named: Iterable[tuple[str, KnownBand]]) -> dict[str, list[KnownBand]]:
    """Bands by a name in lower case."""
    found: dict[str, list[KnownBand]] = {}
    for name, band in named:
        found.setdefault(name.lower(), []).append(band)
    return found


def _words(band: KnownBand) -> str:
    last = band.calibrations[-1] if band.calibrations else None
    return f"flat {last.flat_length:.3f} m, measured {last.day or 'on an unknown date'}" if last else "logs only"


def read_register(folder: Path) -> Register:
    """Look through a folder and make the register of its bands.

    Raises:
        FileError: It is not a folder.
        DataError: It holds too much to be a folder of bands.
    """
    return register_of(read_cards(folder))


def register_of(found: Cards) -> Register:
    """The register of what was found."""
    decisions, gone = standing(d for d in found.decisions if not is_to_come(d.stamp.at))
    named = _named(found.cards, decisions)
    bands: list[KnownBand] = []
    for mark in dict.fromkeys(card.mark.lower() for card in named.cards):
        bands += _bands([c for c in named.cards if c.mark.lower() == mark], named, decisions)
    logged = [entry for entry in found.logged if entry.entry.stamp.entry not in gone]
    bands, lost = _with_logs(bands, logged, decisions)
    known = {b.mark.lower() for b in bands} | {
        old.lower() for b in bands for old, _ in b.former
    }  # its runs keep that name
    bands += [KnownBand(mark, mark) for low, mark in found.recorded.items() if low not in known]
    bands = _paired([replace(b, problems=_problems_of(b, found.problems)) for b in bands], decisions)
    said = (*_to_come(found.decisions), *named.said, *lost, *_without_files(decisions, bands))
    ordered = tuple(sorted(bands, key=lambda b: b.address.lower()))
    return Register(
        found.folder, ordered, tuple(found.scales), tuple(found.problems), said, tuple(decisions), tuple(found.invented)
    )


@dataclass
class _Named:
    """Cards under the names their bands have now."""

    cards: list[Card]
    former: dict[str, list[tuple[str, Decision]]] = field(default_factory=dict)  # by key
    said: list[str] = field(default_factory=list)


def _named(cards: Iterable[Card], decisions: Sequence[Decision]) -> _Named:
    named = _Named(list(cards))
    for decision in decisions:
        if decision.event != "renamed":
            continue
        about = [c for c in named.cards if c.key in decision.keys]
        meant = [c for c in about if c.mark.lower() == decision.band.lower()]
        if about and not meant and any(c.mark.lower() != decision.to.lower() for c in about):
            named.said.append(
                f"the register renames {decision.band} to {decision.to}, its files say {about[0].mark}; the files count"
            )
        for card in meant:
            named.former.setdefault(card.key, []).append((card.mark, decision))
            named.cards[named.cards.index(card)] = replace(card, mark=decision.to)
    return named


def _bands(cards: Sequence[Card], named: _Named, decisions: Sequence[Decision]) -> list[KnownBand]:
    """The bands of one mark: one, or one a folder where they cannot be one."""
    put_aside = {key for d in decisions if d.event == "set-aside" for key in d.keys}
    standing_cards, copies = _once_each([c for c in cards if c.key not in put_aside])
    aside = [c for c in cards if c.key in put_aside]
    apart = _apart(standing_cards or aside, decisions)
    out = []
    for folders in apart:
        keys = frozenset(c.key for c in (*standing_cards, *aside) if c.folder in folders)
        own = tuple(sorted((c for c in standing_cards if c.folder in folders), key=_age))
        mark = (own or tuple(aside))[-1].mark
        folder = min(folders, key=len)
        address = f"{folder}/{mark}" if len(apart) > 1 and folder else mark
        former = {(old.lower(), d.stamp.entry): (old, d) for key in keys for old, d in named.former.get(key, ())}
        status = [d for d in decisions if d.event in STATUS and keys & set(d.keys)]
        out.append(
            KnownBand(
                mark=mark,
                address=address,
                folders=tuple(folders),
                calibrations=own,
                copies=tuple(c for c in copies if any(c.key == k.key or c.runs < k.runs for k in own)),
                aside=tuple(c for c in aside if c.folder in folders),
                decision=status[-1] if status else None,
                former=tuple(former.values()),
                one_band=any(d.event == "one-band" and len(keys & set(d.keys)) > 1 for d in decisions),
            )
        )
    return out


def _age(card: Card) -> tuple[str, bool, str, float]:
    """Oldest first; of one day a quick look before a full recording, then as they were begun, the more certain last."""
    return card.day, "few-lengths" not in card.codes, card.started, -card.u_relative


def _once_each(cards: Sequence[Card]) -> tuple[list[Card], list[Card]]:
    """Each calibration once, the profile that knows most of it; and the others."""
    best: dict[str, Card] = {}
    for card in sorted(cards, key=lambda c: (c.sources, -c.u_relative, str(c.path))):
        best[card.key] = card
    kept = [c for c in best.values() if not any(c.runs < other.runs for other in best.values() if c.runs)]
    return kept, [c for c in cards if c not in kept]


def _apart(cards: Sequence[Card], decisions: Sequence[Decision]) -> list[list[str]]:
    """Folders whose files are of one band each."""
    groups = [[folder] for folder in dict.fromkeys(c.folder for c in cards)]
    for decision in decisions:
        if decision.event == "one-band":
            groups = _joined(groups, {c.folder for c in cards if c.key in decision.keys})
    for top in dict.fromkeys(folder.split("/")[0] for folder in (c.folder for c in cards)):
        below = [g for g in groups if all(f.split("/")[0] == top for f in g)]
        if len(below) > 1 and _fit_together(cards, below):
            groups = _joined(groups, {folder for g in below for folder in g})
    return [[f for g in groups for f in g]] if _fit_together(cards, groups) else groups


def _joined(groups: Sequence[list[str]], folders: set[str]) -> list[list[str]]:
    touched = [g for g in groups if folders & set(g)]
    return [g for g in groups if g not in touched] + ([[f for g in touched for f in g]] if touched else [])


def _fit_together(cards: Sequence[Card], groups: Sequence[list[str]]) -> bool:
    """Whether nothing in one group speaks against its being the band of another."""
    return all(
        can_be_one_band(a, b)
        for one, other in combinations(groups, 2)
        for a in cards
        if a.folder in one
        for b in cards
        if b.folder in other
    )


def _with_logs(
    bands: Sequence[KnownBand], logged: Sequence[Logged], decisions: Sequence[Decision]
) -> tuple[list[KnownBand], list[str]]:
    """Each entry with its band; what cannot be told whose it is, is said."""
    of: dict[int, list[Logged]] = {}
    alone: dict[str, list[Logged]] = {}
    lost: dict[str, int] = {}
    for entry in logged:
        found = _owners(bands, entry)
        if len(found) == 1:
            of.setdefault(found[0], []).append(entry)
        elif found:
            lost[entry.entry.band] = lost.get(entry.entry.band, 0) + 1
        else:
            alone.setdefault(entry.entry.band.lower(), []).append(entry)
    out = [_logging(band, of.get(i, [])) for i, band in enumerate(bands)]
    for entries in alone.values():
        mark = entries[0].entry.band
        status = [d for d in decisions if d.event in STATUS and not d.keys and d.band.lower() == mark.lower()]
        folders = tuple(dict.fromkeys(e.folder for e in entries))
        out.append(_logging(KnownBand(mark, mark, folders, decision=status[-1] if status else None), entries))
    return out, [
        f"{count} entries of {mark} belong to neither band: {mark} names two, and they lie in neither's folder"
        for mark, count in lost.items()
    ]


def _owners(bands: Sequence[KnownBand], logged: Logged) -> list[int]:
    """Which bands an entry may be of: by its name, or one that ended later; of several by the folder it lies in."""
    mark, at = logged.entry.band.lower(), logged.entry.stamp.at
    found = [i for i, b in enumerate(bands) if any(o.lower() == mark and at <= d.stamp.at for o, d in b.former)]
    found = found or [i for i, b in enumerate(bands) if b.mark.lower() == mark]
    if len(found) < 2:
        return found
    near = [i for i in found if any(_near(folder, logged.folder) for folder in bands[i].folders)]
    return near if len(near) == 1 else found


def _near(folder: str, other: str) -> bool:
    """Whether one folder is the other, or one lies in the other below the top."""
    return folder == other or (bool(folder) and bool(other) and folder.split("/")[0] == other.split("/")[0])


def _logging(band: KnownBand, logged: Sequence[Logged]) -> KnownBand:
    uses = [x.entry for x in logged if isinstance(x.entry, Use)]
    rechecks = [x.entry for x in logged if isinstance(x.entry, Recheck)]
    return replace(band, uses=tuple(counted_once(uses)), rechecks=tuple(noted_once(rechecks)))


def _paired(bands: Sequence[KnownBand], decisions: Sequence[Decision]) -> list[KnownBand]:
    """Bands with those they are kept together with: of each band the last such decision stands."""
    owner = {key: i for i, band in enumerate(bands) for key in band.keys}
    of: dict[int, tuple[int, int]] = {}
    for decision in decisions:
        there = [owner[key] for key in decision.keys if key in owner]
        if decision.event == "paired" and len(set(there)) == 2:  # the left one's calibrations stand first
            of |= dict.fromkeys(there, (there[0], there[-1]))
    out = list(bands)
    for i, (left, right) in of.items():
        if of[left] == of[right]:
            partner = bands[right if i == left else left].id
            out[i] = replace(bands[i], partner=partner, hangs="left" if i == left else "right")
    return out


def _problems_of(band: KnownBand, problems: Iterable[Problem]) -> tuple[Problem, ...]:
    names = {band.mark.lower(), *(old.lower() for old, _ in band.former)}
    return tuple(p for p in problems if p.mark.lower() in names)


def _to_come(decisions: Iterable[Decision]) -> list[str]:
    return [
        f"the register notes {d.event.replace('-', ' ')} of {d.band} on {d.stamp.at.date()}, which is in the future: "
        "that row is ignored"
        for d in decisions
        if is_to_come(d.stamp.at)
    ]


def _without_files(decisions: Sequence[Decision], bands: Sequence[KnownBand]) -> list[str]:
    there = {key for band in bands for key in band.keys}
    gone = [d for d in decisions if d.keys and not there & set(d.keys) and d.event in STATUS and d.event != "in-use"]
    return [
        f"the register says {d.band} is {STATUS[d.event]}, but it has no file here; the files count"
        for d in gone
        if not any(b.mark.lower() == d.band.lower() and b.decision is d for b in bands)
    ]


def day_of(card: Card) -> date | None:
    """Of a calibration, None where it was not noted."""
    return date.fromisoformat(card.day) if card.day else None
