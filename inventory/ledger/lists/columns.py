"""The columns of a vehicle list: our headings, and what a heading of somebody else's means.

Pure. The headings that people use, in English, German and French: common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from inventory.ledger.lists.cells import key

#: Ends the heading of a column that is only to be read, and is left out when the list comes back.
FOR_READING = "(for reading)"


class Kind(Enum):
    """What a cell of the column holds."""

    UID = "uid"
    TEXT = "text"
    WHOLE = "whole number"
    DAY = "day"
    AMOUNT = "amount"
    LENGTH = "length"
    YES = "yes or no"
    CATEGORY = "category"
    FAMILY = "standards"
    SCALE = "scale"
    COUPLER = "coupler"
    MOUNTING = "mounting"
    PER_AXLE = "per axle"
    RETIRED = "retired"


@dataclass(frozen=True)
class Column:
    """A column that a list may have.

    code: the field of a vehicle, or of its wheels or couplers. label: in words. heading: over our
    own exports. names: what others call it. is_exported: False for those only read.
    """

    code: str
    label: str
    heading: str
    kind: Kind
    names: tuple[str, ...] = ()
    is_exported: bool = True


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


COLUMNS = {
    each.code: each
    for each in (
        Column("uid", "Lasting name (uid)", "uid", Kind.UID),
        Column(
            "reporting_mark",
            "Railway or marks",
            "Marks",
            Kind.TEXT,
            _names(
                "reporting marks, reporting mark, railway or reporting marks, mark, road, "
                "road name, roadname, railroad, railway, company, operator, lettering, "
                "owner marks, "
                "bahnverwaltung, bahngesellschaft, bahn, verwaltung, beschriftung, betreiber, "
                "compagnie, réseau, administration, société"
            ),
        ),
        Column(
            "number",
            "Running number",
            "Number",
            Kind.TEXT,
            _names(
                "no, nr, #, road #, car #, running no, betriebsnr, betriebs nr, running number, "
                "road number, car number, wagon number, fleet number, "
                "loco number, nummer, betriebsnummer, wagennummer, loknummer, fahrzeugnummer, "
                "numéro, numéro de route, immatriculation, n°"
            ),
        ),
        Column("name", "Name", "Name", Kind.TEXT, _names("title, nom, taufname, bezeichnung")),
        Column(
            "category",
            "Category",
            "Category",
            Kind.CATEGORY,
            _names("class, group, kategorie, gruppe, hauptgruppe, catégorie, groupe"),
        ),
        Column(
            "kind",
            "Kind",
            "Kind",
            Kind.TEXT,
            _names(
                "type, car type, vehicle type, description, model, gattung, typ, wagentyp, art, "
                "bauart, modell, baureihe, beschreibung, type de wagon, genre, modèle, "
                "série, description du modèle"
            ),
        ),
        Column(
            "scale",
            "Scale",
            "Scale",
            Kind.SCALE,
            _names("gauge, scale gauge, spur, spurweite, maßstab, baugröße, nenngröße, échelle"),
        ),
        Column(
            "family",
            "Standards",
            "Standards",
            Kind.FAMILY,
            _names("standard, norm, normen, norme, normes"),
        ),
        Column(
            "axles",
            "Axles",
            "Axles",
            Kind.WHOLE,
            _names("number of axles, axle count, achsen, achszahl, anzahl achsen, essieux"),
        ),
        Column(
            "has_buffers",
            "Side buffers",
            "Side buffers",
            Kind.YES,
            _names("buffers, puffer, seitenpuffer, tampons"),
        ),
        Column(
            "maker",
            "Maker",
            "Maker",
            Kind.TEXT,
            _names(
                "manufacturer, mfr, mfg, make, brand, hersteller, marke, firma, fabricant, "
                "marque, constructeur"
            ),
        ),
        Column(
            "catalogue_number",
            "Catalogue number",
            "Catalogue number",
            Kind.TEXT,
            _names(
                "catalog number, catalogue no, catalog no, item number, item no, item, "
                "product number, part number, stock number, sku, article number, artikelnummer, "
                "artikel nr, art nr, artikel, bestellnummer, katalognummer, référence, ref, "
                "numéro d article"
            ),
        ),
        Column(
            "aar_designation",
            "AAR designation",
            "AAR designation",
            Kind.TEXT,
            _names("aar, aar code, aar class, aar type, aar mechanical designation"),
        ),
        Column(
            "uic_letter",
            "UIC class letter",
            "UIC class letter",
            Kind.TEXT,
            _names("uic, uic class, uic letter, uic gattung, gattungsbuchstabe, lettre uic"),
        ),
        Column(
            "era", "Era", "Era", Kind.TEXT, _names("epoch, era or epoch, period, epoche, époque")
        ),
        Column(
            "minimum_radius",
            "Smallest radius",
            "Smallest radius (mm)",
            Kind.LENGTH,
            _names(
                "smallest radius, minimum radius, min radius, radius, mindestradius, "
                "kleinster radius, rayon minimal, rayon"
            ),
        ),
        Column(
            "acquired_on",
            "Acquired",
            "Acquired",
            Kind.DAY,
            _names(
                "date acquired, acquired on, bought, bought on, purchased, purchase date, "
                "date purchased, date of purchase, date bought, date, gekauft, gekauft am, "
                "kaufdatum, anschaffung, anschaffungsdatum, erworben, datum, acheté le, "
                "date d achat, date achat"
            ),
        ),
        Column(
            "price",
            "Price",
            "Price",
            Kind.AMOUNT,
            _names(
                "price paid, purchase price, paid, cost, kaufpreis, preis, bezahlt, "
                "einkaufspreis, anschaffungspreis, prix, prix d achat, coût"
            ),
        ),
        Column(
            "value",
            "Present value",
            "Value",
            Kind.AMOUNT,
            _names(
                "present value, current value, market value, estimated value, worth, wert, "
                "zeitwert, sammlerwert, schätzwert, valeur, valeur actuelle, estimation"
            ),
        ),
        Column(
            "currency", "Currency", "Currency", Kind.TEXT, _names("währung, devise, monnaie, curr")
        ),
        Column(
            "storage_box",
            "Storage box",
            "Storage box",
            Kind.TEXT,
            _names(
                "box, storage, location, place, drawer, shelf, stored in, lagerort, lager, "
                "schachtel, kiste, fach, standort, aufbewahrung, boîte, rangement, emplacement"
            ),
        ),
        Column(
            "notes",
            "Notes",
            "Notes",
            Kind.TEXT,
            _names(
                "note, remarks, remark, comments, comment, notizen, notiz, bemerkung, "
                "bemerkungen, anmerkungen, kommentar, remarques, remarque, commentaires, "
                "observations"
            ),
        ),
        Column(
            "profile_code",
            "RP-25 code of its wheels",
            "RP-25 code",
            Kind.PER_AXLE,
            _names("wheel code, wheel profile, rp 25, rp25, code of wheels, radprofil"),
        ),
        Column(
            "material",
            "Wheel material",
            "Wheel material",
            Kind.PER_AXLE,
            _names("wheels, wheel, material of wheels, radmaterial, räder, radsätze, roues"),
        ),
        Column(
            "tread_diameter",
            "Wheel diameter",
            "Wheel diameter",
            Kind.PER_AXLE,
            _names("tread diameter, wheel size, raddurchmesser, diamètre des roues"),
        ),
        Column(
            "coupler",
            "Couplers, both ends",
            "Couplers",
            Kind.COUPLER,
            _names("coupler, couplings, coupling, kupplung, kupplungen, attelage, attelages"),
            is_exported=False,
        ),
        Column("coupler_a", "Coupler, end A", "Coupler A", Kind.COUPLER, _names("coupler end a")),
        Column("coupler_b", "Coupler, end B", "Coupler B", Kind.COUPLER, _names("coupler end b")),
        Column("mounting_a", "Coupler mounting, end A", "Coupler mounting A", Kind.MOUNTING),
        Column("mounting_b", "Coupler mounting, end B", "Coupler mounting B", Kind.MOUNTING),
        Column(
            "retired",
            "Has left the stock (such rows are left out)",
            f"Left the stock {FOR_READING}",
            Kind.RETIRED,
            is_exported=False,
        ),
    )
}

EXPORTED = tuple(each for each in COLUMNS.values() if each.is_exported)

#: Units that a heading may name in brackets, "Radius (in)".
_UNITS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "zoll": "in",
    '"': "in",
    "”": "in",
    "ft": "ft",
}
_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")


def plain_heading(heading: str) -> str:
    """What counts of a heading: words without accents, signs, brackets and what is in these."""
    bare = _BRACKETS.sub(" ", key(heading)).replace("ß", "ss")
    letters = unicodedata.normalize("NFD", bare)
    letters = "".join(ch for ch in letters if not unicodedata.combining(ch))
    return " ".join(re.sub(r"[^a-z0-9°#]+", " ", letters).split())


def unit_of(heading: str) -> str:
    """The unit of length that a heading names in brackets, empty if none."""
    for found in _BRACKETS.findall(key(heading)):
        if found.strip() in _UNITS:
            return _UNITS[found.strip()]
    return ""


def _known_names() -> dict[str, str]:
    known: dict[str, str] = {}
    for column in COLUMNS.values():
        if column.kind is Kind.RETIRED:
            continue
        for name in (column.heading, column.label, *column.names):
            known.setdefault(plain_heading(name), column.code)
    return known


_KNOWN = _known_names()
_OWN = {key(column.heading): column.code for column in COLUMNS.values()}


def is_for_reading(heading: str) -> bool:
    """Whether our own export wrote the column only to be read."""
    return key(heading).endswith(key(FOR_READING))


def meaning(heading: str) -> str:
    """The code of the column that a heading means, empty where it says nothing we know."""
    if code := _OWN.get(key(heading)):
        return code
    if is_for_reading(heading):
        return ""
    return _KNOWN.get(plain_heading(heading), "")


#: Words of headings over what is measured or weighed, which no list brings in. "Length over
#: buffers" says nothing of buffers, and "Coupler height" nothing of which coupler it is.
_MEASURED = frozenset(
    plain_heading(word)
    for word in _names(
        "length, lengths, height, width, weight, weights, mass, load, capacity, speed, lüp, "
        "länge, laenge, höhe, hoehe, breite, gewicht, masse, longueur, hauteur, largeur, poids, "
        "charge, vitesse"
    )
)


def _is_measured(heading: str) -> bool:
    return not _MEASURED.isdisjoint(plain_heading(heading).split())


def guess(headings: Sequence[str]) -> list[str]:
    """A code for each heading, empty for those to be left out; none is given twice.

    Our own headings come first, then names known whole, then the longest name that a heading
    holds as words.
    """
    found = [meaning(heading) for heading in headings]
    taken: set[str] = set()
    for index, code in enumerate(found):
        if code in taken:
            found[index] = ""
        taken |= {code} - {""}
    for index, heading in enumerate(headings):
        if found[index] or is_for_reading(heading) or _is_measured(heading):
            continue
        words = f" {plain_heading(heading)} "
        inside = [
            (len(name), code)
            for name, code in _KNOWN.items()
            if len(name) > 3 and f" {name} " in words and code not in taken
        ]
        if inside and meaning(heading) == "":
            found[index] = max(inside)[1]
            taken.add(found[index])
    return found


def heading_row(rows: Sequence[Sequence[str]]) -> int | None:
    """Which of the first rows holds the headings; None where no row looks like them.

    rows: the first rows of a list, those of its title among them. The row with the most known
    headings, else the first with two or more words, all of them different and no number.
    """
    known = [len({meaning(cell) for cell in row} - {""}) for row in rows[:30]]
    if known and max(known) >= 2:
        return known.index(max(known))
    for index, row in enumerate(rows[:30]):
        filled = [cell.strip() for cell in row if cell.strip()]
        is_words = all(not any(ch.isdigit() for ch in cell) for cell in filled)
        is_as_wide = index + 1 >= len(rows) or len(filled) >= 0.6 * len(_filled(rows[index + 1]))
        if len(filled) >= 2 and is_words and is_as_wide and len(set(filled)) == len(filled):
            # The next row has to look otherwise, or it is a list of words without headings.
            below = rows[index + 1 : index + 6]
            if any(any(ch.isdigit() for ch in cell) for row in below for cell in row):
                return index
    return known.index(1) if 1 in known else None


def _filled(row: Sequence[str]) -> list[str]:
    return [cell for cell in row if cell.strip()]


def letter(index: int) -> str:
    """The letter of a column as spreadsheet programs name it: 0 is A, 26 is AA."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name


def repeated(headings: Iterable[str]) -> list[str]:
    """Headings that stand over more than one column."""
    seen: dict[str, int] = {}
    for heading in headings:
        if heading.strip():
            seen[key(heading)] = seen.get(key(heading), 0) + 1
    return [heading for heading, times in seen.items() if times > 1]


# --- Words for what is chosen from a list --------------------------------------------------------

_CATEGORIES = {
    "locomotive": "locomotive, locomotives, loco, locos, engine, motive power, lok, loks, "
    "lokomotive, lokomotiven, triebfahrzeug, triebwagen, railcar, multiple unit, machine, "
    "steam locomotive, diesel locomotive, electric locomotive, dampflok, diesellok, elok, "
    "e lok, autorail, engin moteur",
    "freight": "freight, goods, freight car, freight cars, wagon, wagons, goods wagon, "
    "freight car or wagon, car, rolling stock, güterwagen, gueterwagen, marchandises, "
    "wagon de marchandises, wagon marchandises",
    "passenger": "passenger, passenger car, passenger cars, coach, coaches, carriage, "
    "passenger car or coach, personenwagen, reisezugwagen, voiture, voitures, voyageurs, "
    "voiture voyageurs",
    "service": "service, service stock, departmental, maintenance of way, mow, work train, "
    "dienstwagen, bahndienst, bahndienstwagen, bahndienstfahrzeug, véhicule de service, travaux",
}
_COUPLERS = {
    "knuckle": "knuckle, knuckle coupler, knuckles, klauenkupplung, mittelpufferkupplung, "
    "attelage à mâchoire",
    "loop": "loop, loop coupling, bügelkupplung, buegelkupplung, bügel, attelage à boucle, boucle",
    "close": "close, close coupling, kurzkupplung, attelage court",
    "hook": "hook, hook and chain, screw, screw link, three link, three link coupling, "
    "schraubenkupplung, originalkupplung, attelage à vis",
    "bar": "bar, bar or permanent, drawbar, permanent, deichsel, steifkupplung, barre",
    "none": "none, no, keine, ohne, aucun, sans",
    "other": "other, andere, sonstige, autre",
}
_MOUNTINGS = {
    "body": "body, on the body, body mounted, am wagenkasten, wagenkasten, kasten, caisse",
    "bogie": "bogie, on the bogie, truck, truck mounted, talgo, drehgestell, am drehgestell, "
    "bogie monté",
    "pocket": "pocket, in a pocket, nem pocket, schacht, normschacht, nem schacht, boîtier",
}


def _by_word(words: dict[str, str]) -> dict[str, str]:
    return {
        plain_heading(name): code for code, names in words.items() for name in names.split(",")
    }


_MEANT = {
    Kind.CATEGORY: _by_word(_CATEGORIES),
    Kind.COUPLER: _by_word(_COUPLERS),
    Kind.MOUNTING: _by_word(_MOUNTINGS),
}


def chosen_word(kind: Kind, cell: str) -> str:
    """What a cell of a category, coupler or mounting means, empty where it is not known."""
    return _MEANT[kind].get(plain_heading(cell), "")
