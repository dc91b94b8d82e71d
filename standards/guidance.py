"""A measured wheelset through a measured piece of track: every margin, and how sure it is.

Lengths are exact decimals in millimetres. A margin of nothing or more is good. Letters are those
of the published sheets: B back-to-back, T flange thickness, D flange depth and N tyre width of
the wheelset; G track gauge, C check gauge, S span, F flangeway at the frog, Fg flangeway at the
guard rail and H flangeway depth of the track.

    play                   G - (B + 2T)              the wheelset goes between the rails
    frog-point protection  C - (B + T)               the flange misses the frog point
    span                   B - S                     the wheel backs pass guard and wing rail
    depth                  H - D                     the flange does not touch the floor
    tread support          N - T - p - F / cos(th)   the tread bridges the gap in the frog
    drop-in                B + N + T - G             the wheelset cannot fall between the rails
    fastenings             rail - fastening - D      the flange clears spike heads or chairs

Sources: the supplement of 2009 to NEM 110, 310 and 311 (play and drop-in second-hand); NMRA S-1;
at full size 49 CFR 213.143. The last line is plain geometry, as is tread support, for which the
sheets give no formula.

Track dimensions that hang together stand in for one another: C = G - Fg and S = C - F. A margin
always says so in its note when a dimension followed from others. Each measured dimension enters
a sum once, with its whole factor as its sensitivity (GUM 5.1.2), so that T counted twice is one
doubt and not two. Both wheels of a set are taken to have the same flange and tyre.

Tread support. Take the running line of the route as zero and count outwards, towards the frog.
The rail that carries the wheel up to the frog bends away there and becomes the wing rail of the
other route, whose flangeway it borders: x beyond the theoretical point its edge lies at
x tan(th) + F / cos(th), where th is the angle of the frog. The tread reaches N - T from the
flange, and the flange stands p inside the running line, so the tread still lies on the wing rail
as long as N - T - p exceeds that. The point, from 0 to x tan(th) wide, takes over from x = 0. The
margin is the width of tread that still lies on the wing rail abreast of the theoretical point.

The worst p is as far from the point as the wheelset can be pushed: all of the play, G - B - 2T,
until the other flange touches its rail; but no farther than F - T, where the back of this wheel
touches the wing rail on its own side; and never below zero. The guard rail pushes away from the
point and so sets no end to p. With all of the play the margin is N + B + T - G - F / cos(th); at
the wing rail it is N - F - F / cos(th).

The sheets bear this out: however the wheelset stands, N min bridges F max in every row held, and
the reduced width N1 of NEM 310 (2009) bridges F min, which that sheet asks for, and not F max.

What it assumes: both flangeways of the frog are F wide; the point begins where its two running
lines cross. A point made blunt to a width b begins farther on and takes nearly b off the margin.
A bevelled outer edge of the tyre takes its width off as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from decimal import Context, Decimal, localcontext
from enum import StrEnum
from functools import lru_cache
from operator import itemgetter

from standards.conformity import CONFORMANCE, Outcome, Rule
from standards.curves import ImpossibleGeometry
from standards.metrology import Measured, student_cdf
from standards.quantities import name_of
from standards.sheets import Limit
from standards.turnouts import frog_angle
from standards.units import plain, spell

WHEEL, TRACK = "wheel", "track"

_NON_CONFORMANCE = 0.05
# Digits enough for any lengths that `_checked` lets through; sums never round.
_EXACT = Context(prec=500)
_LARGEST_EXPONENT = 9
_FINEST_EXPONENT = -100
_LARGEST_DOUBT = 1e9
_SECANT_PLACES = Decimal("1e-12")
# At one half the two routes cross at a right angle and no tread bridges the gap.
_SQUARE_FROG = 0.5


def _checked(part: object) -> None:
    """Refuse what cannot be a length. Raises ImpossibleGeometry naming the dimension."""
    for each in fields(part):  # type: ignore[arg-type]
        measured = getattr(part, each.name)
        if not isinstance(measured, Measured):
            continue
        value, name = measured.value, name_of(each.name)
        if measured.u > _LARGEST_DOUBT:
            raise ImpossibleGeometry(
                f"{name}: an uncertainty of {measured.u:g} mm says nothing; see what it was "
                "measured with."
            )
        if value < 0:
            raise ImpossibleGeometry(
                f"{name}: {plain(value)} mm is below zero and cannot be; measure it again."
            )
        exponent = value.as_tuple().exponent
        if value.adjusted() > _LARGEST_EXPONENT or (
            isinstance(exponent, int) and exponent < _FINEST_EXPONENT
        ):
            raise ImpossibleGeometry(
                f"{name}: {value} mm is too large or too fine to be measured; type it again."
            )


@dataclass(frozen=True)
class Wheels:
    """One wheelset as measured, in mm; None where it was not.

    Raises ImpossibleGeometry for a dimension below zero or absurdly large.
    """

    back_to_back: Measured | None = None
    flange_thickness: Measured | None = None
    flange_depth: Measured | None = None
    tyre_width: Measured | None = None

    def __post_init__(self) -> None:
        _checked(self)


@dataclass(frozen=True)
class Way:
    """One piece of track as measured, in mm; None where it was not.

    flangeway: at the frog, between point and wing rail; flangeway_guard: at the guard rail;
    fastening_height: of spike heads or chairs above what the rail stands on; frog_number: by the
    centre-line method, None where there is no frog or its number is not known.

    Raises ImpossibleGeometry for a dimension below zero or absurdly large, and for a frog number
    that is none or whose rails would cross at a right angle or more.
    """

    track_gauge: Measured | None = None
    check_gauge: Measured | None = None
    span: Measured | None = None
    flangeway: Measured | None = None
    flangeway_guard: Measured | None = None
    flangeway_depth: Measured | None = None
    rail_height: Measured | None = None
    fastening_height: Measured | None = None
    frog_number: float | None = None

    def __post_init__(self) -> None:
        _checked(self)
        if self.frog_number is not None:
            _support_forms(self.frog_number)

    @property
    def has_frog(self) -> bool:
        """Whether a frog number is known."""
        return self.frog_number is not None

    @property
    def is_crossing(self) -> bool:
        """Whether wheels pass a frog point here.

        A check gauge or a span can only be measured where there is a point with its guard rail,
        so either tells of one whose number is not known. A flangeway alone does not: a level
        crossing has one, and a check rail in a curve.
        """
        return self.has_frog or self.check_gauge is not None or self.span is not None


class Relation(StrEnum):
    """What has to hold between wheelset and track."""

    PLAY = "play"
    POINT = "frog-point protection"
    SPAN = "span"
    DEPTH = "flangeway depth"
    SUPPORT = "tread support"
    DROP_IN = "no drop-in"
    FASTENINGS = "fastenings"


@dataclass(frozen=True)
class Term:
    """One measured dimension in a sum: it adds `factor` times its value.

    owner: "wheel" or "track". The factor is exact but for tread support, where that of the
    flangeway holds the cosine of the frog angle to twelve decimals.
    """

    code: str
    owner: str
    factor: Decimal
    measured: Measured


@dataclass(frozen=True)
class Margin:
    """How much room there is in one relation; nothing or more is good.

    margin: in mm, with its standard uncertainty; None where a dimension is missing.
    probability: that the true margin is not below zero; None where there is no margin.
    terms: the measured dimensions whose sum the margin is, each once.
    missing: what was neither measured nor follows, as "wheel.back_to_back" or "track.span".
    note: in words, what followed from what, what is missing, and what comes of too little.
    formula: in the letters of the sheets.
    """

    relation: Relation
    margin: Measured | None
    probability: float | None
    outcome: Outcome
    terms: tuple[Term, ...]
    missing: tuple[str, ...]
    note: str
    formula: str


# --- The formulas: the one place that holds them ------------------------------------------------

_Factors = Mapping[str, Decimal]


@dataclass(frozen=True)
class _Form:
    """One sum: factors of the wheelset's and of the track's dimensions."""

    formula: str
    wheel: _Factors
    track: _Factors
    note: str = ""


def _of(**factors: int | Decimal) -> _Factors:
    return {code: Decimal(factor) for code, factor in factors.items()}


_FORMS: Mapping[Relation, tuple[_Form, ...]] = {
    Relation.PLAY: (
        _Form("G − (B + 2T)", _of(back_to_back=-1, flange_thickness=-2), _of(track_gauge=1)),
    ),
    Relation.POINT: (
        _Form("C − (B + T)", _of(back_to_back=-1, flange_thickness=-1), _of(check_gauge=1)),
    ),
    Relation.SPAN: (_Form("B − S", _of(back_to_back=1), _of(span=-1)),),
    Relation.DEPTH: (_Form("H − D", _of(flange_depth=-1), _of(flangeway_depth=1)),),
    Relation.DROP_IN: (
        _Form(
            "B + N + T − G",
            _of(back_to_back=1, tyre_width=1, flange_thickness=1),
            _of(track_gauge=-1),
        ),
    ),
    Relation.FASTENINGS: (
        _Form(
            "rail height − fastening height − D",
            _of(flange_depth=-1),
            _of(rail_height=1, fastening_height=-1),
        ),
    ),
}


@lru_cache(maxsize=256)
def _support_forms(frog_number: float) -> tuple[_Form, ...]:
    """Tread support with all of the play, at the wing rail, and hard against the running rail.

    Which one counts follows from p = max(0, min(play, F - T)): see `_together`. Raises
    ImpossibleGeometry for a frog number that is none or crosses at a right angle or more.
    """
    angle = frog_angle(frog_number)
    if frog_number <= _SQUARE_FROG:
        raise ImpossibleGeometry(
            f"A frog number of {frog_number:g} would cross at a right angle or more; type 4, 6, 8 "
            "or so."
        )
    secant = Decimal(1 / math.cos(angle)).quantize(_SECANT_PLACES, context=_EXACT)
    return (
        _Form(
            "N + B + T − G − F / cos θ",
            _of(tyre_width=1, back_to_back=1, flange_thickness=1),
            _of(track_gauge=-1, flangeway=-secant),
            "Worst where all of the play is on the side of the frog.",
        ),
        _Form(
            "N − F − F / cos θ",
            _of(tyre_width=1),
            _of(flangeway=-1 - secant),
            "Worst where the back of the wheel touches the wing rail.",
        ),
        _Form(
            "N − T − F / cos θ",
            _of(tyre_width=1, flange_thickness=-1),
            _of(flangeway=-secant),
            "No room sideways: the flange stands against the running rail.",
        ),
    )


# The smallest number of a real frog serves for the factors of the wheelset, which no angle enters.
_WHEEL_FORMS: Mapping[Relation, tuple[_Form, ...]] = {
    relation: _FORMS.get(relation) or _support_forms(4.0) for relation in Relation
}

# What a track dimension follows from where it was not measured, by C = G - Fg and S = C - F. The
# first whose dimensions are all measured is taken.
_FOLLOWS: Mapping[str, tuple[_Factors, ...]] = {
    "check_gauge": (_of(track_gauge=1, flangeway_guard=-1), _of(span=1, flangeway=1)),
    "span": (
        _of(check_gauge=1, flangeway=-1),
        _of(track_gauge=1, flangeway_guard=-1, flangeway=-1),
    ),
    "flangeway": (
        _of(check_gauge=1, span=-1),
        _of(track_gauge=1, flangeway_guard=-1, span=-1),
    ),
    "track_gauge": (
        _of(check_gauge=1, flangeway_guard=1),
        _of(span=1, flangeway=1, flangeway_guard=1),
    ),
}

#: What comes of too little of each. The first three and tread support are from the supplement of
#: 2009 to NEM 110, 310 and 311, drop-in too; the others are common practice, no source.
_TOO_LITTLE: Mapping[Relation, str] = {
    Relation.PLAY: "the wheelset is wider over the flanges than the gauge, binds, and rides up",
    Relation.POINT: "the flange meets the frog point and can climb it",
    Relation.SPAN: "the wheelset jams between guard rail and wing rail and can lift",
    Relation.DEPTH: "the flange runs on the floor of the flangeway and lifts the wheel",
    Relation.SUPPORT: "the wheel drops into the gap of the frog",
    Relation.DROP_IN: "a wheelset pushed to one side falls between the rails",
    Relation.FASTENINGS: "the flange strikes spike heads or chairs",
}

_ORDER = {relation: rank for rank, relation in enumerate(Relation)}


# --- Either side on its own ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Sum:
    """Part of a sum: its value, variance, and the sum of (factor u)^4 / dof.

    Kept for the wheelset and for the track apart, and added where the two meet; the last is what
    Welch-Satterthwaite divides by (GUM G.4.1).
    """

    value: Decimal
    variance: float
    fourth: float

    @classmethod
    def of(cls, terms: Iterable[Term]) -> _Sum:
        value, variance, fourth = Decimal(0), 0.0, 0.0
        for term in terms:
            value = _EXACT.fma(term.factor, term.measured.value, value)
            share = (float(term.factor) * term.measured.u) ** 2
            variance += share
            if share and not math.isinf(term.measured.dof):
                fourth += share * share / term.measured.dof
        return cls(value, variance, fourth)

    def measured(self) -> Measured:
        return Measured(self.value, math.sqrt(self.variance), self.dof, ())

    @property
    def standard(self) -> float:
        """The value over its standard uncertainty; without end where that is none."""
        if self.variance == 0:
            return math.inf if self.value >= 0 else -math.inf
        return float(self.value) / math.sqrt(self.variance)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, by Welch-Satterthwaite."""
        # In this order, so that no power of a tiny uncertainty becomes a zero to divide.
        return self.variance * (self.variance / self.fourth) if self.fourth else math.inf


@dataclass(frozen=True, slots=True)
class _Side:
    """One side of one relation: what is missing or, form by form, its terms and their sum."""

    relation: Relation
    missing: tuple[str, ...] = ()
    terms: tuple[tuple[Term, ...], ...] = ()
    sums: tuple[_Sum, ...] = ()
    notes: tuple[str, ...] = ()


def _of_wheels(wheels: Wheels, relation: Relation) -> _Side:
    forms = _WHEEL_FORMS[relation]
    codes = dict.fromkeys(code for form in forms for code in form.wheel)
    measured = {code: getattr(wheels, code) for code in codes}
    missing = tuple(f"{WHEEL}.{code}" for code in codes if measured[code] is None)
    if missing:
        return _Side(relation, missing)
    terms = tuple(
        tuple(Term(code, WHEEL, factor, measured[code]) for code, factor in form.wheel.items())
        for form in forms
    )
    return _Side(relation, terms=terms, sums=tuple(_Sum.of(each) for each in terms))


def _of_way(way: Way) -> tuple[_Side, ...]:
    """The track's side of every relation that applies to it."""
    measured: dict[str, Measured] = {
        each.name: getattr(way, each.name)
        for each in fields(way)
        if isinstance(getattr(way, each.name), Measured)
    }
    return tuple(
        _of_track(relation, way, measured) for relation in Relation if _has(way, relation)
    )


def _has(way: Way, relation: Relation) -> bool:
    """Whether a relation applies to this piece of track at all."""
    if relation in (Relation.POINT, Relation.SPAN, Relation.SUPPORT):
        return way.is_crossing
    if relation is Relation.DEPTH:
        return way.is_crossing or way.flangeway_depth is not None
    return True


def _of_track(relation: Relation, way: Way, measured: Mapping[str, Measured]) -> _Side:
    if relation is Relation.SUPPORT:
        forms = _support_forms(way.frog_number or 4.0)
    else:
        forms = _FORMS[relation]
    found: dict[str, _Factors] = {}
    missing, notes = [], []
    for code in dict.fromkeys(code for form in forms for code in form.track):
        source = _source_of(code, measured)
        if source is None:
            missing.append(f"{TRACK}.{code}")
            notes += _could_follow(code, measured)
            continue
        found[code] = source
        if code not in measured:
            notes.append(_followed(code, source, measured))
    if relation is Relation.SUPPORT and not way.has_frog:
        missing.append(f"{TRACK}.frog_number")
    if missing:
        return _Side(relation, tuple(missing), notes=tuple(notes))
    terms = tuple(_track_terms(form, found, measured) for form in forms)
    return _Side(
        relation, terms=terms, sums=tuple(_Sum.of(each) for each in terms), notes=tuple(notes)
    )


def _source_of(code: str, measured: Mapping[str, Measured]) -> _Factors | None:
    """What a track dimension is the sum of: itself, or what it follows from; None if nothing."""
    if code in measured:
        return _of(**{code: 1})
    for source in _FOLLOWS.get(code, ()):
        if all(each in measured for each in source):
            return source
    return None


def _track_terms(
    form: _Form, found: Mapping[str, _Factors], measured: Mapping[str, Measured]
) -> tuple[Term, ...]:
    """The form in measured dimensions, each once: shares of the same one are added up."""
    factors: dict[str, Decimal] = {}
    for code, factor in form.track.items():
        for base, share in found[code].items():
            product = _EXACT.multiply(factor, share)
            factors[base] = _EXACT.add(factors.get(base, Decimal(0)), product)
    return tuple(
        Term(code, TRACK, factor, measured[code]) for code, factor in factors.items() if factor
    )


# --- Words --------------------------------------------------------------------------------------


def _name(code: str) -> str:
    return name_of(code).lower()


def _mm(value: Decimal) -> str:
    with localcontext(_EXACT):
        return spell(value, "mm", 3)


def _sum_in_words(source: _Factors, measured: Mapping[str, Measured]) -> str:
    """ "check gauge 15.250 mm less flangeway at the frog 1.200 mm"."""
    words = ""
    for code, factor in source.items():
        joined = "" if not words else " plus " if factor > 0 else " less "
        words += f"{joined}{_name(code)} {_mm(measured[code].value)}"
    return words


def _followed(code: str, source: _Factors, measured: Mapping[str, Measured]) -> str:
    total = _Sum.of(Term(each, TRACK, factor, measured[each]) for each, factor in source.items())
    return (
        f"{name_of(code)} was not measured: {_sum_in_words(source, measured)} "
        f"gives {_mm(total.value)}."
    )


def _could_follow(code: str, measured: Mapping[str, Measured]) -> list[str]:
    """The one other dimension, if there is such, that would do as well as the missing one."""
    wanted = (
        [each for each in source if each not in measured] for source in _FOLLOWS.get(code, ())
    )
    other = dict.fromkeys(lacking[0] for lacking in wanted if len(lacking) == 1)
    if not other:
        return []
    ways = " or ".join(f"the {_name(each)}" for each in other)
    return [f"In place of the {_name(code)}, {ways} would do."]


def _missing_in_words(missing: Sequence[str]) -> str:
    names = [_name(each.partition(".")[2]) for each in missing]
    listed = ", ".join(names[:-1]) + (" and " if names[1:] else "") + names[-1]
    return f"Not measured: {listed}."


def _verdict_in_words(relation: Relation, margin: Measured, outcome: Outcome) -> str:
    if margin.value < 0:
        short = f"Short by {_mm(-margin.value)}: {_TOO_LITTLE[relation]}."
        if outcome is Outcome.UNDECIDED:
            return f"{short} The measurements leave ±{margin.expanded:.3f} mm open."
        return short
    if outcome is Outcome.UNDECIDED:
        return (
            f"Too close to nothing to tell: the measurements leave ±{margin.expanded:.3f} mm "
            f"open. With too little, {_TOO_LITTLE[relation]}."
        )
    return ""


# --- The two sides together ---------------------------------------------------------------------


def _together(wheel: _Side, track: _Side) -> tuple[int, _Sum]:
    """Which form counts, counted from 0, and its whole sum.

    Of three, those of tread support, the margin is min(third, max(first, second)): tread is lost
    as the wheelset moves away from the point, by max(0, min(play, F - T)).
    """
    counting = 0
    if len(wheel.sums) == 1:
        value = _EXACT.add(wheel.sums[0].value, track.sums[0].value)
    else:
        by_play, by_wing, by_rail = (
            _EXACT.add(mine.value, its.value)
            for mine, its in zip(wheel.sums, track.sums, strict=True)
        )
        counting, value = (0, by_play) if by_play >= by_wing else (1, by_wing)
        if by_rail < value:
            counting, value = 2, by_rail
    mine, its = wheel.sums[counting], track.sums[counting]
    return counting, _Sum(value, mine.variance + its.variance, mine.fourth + its.fourth)


def _probability(total: _Sum) -> float:
    """That the true margin is not below zero: JCGM 106 clause 7 with one limit, zero."""
    return student_cdf(total.standard, total.dof)


def _outcome(value: Decimal, probability: float, rule: Rule) -> Outcome:
    """As `conformity.judge` would say of a value with a lower limit of zero."""
    if rule is Rule.SIMPLE:
        return Outcome.WITHIN if value >= 0 else Outcome.OUTSIDE
    if probability >= CONFORMANCE:
        return Outcome.WITHIN
    return Outcome.OUTSIDE if probability <= _NON_CONFORMANCE else Outcome.UNDECIDED


def _margin(wheel: _Side, track: _Side, rule: Rule) -> Margin:
    relation, forms = track.relation, _WHEEL_FORMS[track.relation]
    missing = wheel.missing + track.missing
    if missing:
        note = " ".join((_missing_in_words(missing), *track.notes))
        formula = forms[0].formula
        return Margin(relation, None, None, Outcome.NOT_JUDGED, (), missing, note, formula)
    counting, total = _together(wheel, track)
    form, measured = forms[counting], total.measured()
    probability = _probability(total)
    outcome = _outcome(total.value, probability, rule)
    words = (*track.notes, form.note, _verdict_in_words(relation, measured, outcome))
    return Margin(
        relation,
        measured,
        probability,
        outcome,
        wheel.terms[counting] + track.terms[counting],
        (),
        " ".join(each for each in words if each),
        form.formula,
    )


def margins(wheels: Wheels, way: Way, rule: Rule = Rule.NINETY_FIVE) -> tuple[Margin, ...]:
    """Every margin of one wheelset on one piece of track, the likeliest to fail first.

    Equally likely ones follow by the margin itself; those that lack a dimension stand at the end,
    not judged and naming it. Relations that do not apply are left out: those of a frog where there
    is none (`Way.is_crossing`), and the depth of a flangeway that is neither at a frog nor
    measured.

    Under the 95 % rule a margin is within when it is not below zero with a probability of 95 %,
    and outside when that is at most 5 %; under simple acceptance its value decides. The
    probability of tread support is that of the lateral position that the measured values make the
    worst, which is never more than the true one while there is play.
    """
    found = [_margin(_of_wheels(wheels, side.relation), side, rule) for side in _of_way(way)]
    return tuple(sorted(found, key=_rank))


def _rank(margin: Margin) -> tuple[int, float, Decimal, int]:
    order = _ORDER[margin.relation]
    if margin.margin is None or margin.probability is None:
        return 1, 0.0, Decimal(0), order
    return 0, margin.probability, margin.margin.value, order


def worst(found: Iterable[Margin]) -> Margin | None:
    """The margin likeliest to fail; None where none could be computed.

    What is missing is no pass: look at `Margin.missing` of the others as well.
    """
    judged = [each for each in found if each.margin is not None]
    return min(judged, key=_rank) if judged else None


# --- Many vehicles over many pieces of track ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cell:
    """The worst of one vehicle on one piece of track.

    relation: the one likeliest to fail, on the wheelset counted from 0; margin in mm; probability
    that it is not below zero; judged: what that says. All None, and not judged, where no margin
    could be computed. lacking: relations that some wheelset could not be judged on for want of a
    dimension.
    """

    relation: Relation | None
    wheelset: int | None
    margin: Decimal | None
    probability: float | None
    judged: Outcome
    lacking: tuple[Relation, ...]

    @property
    def outcome(self) -> Outcome:
        """As judged, but never within while something is lacking."""
        if self.judged is Outcome.WITHIN and self.lacking:
            return Outcome.NOT_JUDGED
        return self.judged


def grid(
    vehicles: Sequence[Sequence[Wheels]], ways: Sequence[Way], rule: Rule = Rule.NINETY_FIVE
) -> tuple[tuple[Cell, ...], ...]:
    """The worst of every vehicle, given as its wheelsets, on every piece of track.

    One row a vehicle, one cell a piece of track, each as `worst` of `margins` over all wheelsets
    would find it, from the same sums; but either side is summed once and not for every pair, and
    nothing is put in words. The first wheelset counts among equals.
    """
    tracks = [_of_way(way) for way in ways]
    rows = []
    for vehicle in vehicles:
        sides = [
            {relation: _of_wheels(wheels, relation) for relation in Relation} for wheels in vehicle
        ]
        rows.append(tuple(_cell(sides, track, rule) for track in tracks))
    return tuple(rows)


def _cell(sides: Sequence[Mapping[Relation, _Side]], track: Sequence[_Side], rule: Rule) -> Cell:
    totals = []
    lacking = []
    for side in track:
        relation = side.relation
        for at, wheel in enumerate(sides):
            mine = wheel[relation]
            if mine.missing or side.missing:
                if relation not in lacking:
                    lacking.append(relation)
                continue
            _, total = _together(mine, side)
            totals.append((total.standard, total, at, relation))
    if not totals:
        return Cell(None, None, None, None, Outcome.NOT_JUDGED, tuple(lacking))
    probability, value, at, relation = _least(sorted(totals, key=itemgetter(0)))
    judged = _outcome(value, probability, rule)
    return Cell(relation, at, value, probability, judged, tuple(lacking))


def _least(
    totals: Iterable[tuple[float, _Sum, int, Relation]],
) -> tuple[float, Decimal, int, Relation]:
    """The one least likely not to be below zero, of sums that come with rising value over u.

    Student's distribution is most of the work, so it is not asked where the answer is plain: above
    zero, a sum that is farther out than another, with no fewer degrees of freedom, is likelier.
    """
    least: tuple[float, Decimal, int, int, Relation] | None = None
    farthest, fewest = math.inf, math.inf
    for standard, total, at, relation in totals:
        dof = total.dof
        if standard > farthest and dof >= fewest:
            continue
        probability = _probability(total)
        found = probability, total.value, at, _ORDER[relation], relation
        if least is None or found < least:
            least = found
        # Where probabilities no longer tell sums apart their values have to.
        if probability < 1:
            if standard <= 0:
                farthest, fewest = 0.0, 0.0
            elif dof < fewest or math.isinf(farthest):
                farthest, fewest = standard, dof
    assert least is not None
    probability, value, at, _, relation = least
    return probability, value, at, relation


# --- What does not agree with itself ------------------------------------------------------------


@dataclass(frozen=True)
class Contradiction:
    """A track dimension that was measured and also follows, where the two are too far apart.

    difference: measured less what follows, in mm, with its uncertainty; codes: of everything that
    went into it, the dimension first; note: the same in words, which is also its text.
    """

    code: str
    measured: Decimal
    follows: Decimal
    difference: Measured
    codes: tuple[str, ...]
    note: str

    def __str__(self) -> str:
        return self.note


#: C = G - Fg, S = C - F, and both at once, which says something new only without C.
_IDENTITIES = (
    ("check_gauge", _FOLLOWS["check_gauge"][0]),
    ("span", _FOLLOWS["span"][0]),
    ("span", _FOLLOWS["span"][1]),
)


def contradictions(way: Way) -> tuple[Contradiction, ...]:
    """Where the measured dimensions of one piece of track cannot all be right.

    C = G - Fg and S = C - F (or, without C, S = G - Fg - F) are held against each other. They
    contradict when they differ by more than the expanded uncertainty of that difference at 95 %;
    dimensions without any uncertainty do so by any difference at all.
    """
    found = []
    for code, source in _IDENTITIES:
        if "track_gauge" in source and code == "span" and way.check_gauge is not None:
            continue
        measured = {each: getattr(way, each) for each in (code, *source)}
        if None in measured.values():
            continue
        factors = {code: Decimal(1), **{each: -factor for each, factor in source.items()}}
        difference = _Sum.of(
            Term(each, TRACK, factor, measured[each]) for each, factor in factors.items()
        ).measured()
        apart = abs(difference.value)
        if float(apart) <= difference.expanded:
            continue
        value = measured[code].value
        follows = _EXACT.subtract(value, difference.value)
        again = f"{', '.join(_name(each) for each in source)} and {_name(code)}"
        note = (
            f"{name_of(code)} was measured as {_mm(value)}, but {_sum_in_words(source, measured)} "
            f"gives {_mm(follows)}: {_mm(apart)} apart, where the measurements leave "
            f"{difference.expanded:.3f} mm open. Measure {again} again."
        )
        found.append(Contradiction(code, value, follows, difference, tuple(factors), note))
    return tuple(found)


# --- What the sheets themselves print -----------------------------------------------------------


@dataclass(frozen=True)
class Agreement:
    """One rule between the limits of a wheel sheet and of a track sheet.

    rule: in the letters of the sheets; holds: None where a limit is not held. margin: exact mm by
    which it holds, below zero where it fails. not_held: the limits that would be needed, as
    "track.check_gauge min". note: what was put in place of what.
    """

    relation: Relation
    rule: str
    holds: bool | None
    margin: Decimal | None
    not_held: tuple[str, ...] = ()
    note: str = ""


def sheets_agree(
    wheel_limits: Mapping[str, Limit],
    track_limits: Mapping[str, Limit],
    frog_number: float | None = None,
) -> tuple[Agreement, ...]:
    """Which rules hold between the printed limits of a wheel sheet and of a track sheet.

    K max <= C min, B min >= S max, G min > B + 2T, D max <= H min and B + N + T > G max, from the
    supplement of 2009 to NEM 110, 310 and 311; with a frog number also that the least tread
    bridges the widest flangeway however the wheelset stands, N min >= F max (1 + 1 / cos th).

    Greatest size over the flanges: the smallest of what is printed for it, K max + T max and
    B max + 2 T max, for B and T may not both be greatest where K is limited. Least reach over
    flange and tyre: the greater of K min and B min + T min, with N min. Where no least flange is
    held, B min alone is that bound, which can prove the rule but not its failure. A gauge printed
    as nominal and maximum has the nominal for its minimum.

    Margins are in mm, exact but for the frog. Raises ImpossibleGeometry for a frog number that is
    none.
    """
    with localcontext(_EXACT):
        found = [
            _least_room(
                Relation.POINT,
                "K max ≤ C min",
                _limit(track_limits, TRACK, "check_gauge", "min"),
                _limit(wheel_limits, WHEEL, "wheel_check", "max"),
            ),
            _least_room(
                Relation.SPAN,
                "B min ≥ S max",
                _limit(wheel_limits, WHEEL, "back_to_back", "min"),
                _limit(track_limits, TRACK, "span", "max"),
            ),
            _over_flanges(wheel_limits, track_limits),
            _least_room(
                Relation.DEPTH,
                "D max ≤ H min",
                _limit(track_limits, TRACK, "flangeway_depth", "min"),
                _limit(wheel_limits, WHEEL, "flange_depth", "max"),
            ),
            _reach(wheel_limits, track_limits),
        ]
        if frog_number is not None:
            found.append(_bridge(wheel_limits, track_limits, frog_number))
    return tuple(found)


@dataclass(frozen=True)
class _Figure:
    """One limit looked for on a sheet: what it is called, and what it is or None."""

    name: str
    mm: Decimal | None
    note: str = ""


def _limit(limits: Mapping[str, Limit], owner: str, code: str, end: str) -> _Figure:
    name = f"{owner}.{code} {end}"
    limit = limits.get(code)
    if limit is None:
        return _Figure(name, None)
    found = limit.low if end == "min" else limit.high
    if found is None and (code, end) == ("track_gauge", "min") and limit.nominal is not None:
        return _Figure(name, limit.nominal, "The nominal gauge stands for the least.")
    return _Figure(name, found)


def _not_held(relation: Relation, rule: str, *figures: _Figure) -> Agreement:
    """Undecided for want of those of the figures that are not held."""
    names = tuple(each.name for each in figures if each.mm is None)
    return Agreement(relation, rule, None, None, names)


def _least_room(relation: Relation, rule: str, room: _Figure, taken: _Figure) -> Agreement:
    if room.mm is None or taken.mm is None:
        return _not_held(relation, rule, room, taken)
    margin = room.mm - taken.mm
    return Agreement(relation, rule, margin >= 0, margin)


def _over_flanges(wheel: Mapping[str, Limit], track: Mapping[str, Limit]) -> Agreement:
    rule = "G min > B + 2T"
    gauge = _limit(track, TRACK, "track_gauge", "min")
    printed = _limit(wheel, WHEEL, "over_flanges", "max").mm
    flange = _limit(wheel, WHEEL, "flange_thickness", "max")
    check = _limit(wheel, WHEEL, "wheel_check", "max")
    back = _limit(wheel, WHEEL, "back_to_back", "max")
    sizes = []
    if printed is not None:
        sizes.append((printed, "Over the flanges as printed."))
    if flange.mm is not None and check.mm is not None:
        sizes.append((check.mm + flange.mm, "Over the flanges is K max + T max."))
    if flange.mm is not None and back.mm is not None:
        sizes.append((back.mm + 2 * flange.mm, "Over the flanges is B max + 2 T max."))
    if gauge.mm is None or not sizes:
        return _not_held(Relation.PLAY, rule, gauge, *([] if sizes else [flange, check]))
    size, note = min(sizes)
    margin = gauge.mm - size
    words = " ".join(each for each in (note, gauge.note) if each)
    return Agreement(Relation.PLAY, rule, margin > 0, margin, note=words)


def _reach(wheel: Mapping[str, Limit], track: Mapping[str, Limit]) -> Agreement:
    rule = "B + N + T > G max"
    gauge = _limit(track, TRACK, "track_gauge", "max")
    tyre = _limit(wheel, WHEEL, "tyre_width", "min")
    back = _limit(wheel, WHEEL, "back_to_back", "min")
    flange = _limit(wheel, WHEEL, "flange_thickness", "min")
    check = _limit(wheel, WHEEL, "wheel_check", "min")
    reaches = []
    if check.mm is not None:
        reaches.append((check.mm, "B + T is K min."))
    if back.mm is not None and flange.mm is not None:
        reaches.append((back.mm + flange.mm, "B + T is B min + T min."))
    is_sure = bool(reaches)
    if not reaches and back.mm is not None:
        reaches.append((back.mm, "However thin the flange, for its least thickness is not held."))
    if gauge.mm is None or tyre.mm is None or not reaches:
        return _not_held(Relation.DROP_IN, rule, gauge, tyre, *([] if reaches else [back, flange]))
    reach, note = max(reaches)
    margin = reach + tyre.mm - gauge.mm
    if margin <= 0 and not is_sure:
        return Agreement(Relation.DROP_IN, rule, None, None, (flange.name,))
    return Agreement(Relation.DROP_IN, rule, margin > 0, margin, note=note)


def _bridge(
    wheel: Mapping[str, Limit], track: Mapping[str, Limit], frog_number: float
) -> Agreement:
    rule = "N min ≥ F max (1 + 1 / cos θ)"
    tyre = _limit(wheel, WHEEL, "tyre_width", "min")
    gap = _limit(track, TRACK, "flangeway", "max")
    # The form for a wheel whose back touches the wing rail.
    factor = _support_forms(frog_number)[1].track["flangeway"]
    taken = _Figure(gap.name, None if gap.mm is None else -factor * gap.mm)
    return _least_room(Relation.SUPPORT, rule, tyre, taken)


def flangeway_for_radius(
    radius_mm: Decimal, gauge_mm: Decimal, f_min: Decimal, f_max: Decimal
) -> Decimal | None:
    """Flangeway for a curve, in mm, between the limits of the sheet; all arguments in mm.

    NEM 110 (2009): where radius over gauge is above 55, F min; above 42, the mean of F min and
    F max; above 30, F max; else None, to be settled case by case where vehicles of long fixed
    wheelbase run. "Above" is taken at its word and compared exactly: a radius of just 55 gauges
    has the mean, of just 42 F max, and of just 30 none. An infinite radius is straight track.

    Raises ImpossibleGeometry for a radius or gauge not above zero, a flangeway below zero, limits
    the wrong way round, or anything that is no number.
    """
    given = {"radius": radius_mm, "gauge": gauge_mm, "least flangeway": f_min}
    given["greatest flangeway"] = f_max
    for name, value in given.items():
        is_length = value.is_finite() or (name == "radius" and value.is_infinite())
        if not is_length or value < 0 or (value == 0 and "flangeway" not in name):
            raise ImpossibleGeometry(f"A {name} of {value} mm cannot be; type it in millimetres.")
    if f_min > f_max:
        raise ImpossibleGeometry(
            f"The least flangeway of {plain(f_min)} mm is above the greatest of {plain(f_max)} "
            "mm; exchange the two."
        )
    with localcontext(_EXACT):
        if radius_mm > 55 * gauge_mm:
            return f_min
        if radius_mm > 42 * gauge_mm:
            return (f_min + f_max) / 2
        return f_max if radius_mm > 30 * gauge_mm else None
