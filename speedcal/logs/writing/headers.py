"""Headers of columns: what a column holds and in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import LENGTH_UNIT_M, SPEED_WORDS, SpeedUnit, parse_speed_unit

Place = Literal["latitude", "longitude", "elevation", "validity", "north_south", "east_west"]
Role = Literal["speed", "time", "date", "odometer", "engine", "u", "u_common", "session", "unit", ""] | Place

SPEED_UNIT = "|".join(map(re.escape, sorted(SPEED_WORDS, key=len, reverse=True)))
_SPEED_UNIT = late_pattern(rf"(?<![a-z])({SPEED_UNIT})(?![a-z/²^]|2)")
_VALUE = late_pattern(rf"(?<!\d\d\d)\d\s?(?:{_SPEED_UNIT.pattern})")
_SMALL = late_pattern(r"(?<![a-z])(cm|mm)(?:/| per | )s(?![a-z/²^]|2)")
_PARTS = {"cm": 0.01, "mm": 0.001}
_LENGTH_UNIT = late_pattern(r"(?<![a-z])(miles?|mi|kilomet(?:er|re)s?|km|met(?:er|re)s?|m|feet|ft)(?![a-z/])")
INSTRUMENT = late_pattern(
    r"indicated|speedo(?:meter)?|dial|needle|pointer|instrument|shown|display|dash|tach[oiy]|compteur|reading|angezeigt"
    r"|anzeige|affich|indicad|indicat[oa]|indiqu|teller|aangegeven|licznik|velocím|velocim|prędkościomierz|wskaz|gösterge"
    r"|(?<![a-z])ind(?![a-z])"
    r"|mittari|mätare|snelheidsmeter|fartsmåler|tablero|cruscotto|спидометр|速度計|メーター|车速表|仪表|속도계"
)
PHONE = (
    r"sat ?nav|navi|(?:smart)?phone|tel[eé]fono?|telefoon|telefone|téléphone|telemóvel|celular|móvil|handy"
    r"|mobil(?:e|telefon)?"
)
"""What else shows the speed of a receiver."""
_SATELLITE = late_pattern(
    rf"(?<![a-z])(?:gps|gnss|(?:{PHONE}|ground|gnd|true|sog|doppler|actual|satellite|real(?![- ]?time)"
    r"|réelle?|tatsächlich|wirklich|werkelijk)(?![a-z]))"
)
_VEHICLE = late_pattern(r"(?<![a-z])(vehicle|car|obd(?: ?ii)?|ecu|vss|wheel|bus|can|010d|0d)(?![a-z])|車速")
_CALCULATED = late_pattern(r"(?<![a-z])(calc(?:ulated)?|derived|computed|filtered|estimated)(?![a-z])")
_SPEED_WORD = late_pattern(
    r"speed|velocity|(?<![a-z])(?:sog|spd|vss|fart)(?![a-z])|geschwindigkeit|vitesse|velocidad|velocit|010d|prędkość|hız"
    r"|скорость|snelheid|hastighet|nopeus|rychlost|sebesség|brzina|vitez|швидкість|ταχύτητα|מהירות|السرعة|속도|速度|車速"
)
_NO_SPEED = late_pattern(
    r"(?<![a-z])(max|min|top(?![a-z])|avg|average|mean|cruise|target|desired|set ?(?:point|speed)|limit"
    r"|engine|fan|wi?nd|rpm|shaft|turbine|rotor|accel|pump|motor"
    r"|vertical|precision|accuracy|error|(?<!/)std|vmax|höchst|mittel|mittlere|durchschnitt|moyen|promedio|gemiddeld|średni"
    r"|medel|snitt|gjennomsnitt|gennemsnit|průměr|átlag|keski|ortalama|máxim|massim|maksi?[my]|diff|delta|abweich|écart"
    r"|ecart|diferen|scarto|verschil|różnica|skillnad|afwijking)|(?<![a-z])m[eé]dia(?![a-z])|ø|m/s2|m/s\^2|m/s²"
)
_TIME_WORD = late_pattern(
    r"(?<![a-z])(time|timestamp|stamp|datetime|clock|utc|gmt|epoch|elapsed|(?:milli|micro|nano)s(?:econds?)?|seconds?|[mµun]?secs?|mins|minut(?:es?|en|os?|i|er|y)"
    r"|min\.? (?:after|from|into)"
    r"|se(?:k|g|kund(?:en?|er|y)|gundos?|condes?|condi|conden)|mm\.ss|(?:lauf|fahr)zeit|temps|tiempo|tempo"
    r"|zeit|uhrzeit|uhr|zeitpunkt|moment|instant|heure|hora|horário|ora|orario|tijd(?:stip)?|tid(?:spunkt)?|klock(?:an|slag)|klokkeslæt|klokken|kello|godz(?:ina)?|czas|saat|zaman|čas|idő|aika|время|when|since|stopwatch|horodatage|i?tow|hh:mm|mm:ss)(?![a-z])|日時|時刻|时间|시간"
)
_BARE_TIME = late_pattern(r"t|(?:s|[mµun]s|sec|min|minutes?|hours?)|t ?[\[(]?(?:s|[mµun]s|sec|min|h)[\])]?")
_WHEN = late_pattern(r"\d[\d.:]* ?[^\W\d]*|(?<![a-z])since(?! (?:the )?start)")
"""How long something took or when it was, and since when it is so."""
_DATE_WORD = late_pattern(r"(?<![a-z])(date|day|datum|fecha|data|tarih|dato|päivä|дата)(?![a-z])|日付|날짜|日期")
_DATE_OF_ZONE = late_pattern(r"(?:utc|gmt|gps) ?(?:date|day|d)|(?:date|day) ?[\[(]?(?:utc|gmt)[\])]?")
"""A date that names its zone; the clock time has a column of its own."""
_ODOMETER = late_pattern(
    r"(?<![a-z])(odo|odometer|odometre|mileage|trip|trip ?meter"
    r"|kilometer-?stand|km-?stand|tacho-?stand|kilométrage|compteur kilométrique|totalisateur"
    r"|cuentakil[oó]metros|h?od[oó]metro|contachilometri|mätarställning|przebieg)(?![a-z])|пробег|走行距離|里程"
)
_NOT_LENGTH = late_pattern(r"(?<![a-z])(?:(?:trip|odo) ?met(?:er|re)s?|d\W{0,2}m(?:\W{0,2}s)?)(?![a-z])")
"""A trip meter is an instrument; it says nothing about metres, nor do degrees and minutes: ``D M S``, ``d°m'``."""
_ENGINE = late_pattern(r"(?<![a-z])rpm(?![a-z])|engine ?(?:speed|rpm)|r/min|1/min|min-1|(?<![a-z])010c(?![a-z])")
_UNCERTAINTY = late_pattern(r"u ?(common)? ?[\[(]? ?(?:km/h|mph|m/s|kn) ?[\])]?")
VEHICLE = (
    r"(?:vehicle|car|truck|lorry|van|bus|auto|fahrzeug|wagen|v[ée]hicule|voiture|camion|veh[íi]culo|coche|carro|ve[íi]culo"
    r"|veicolo|voertuig|pojazd|fordon)"
)
_SESSION = late_pattern(
    rf"(?:{VEHICLE}|fleet|asset|device|tracker|session|trip|drive|driver|logger)"
    r"[ _-]?(?:id|no\.?|nr\.?|number|name)?"
    r"|unit[ _]?(?:id|no|number|name)|vin|imei|(?:(?:number|licen[sc]e) ?)?plate"
    r"|reg(?:istration)?\.?(?: ?(?:no|number))?"
    r"|(?:auto)?kennzeichen|immatriculation|matr[íi]cula|placa|targa|kenteken|nr rejestracyjny|regnr"
)
_UNIT = late_pattern(r"(?:(?:speed|velocity|reading|dial) ?)?(?:units?|uom|einheit|unité|unidad)")
_NO_PLACE = late_pattern(
    r"precision|accuracy|(?<![a-z])(?:[hvp]?dop|err(?:or)?|std|sd|sigma|time|timestamp|age|acc(?:el)?|g|force)(?![a-z])"
)
"""How good a fix is, when it was taken, or how hard the vehicle turned and braked: ``Lat acc``, ``LongG``."""
_ON_THE_GLOBE = ("latitude", "longitude")
_PLACE: dict[Place, re.Pattern[str]] = {
    "north_south": late_pattern(
        r"^(?!.*lat).*(?<![a-z])n/s(?![a-z])|^lat(?:itude)? ?(?:hemi(?:sphere)?|dir(?:ection)?|ref)$"
    ),
    "east_west": late_pattern(
        r"^(?!.*lon).*(?<![a-z])e/w(?![a-z])|^(?:lon|lng|long|longitude) ?(?:hemi(?:sphere)?|dir(?:ection)?|ref)$"
    ),
    "latitude": late_pattern(
        r"(?<![a-z])(?:gps ?)?(?:lat|latitud(?:e|ine)?|breitengrad|breite|breedte(?:graad)?|szerokość|enlem"
        r"|leveysaste|breddegrad|bredd)(?![a-z])|широта|šířka|szélesség|πλάτος|緯度|纬度|위도"
    ),
    "longitude": late_pattern(
        r"(?<![a-z])(?:gps ?)?(?:lon|lng|long|longitud(?:e|ine)?|laengengrad|längengrad|länge|lengte(?:graad)?|długość"
        r"|boylam|pituusaste|l[eæ]ngdegrad|längd)(?![a-z])|долгота|délka|hosszúság|μήκος|経度|经度|경도"
    ),
    "elevation": late_pattern(
        r"(?<![a-z])(?:alt|altitud(?:e|ine)?|ele|elevation|height|höhe|hoogte|wysokość|yükseklik|höjd|korkeus)(?![a-z])"
        r"|высота|výška|高度|標高|海拔|고도"
    ),
    "validity": late_pattern(r"(?<![a-z])(fix|valid|validity|status|fix ?type|quality|mode|provider)(?![a-z])"),
}

_NEW_WORD = late_pattern(
    r"(?<=[a-z])(?=[A-Z])(?!(?:(?<=[mun])(?<![A-Za-z][mun])|(?<=illi|icro|[Nn]ano))S(?:ec(?:ond)?s?)?(?![a-z]))"
    r"|(?<=[A-Z]{2})(?=[A-Z][a-z]{2})"
)
"""Where a capital begins a word; it does not in ``mS`` and ``MilliSeconds``."""

Origin = Literal["instrument", "vehicle", "satellite", "calculated", ""]


@dataclass(frozen=True, slots=True)
class Heading:
    """What the header of a column says."""

    name: str
    role: Role
    origin: Origin = ""
    """Where a speed comes from, by the words around it."""
    speed_unit: SpeedUnit | None = None
    part: float = 1.0
    """Of the unit: a hundredth in cm/s, a thousandth in mm/s."""
    length_m: float | None = None
    """Metres in the unit of an odometer or height."""


def read_heading(name: str) -> Heading:
    """Return what the words of a header say."""
    words = normal(name)
    unit = speed_unit_in(words)
    own = _special(words)
    if own is not None:
        return Heading(name, own, speed_unit=unit)
    if (small := _SMALL.search(words)) and _SPEED_WORD.search(words) and not _NO_SPEED.search(words):
        return Heading(name, "speed", _origin(words), "m/s", part=_PARTS[small[1]])
    if unit is None and (place := _place(words)) is not None:
        return Heading(name, place, length_m=_length(words))
    if _ODOMETER.search(words) and unit is None and "time" not in words:
        return Heading(name, "odometer", length_m=_length(words))
    named = unit is not None or bool(_SPEED_WORD.search(words)) or bool(INSTRUMENT.search(words))
    if named and not _NO_SPEED.search(words) and not (unit is None and _TIME_WORD.search(words)):
        return Heading(name, "speed", _origin(words), unit)
    if _DATE_OF_ZONE.fullmatch(words):
        return Heading(name, "date")
    if _TIME_WORD.search(words) or "unix time" in words:
        return Heading(name, "time")
    if _DATE_WORD.search(words):
        return Heading(name, "date")
    return Heading(name, "time" if _BARE_TIME.fullmatch(words) else "")


def _place(words: str) -> Place | None:
    """Return which part of a place a header names; a latitude in metres is one of some grid."""
    if _SPEED_WORD.search(words) or _NO_PLACE.search(words):
        return None
    found = next((place for place, pattern in _PLACE.items() if pattern.search(words)), None)
    return None if found in _ON_THE_GLOBE and _length(words) is not None else found


def accented_words(text: str) -> int:
    """Return how many of the words that headings are known by stand in a text, of those with letters beyond English."""
    patterns = (_SPEED_WORD, INSTRUMENT, _NO_SPEED, _TIME_WORD, _ODOMETER, *_PLACE.values())
    return sum(not found[0].isascii() for pattern in patterns for found in pattern.finditer(text.lower()))


def _special(words: str) -> Role | None:
    """Return the role of a header that is known as a whole or by a word that settles it."""
    uncertainty = _UNCERTAINTY.fullmatch(words)
    if uncertainty:
        return "u_common" if uncertainty.group(1) else "u"
    if _ENGINE.search(words):
        return "engine"
    if _UNIT.fullmatch(words):
        return "unit"
    return "session" if _SESSION.fullmatch(words) and words != "trip" else None


def normal(name: str) -> str:
    """Return a header in lower case with one space between words."""
    return " ".join(re.sub(r"[_\s]+", " ", _NEW_WORD.sub(" ", name)).lower().split()).replace("km / h", "km/h")


def of_times(heading: str) -> str:
    """Return the parts of words above notes that say what their times are; of the others a word may mean anything.

    ``times since the start`` says so, neither ``new tires since May`` nor ``40 minutes, from the start to the bridge``.
    """
    parts = [normal(part) for part in re.split(r"[;,]|\. ", heading)]
    said = [_WHEN.sub(" ", part).strip() for part in parts]
    return "; ".join(
        part for part, words in zip(parts, said, strict=True) if _TIME_WORD.search(words) or _BARE_TIME.fullmatch(words)
    )


def speed_unit_in(words: str) -> SpeedUnit | None:
    """Return the unit of speed that stands in a header, None when there is none or more than one."""
    units = {parse_speed_unit(found) for found in _SPEED_UNIT.findall(words)}
    return units.pop() if len(units) == 1 else None


def unit_in_title(title: str) -> SpeedUnit | None:
    """Return the unit that words above a table name; that of a number, such as of the wind or of a limit, is none."""
    return speed_unit_in(_VALUE.sub(" ", normal(title)))


def _origin(words: str) -> Origin:
    if INSTRUMENT.search(words):
        return "instrument"
    if _CALCULATED.search(words):
        return "calculated"
    if _SATELLITE.search(words):
        return "satellite"
    return "vehicle" if _VEHICLE.search(words) else ""


def _length(words: str) -> float | None:
    found = _LENGTH_UNIT.search(_NOT_LENGTH.sub("", words))
    return LENGTH_UNIT_M[found.group(1)] if found else None
