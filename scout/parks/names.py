"""When two names are one, and which names tell a park from its kind."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

# Letters that Unicode does not take apart into a base and an accent.
_STROKES = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ħ": "h", "ŧ": "t", "ı": "i", "æ": "ae", "œ": "oe"})
_SIGNS = {code: None for code in range(128) if not chr(code).isalnum()}
_BLANKS = {code: " " for code in _SIGNS if chr(code) not in "'.`"}


def fold(name: str) -> str:
    """Fold case, accents and punctuation of a name; its words stay apart.

    Examples
    --------
    >>> fold("Óttergate  St. Mary's-Park")
    'ottergate st marys park'
    >>> fold("?")
    ''
    """
    if name.isascii():
        return " ".join(name.lower().translate({**_SIGNS, **_BLANKS}).split())
    kept = (_keep_letters(sign) for sign in unicodedata.normalize("NFKD", name.casefold()))
    return " ".join("".join(kept).translate(_STROKES).split())


def _keep_letters(sign: str) -> str:
    if "\u0300" <= sign <= "\u036f":  # accents; marks of other scripts are vowels and the like
        return ""
    kind = unicodedata.category(sign)[0]
    return sign if kind in "LMN" else "" if sign in "'.`’‘´" else " "


def make_key(name: str) -> str:
    """What equal names have in common: folded, without blanks; empty for no name, such as "Unnamed".

    Examples
    --------
    >>> make_key("Tern-Marsh") == make_key("TERN MARSH")
    True
    """
    key = name.lower().translate(_SIGNS) if name.isascii() else fold(name).replace(" ", "")
    return "" if key in _LACKING else key


def _fold_text(words: str) -> frozenset[str]:
    return frozenset(fold(words).split())


NamedPark = tuple[str, str]  # id and name, which may be empty


def is_same_park(one: NamedPark, other: NamedPark, *, ids_hold: bool) -> bool:
    """Whether two versions of some data mean one park.

    Ids that the data give (``ids_hold``) tell it, or names that are equal when folded. Record numbers are
    given anew with every version: they tell it only of parks that have no name.

    Examples
    --------
    >>> is_same_park(("7", "Tern Marsh"), ("8", "TERN MARSH"), ids_hold=True)
    True
    >>> is_same_park(("7", "Tern Marsh"), ("7", "Moor"), ids_hold=False)
    False
    """
    if ids_hold and one[0] == other[0]:
        return True
    key, another = make_key(one[1]), make_key(other[1])
    return key == another if key or another else one[0] == other[0]


def find_other_parks(
    before: Sequence[NamedPark], now: Sequence[NamedPark], *, ids_hold: bool
) -> tuple[list[NamedPark], list[NamedPark]]:
    """Parks of one version that are none of the other's: those lost and those gained."""
    lost, gained = list(before), list(now)
    for by_id in (True, False):  # equal ids first: of two parks of one name each keeps its own
        for park in tuple(lost):
            for other in gained:
                if is_same_park(park, other, ids_hold=ids_hold) and (not by_id or park[0] == other[0]):
                    lost.remove(park)
                    gained.remove(other)
                    break
    return lost, gained


# Words of names that are none, as `fold` leaves them. Kinds of ground set aside:
_KINDS = _fold_text(
    """
    park parks parkland common commons greenway greenspace playground monument memorial
    area areas site sites trail trails path footpath way walk route track bridleway
    cycleway corridor unit units tract parcel parcels property land lands ground grounds
    space zone section segment part piece reserve reserves reservation preserve refuge
    sanctuary conservancy easement campground camp parque parques reserva zona sendero
    camino parc reserve zone espace sentier chemin domaine parco parchi riserva sentiero
    trilha naturpark nationalpark naturschutzgebiet landschaftsschutzgebiet schutzgebiet
    stadtpark gebiet weg wanderweg pfad naturdenkmal natuurgebied natuurreservaat
    natuurpark stadspark pad wandelpad naturreservat naturomrade nasjonalpark omrade
    puisto kansallispuisto luonnonsuojelualue alue rezerwat szlak obszar rezervace
    pamatka парк заповедник заказник 公園 公园 国立公園 国定公園 国家公园
    国家公園 自然公園 自然保护区 自然保護區 保護区 保护区 湿地公园 森林公园 공원 국립공원 보호구역
    """
)
# the landscape,
_LANDSCAPE = _fold_text(
    """
    forest forests wood woods woodland wilderness grassland prairie meadow marsh wetland
    swamp desert garden gardens field fields green beach shore coast island isle river
    creek stream lake pond reservoir water waters waterway canal road jardin bosque
    playa rio lago foret bois etang plage riviere fleuve bosco giardino spiaggia fiume
    floresta mata praia wald forst garten wiese see fluss bach strand bos meer rivier
    skog skov sjo metsa jarvi las jezioro rzeka les jezero reka лес озеро река 森林 湖 川 河
    숲 산림 호수 강
    """
)
# and owners, qualities and small words.
_QUALITIES = _fold_text(
    """
    national state provincial county city town municipal regional district local federal
    tribal public private military community historic historical scenic open protected
    restricted special other wild wildlife nature natural game bird fish fishing hunting
    management conservation protection recreation recreational production scientific
    interest access day use no name not named available applicable n the of and for at
    in a an nacional natural estatal municipal publico privado protegida de del la el
    los y naturelle naturel nationale national regionale communale municipale domaniale
    protegee vert verts le du des et naturale nazionale comunale di della il estadual do
    da dos e o der die das und im am nationaal nationale het een van en fredet vern og
    och przyrody narodowy krajobrazowy narodni prirodni национальныи природныи
    """
)
# What stands where a name is lacking.
_LACKING = frozenset(
    fold(text).replace(" ", "")
    for text in (
        *("null", "none", "nil", "nan", "n/a", "na", "tbd", "unnamed", "unknown", "untitled", "noname"),
        *("no name", "not named", "not available", "sin nombre", "desconocido", "sans nom", "inconnu"),
        *("senza nome", "sem nome", "desconhecido", "unbenannt", "unbekannt", "ohne namen", "onbekend"),
        *("naamloos", "zonder naam", "ukjent", "okänd", "uden navn", "uten navn", "utan namn", "nimetön"),
        *(
            "tuntematon",
            "bez nazwy",
            "nieznany",
            "bez názvu",
            "без названия",
            "無名",
            "无名",
            "未命名",
            "不明",
            "名称不明",
        ),
        *("이름없음", "미상"),
    )
)
_EVERY = _KINDS | _LANDSCAPE | _QUALITIES


def is_own(name: str) -> bool:
    """Whether a name is more than a kind of ground, a landscape, an owner or a number.

    A kind with a landscape makes a name, as people have it: "River Trail".

    Examples
    --------
    >>> [is_own(name) for name in ("Tern Marsh", "River Trail", "Marsh", "State Forest", "12", "")]
    [True, True, False, False, False, False]
    """
    if not make_key(name):
        return False
    words = [word for word in fold(name).split() if not word.isnumeric()]
    landscape, kind = _is_known(words, _LANDSCAPE), _is_known(words, _KINDS)
    return (landscape and kind) or any(word not in _EVERY for word in words)


def _is_known(words: Sequence[str], among: frozenset[str]) -> bool:
    return any(word in among for word in words)
