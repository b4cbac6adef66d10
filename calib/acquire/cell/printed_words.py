"""Words that load cells print: units in many spellings, whether the load stands, overloads, faults, names of numbers.

Tables only. Units of a force are kept apart from those of anything else: 24.31 N/mm and 1413 mm are no force, and a
number with such a unit is never one. That these spellings are met is common practice, no source.
"""

import re
from functools import lru_cache
from typing import Literal, NamedTuple

Quantity = Literal["force", "length", "time", "other"]

_SPELT = {
    "g": "g gr grs gram grams gramm gramme grammes gramo gramos grammi г гр грамм 克 公克 グラム 그램 غ",
    "kg": "kg kgs kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes kilogramo kilogramos quilo quilos"
    " chilogrammi кг кило 千克 公斤 キログラム 킬로그램 كجم كغ",
    "lb": "lb lbs pound pounds libra libras livre livres pfund фунт фунтов 磅 ポンド 파운드",
    "oz": "oz ozs ounce ounces onza onzas 盎司 オンス",
    "t": "ton tons tonne tonnes tonnen 吨 トン",
    "N": "n newton newtons ньютон н 牛 牛顿 ニュートン 뉴턴",
    "mN": "millinewton millinewtons",
    "daN": "dan decanewton decanewtons dekanewton",
    "kN": "kn kilonewton kilonewtons кн 千牛",
    "kgf": "kgf kg-f kilogram-force kilograms-force kp kilopond кгс 千克力",
    "gf": "gf g-f gram-force",
    "lbf": "lbf lb-f lbsf lbs-f pound-force pounds-force",
}
FORCE_UNITS = {spelt: unit for unit, words in _SPELT.items() for spelt in words.split()}
_EXACT: dict[str, str] = {"t": "t", "т": "t", "mN": "mN", "kip": "", "MN": "", "G": ""}  # "": only the user can say
UNSURE = frozenset({"G"})  # gram or gross

_OTHER: dict[Quantity, str] = {
    "length": "mm cm dm m km um µm inch inches in ft мм см",
    "time": "s ms us µs ns sec secs second seconds msec usec millis micros min h мс",
    "other": "V mV uV µV kV A mA uA µA C °C F °F K % ‰ Hz kHz Pa kPa MPa hPa bar mbar psi ksi Nm Ncm mNm Nmm ppm dB dBm"
    " W Ah mAh rpm deg ° °/s sps rh volt volts ohm ohms Ω counts/s kgm ftlb inlb lbft lbin J",
}
_QUANTITIES: dict[str, Quantity] = {word: kind for kind, words in _OTHER.items() for word in words.split()}
_QUANTITIES_LOWER: dict[str, Quantity] = {w.lower(): k for w, k in _QUANTITIES.items() if len(w) > 2}
_COMPOUND = re.compile(r"[/·*^.\-]")

STANDS = frozenset(["ST", "S", "STABLE", "STB", "STILL", "STEADY", "STAND", "STABIL", "STABLY", "ESTABLE", "FIX"])
GOES = frozenset(
    [
        "US",
        "D",
        "M",
        "U",
        "UNSTABLE",
        "UNST",
        "UNSTB",
        "MOTION",
        "MOVING",
        "MOVES",
        "MOT",
        "DYN",
        "DYNAMIC",
        "INSTABIL",
        "RUN",
    ]
)
MODES = frozenset(["Z", "ZERO", "G", "N", "GS", "NT", "GROSS", "NET", "GR", "BRUTTO", "NETTO", "TARED", "B"])
_SUFFIXES = frozenset(["S", "D", "M", "U", "G", "N", "GS", "NT", "GR", "NET", "GROSS", "ST", "US"])

OVERLOAD = re.compile(
    r"^\W*(?:([HLEonu])\1+|[HL]|OL|UL|ofl|High|Low|Over|Under|S [+\-])\W*$"
    r"|^\s*(?:OL|UL|OF|UF)\s*[,;]|^\s*(?:OL|UL)(?=\s*[+\-\d])"
    r"|\b(?:over|under)[ _-]?(?:load|range|flow|weight|scale|limit)(?:ed)?\b(?![\"']?\s*[:=]\s*[\"']?\d)"
    r"|\bovf\b|\binf(?:inity)?\b|\bsaturat\w+"
    r"|\b(?:out of|beyond) range\b|\blimit exceeded\b|\btoo heavy\b|(?<![\w.])(?:OL|OVLD|OVL|OVER)(?![\w=:])|überlast"
    r"|^[^\w]*[-=_*#^~][-=_*#^~. ]{2,}\W*(?:kgf?|lbf?|gf?|k?N|oz)?\W*$",
    re.IGNORECASE,
)
FAULT = re.compile(
    r"\bnot (?:found|ready|connected|responding)\b|\bdisconnected\b|\bno (?:response|sensor|signal|bridge|cell)\b"
    r"|\btime(?:d)?[- ]?out\b|\bfail(?:ed|ure)?\b|\bfaults?\b(?![\"']?\s*[:=]\s*[\"']?\d)"
    r"|\berr(?:or)?\b(?!\s*[:=]\s*[+\-\d.])|^\W*e(?:rr?)?[ -]?\d{1,2}\W*$"
    r"|\bnan\b|\bcheck (?:the )?wiring\b|\bsensor (?:open|short)\w*|^\s*S I\s*$",
    re.IGNORECASE,
)
STATUS = re.compile(
    r"\b(?:lo|low|weak|flat)[ _-]?bat\w*|\bbat\w*[ _:-]*(?:lo|low|weak|flat|empty)\b|\bcalibrating\b"
    r"|\bcal(?:ibration)? (?:mode|runs?|running)\b"
    r"|\bwarm(?:ing)?[ -]?up\b|\bcharging\b|\bpower save\b|\bsleep(?:ing)?\b|\bhold on\b|\bplease wait\b|\bbusy\b",
    re.IGNORECASE,
)
FLAG = re.compile(
    r"[\"']?\b([a-z_]{2,20})[\"']?\s*[:=]\s*[\"']?(true|false|yes|no|null|none|on|off)\b[\"']?", re.IGNORECASE
)
BOOT = re.compile(
    r"\b(?:re)?boot(?:ed|ing)?\b|\bstart(?:ing|ed|up)\b|\binit(?:iali[sz]\w+)?\b|\bset-?up\b|\brst:"
    r"|\bets \w|\breset(?:ting)?\b"
    r"|\bfirmware\b|\bhello\b|\bpower(?:ed)? on\b|\bcopyright\b|\bwelcome\b|^\W*(?:auto ?)?(?:tare|taring|tared)\b\D*$",
    re.IGNORECASE,
)

Named = Literal["value", "clock", "length", "sequence", "stable", "overload", "fault", "not force", "which"]
_NAMES: dict[Named, str] = {
    "clock": "t time ms millis clock seconds sec secs timestamp uptime us micros tick ticks ts zeit zeit_ms",
    "length": "length len distance dist position pos travel extension stroke displacement",
    "sequence": "seq sequence sample line counter index packet frame",
    "stable": "stable steady still settled stab",
    "overload": "overload ovl ovld overrange saturated sat",
    "fault": "err error fault errors faults",
    "not force": "raw adc temp temperature battery batt bat volt voltage vcc vdd hum humidity rssi factor scale offset"
    " tare zero gain peak max min maximum minimum mean avg average median status state crc chk check checksum rate sps"
    " hz baud version stiffness slope std sd noise percent faktor celsius fahrenheit area",
    "which": "channel ch cell node id sensor hook board no nr",
    "value": "force weight load mass pull tension wt net gross kraft zugkraft zug gewicht peso fuerza poids вес сила",
}
NAMES: dict[str, Named] = {word: meaning for meaning, words in _NAMES.items() for word in words.split()}
_FIRST: tuple[Named, ...] = (
    "stable",
    "overload",
    "fault",
    "not force",
    "length",
    "clock",
    "sequence",
    "value",
    "which",
)


class Meaning(NamedTuple):
    """What a word behind a number says: a force's unit, or what else the number is."""

    quantity: Quantity
    unit: str | None  # of a force; the word itself for anything else; None where only the user can say
    status: str = ""  # letters glued to the unit


@lru_cache(maxsize=4096)
def unit_of(word: str) -> Meaning | None:
    """What a word behind a number says of it; None where it is no unit.

    >>> unit_of("Kgs"), unit_of("kgS").status, unit_of("N/mm").quantity
    (Meaning(quantity='force', unit='kg', status=''), 'S', 'other')
    """
    bare = word.rstrip(".")
    if bare[-1:] == "S" and bare[:-1].islower() and (unit := FORCE_UNITS.get(bare[:-1])):
        return Meaning("force", unit, "S")
    if bare in _EXACT:
        return Meaning("force", _EXACT[bare] or None, bare if bare in UNSURE else "")
    if bare in _QUANTITIES:
        return Meaning(_QUANTITIES[bare], bare)
    if unit := FORCE_UNITS.get(bare.lower()):
        return Meaning("force", unit)
    if bare.lower() in _QUANTITIES_LOWER:
        return Meaning(_QUANTITIES_LOWER[bare.lower()], bare)
    return _compound(bare) or _glued(bare)


def _compound(word: str) -> Meaning | None:
    parts = [part.rstrip("0123456789²³") for part in _COMPOUND.split(word)]
    if len(parts) < 2 or not parts[0] or unit_of(parts[0]) is None:
        return None
    return Meaning("other", word) if all(part and unit_of(part) for part in parts) else None


def _glued(word: str) -> Meaning | None:
    """A unit with letters of status glued to it: `kgS`, `KGG`, `NETkg`."""
    for size in range(min(5, len(word) - 1), 0, -1):
        ends = ((word[:-size], word[-size:]), (word[size:], word[:size]))
        for rest, letters in ends:
            if letters in _SUFFIXES and (len(rest) > 1 or rest.islower()):
                unit = FORCE_UNITS.get(rest.lower())
                if unit:
                    return Meaning("force", unit, letters)
    return None


def standing(word: str) -> bool | None:
    """Whether a word says that the load stands, or moves; None where it says neither."""
    upper = word.upper() if len(word) > 2 else word
    return True if upper in STANDS else False if upper in GOES else None


def is_status(word: str) -> bool:
    """Whether a word belongs to the state of the scale and may come and go."""
    upper = word.upper() if len(word) > 2 else word
    return upper in STANDS or upper in GOES or upper in MODES


@lru_cache(maxsize=1024)
def named(words: str) -> Named | None:
    """What a name says of its number: the most telling of its words."""
    found = {NAMES[word] for word in re.findall(r"[^\W\d_]+", words.lower()) if word in NAMES}
    return next((meaning for meaning in _FIRST if meaning in found), None)
