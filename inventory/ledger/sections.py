"""The whole record, table by table: which columns each has and of what kind.

This is the one place that says what belongs to the record. The document in JSON, the zip of CSV
files, the workbook, the JSON Schema, the page that describes them and the way in all follow it. A
test holds every model and field against it: what no section holds must stand in LEFT_OUT, with
the reason.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from django.db import models
from django.db.models import Q
from PIL import Image

from inventory.ledger.kinds import (
    Day,
    Exact,
    Float,
    Kind,
    Moment,
    Own,
    Pairs,
    Photo,
    Ref,
    Refs,
    Repeats,
    Said,
    Sources,
    Text,
    Uid,
    Unfit,
    Whole,
    Word,
    YesNo,
    quoted,
)
from inventory.people.models import Person
from inventory.stock import models as stock
from inventory.stock.photos import Cleaned, thumbnail
from inventory.track import models as track
from inventory.trackwork import models as trackwork
from inventory.trouble import models as trouble
from standards import sheets
from standards.conformity import Rule
from standards.judging import GaugeResult, Service

#: The version of the document's shape. A new column or section that may be left out keeps it; any
#: other change counts it up, and then the way in still takes the older ones.
FORMAT = 1
HEAD = "carknocker"


@dataclass(frozen=True)
class Column:
    """One column. field: of the model, where it is called otherwise. to: the section referred to.

    means: what it is, where the model's own words do not say it.
    """

    name: str
    kind: Kind
    means: str = ""
    field: str = ""
    to: str = ""

    @property
    def source(self) -> str:
        return self.field or self.name


@dataclass(frozen=True)
class Section:
    """One table of the record.

    key: the columns that tell a row from every other in any record, `named` the one by which other
    sections refer to it; without it rows have a number within the document. part_of: the column
    that names the whole of which rows are a part: they come and go with it. agrees: raises Unfit
    where the columns of a row contradict each other. stays: whether a row that is there already is
    left as it is, whatever the document says of it. fill: sets what follows from the columns.
    may_be_missing: for sections that came later, so that a document without them is still whole.
    """

    name: str
    model: type[models.Model]
    means: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    named: str = ""
    part_of: str = ""
    agrees: Callable[[Mapping[str, Said]], None] | None = None
    stays: bool = False
    fill: Callable[[models.Model], None] | None = None
    may_be_missing: bool = False

    @cached_property
    def by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.columns}

    @cached_property
    def by_field(self) -> dict[str, Column]:
        return {column.source: column for column in self.columns}

    @property
    def own(self) -> str:
        """The column by which other rows name a row of it."""
        return self.named or "id"

    @cached_property
    def kept(self) -> tuple[Column, ...]:
        """The columns that are columns of the table itself."""
        return tuple(each for each in self.columns if not isinstance(each.kind, Own | Refs))

    @cached_property
    def linked(self) -> tuple[Column, ...]:
        """The columns that hold several rows of another section."""
        return tuple(each for each in self.columns if isinstance(each.kind, Refs))

    @property
    def has_photos(self) -> bool:
        return any(isinstance(each.kind, Photo) for each in self.columns)

    def field_of(self, column: Column) -> models.Field:
        return self.model._meta.get_field(column.source)

    def is_optional(self, column: Column) -> bool:
        """Whether null may stand for it."""
        return not isinstance(column.kind, Own | Refs) and self.field_of(column).null

    def may_be_left_out(self, column: Column) -> bool:
        """Whether a document may say nothing of it: it is null or empty then."""
        if isinstance(column.kind, Own):
            return False
        field = self.field_of(column)
        return field.null or (isinstance(column.kind, Text | Word) and field.blank)

    def words_of(self, column: Column) -> tuple[str, ...] | None:
        """The words that may stand in it; None where any may."""
        if not isinstance(column.kind, Word):
            return None
        field = self.field_of(column)
        words = column.kind.words() if column.kind.words else [one for one, _ in field.flatchoices]
        return tuple(dict.fromkeys([*words, ""] if field.blank else words))

    def meaning_of(self, column: Column) -> str:
        """What it is, in words."""
        if column.means:
            return column.means
        if isinstance(column.kind, Own):
            return ""
        field = self.field_of(column)
        return str(field.help_text or f"{field.verbose_name}.".capitalize())

    @cached_property
    def uniques(self) -> tuple[tuple[str, tuple[str, ...], Q | None], ...]:
        """What may be there once only: in words, its columns, and of which rows it is true."""
        found = []
        for field in self.model._meta.concrete_fields:
            if field.unique and not field.primary_key and field.name in self.by_field:
                name = self.by_field[field.name].name
                found.append((f"one row a {name.replace('_', ' ')}", (name,), None))
        for each in self.model._meta.constraints:
            if isinstance(each, models.UniqueConstraint):
                columns = tuple(self.by_field[name].name for name in each.fields)
                found.append((each.name.replace("_", " "), columns, each.condition))
        return tuple(found)

    @cached_property
    def checks(self) -> tuple[tuple[str, Q], ...]:
        """What has to be true of every row: in words, and as the table says it."""
        return tuple(
            (each.name.replace("_", " "), each.condition)
            for each in self.model._meta.constraints
            if isinstance(each, models.CheckConstraint)
        )


# --- Words ------------------------------------------------------------------------------------


def _rules() -> list[str]:
    return [each.value for each in Rule]


def _states() -> list[str]:
    return [each.value for each in Service]


def _gauges() -> list[str]:
    return [each.value for each in GaugeResult]


def _changed() -> list[str]:
    fields = [field.name for field in stock.Vehicle._meta.concrete_fields]
    return [*stock.Change.Deed.values, *fields]


def _is_held(said: Mapping[str, Said]) -> None:
    """Raises Unfit where the family of standards does not hold the scale."""
    try:
        sheets.scale(said["family"], said["scale"])
    except sheets.UnknownStandard:
        raise Unfit(
            f"the standards of {quoted(said['family'])} hold no scale {quoted(said['scale'])}"
        ) from None


def _notes_words(vehicle: models.Model) -> None:
    vehicle.note_words()


def _follows_from_the_picture(photo: models.Model) -> None:
    with Image.open(io.BytesIO(photo.jpeg), formats=("JPEG",)) as opened:
        picture = opened.convert("RGB")
    kept = Cleaned(photo.jpeg, thumbnail(picture), *picture.size)
    photo.thumbnail, photo.digest = kept.thumbnail, kept.digest
    photo.width, photo.height = kept.width, kept.height


# --- Columns ----------------------------------------------------------------------------------


def _of(name: str, to: str, means: str = "") -> Column:
    return Column(name, Ref(to in _NAMED), means, to=to)


def _several(name: str, to: str, means: str) -> Column:
    return Column(name, Refs(to in _NAMED), means, to=to)


def _texts(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, Text()) for name in names)


_NAMED = ("people", "instruments", "vehicles", "railways")
_ID = Column("id", Own(), "By which other rows of the document name it.")
_REVISION = Column("revision", Whole(), "How often it was saved, from 1.")
_FAMILY = Column("family", Word(), "Its family of standards, by its code.")
_SCALE = Column("scale", Text(), "Its scale, as the family calls it.")
_QUANTITY = Column("quantity", Word(), "What was measured, by its code.")
_AT = Column("at", Text(), "Where: the axle, the end, the leg; empty for the whole.")

_INSPECTED = (
    _of("inspector", "people", "Who made it."),
    Column("rule", Word(_rules), "The decision rule by which it was judged."),
    Column("uses_gauge", YesNo(), "Whether by go/no-go gauge."),
    Column("started_at", Moment(), "When it was begun."),
    Column("finished_at", Moment(), "When it was finished; empty while it is open."),
    Column("statement", Text(), "What was stated at its end."),
)

_TAKEN = (
    _QUANTITY,
    _AT,
    Column("typed", Text(), "As it was typed; empty for the answer of a gauge."),
    Column("gauge", Word(), "What a go/no-go gauge said; empty for a measured value."),
    Column("unit", Text(), "The unit in which the text was read."),
    Column("values", Repeats(), "The repeats, in the base unit of the quantity: mm, g or %."),
    Column("value", Exact(), "The mean, in the base unit of the quantity."),
    Column("u", Float(), "Standard uncertainty (JCGM 100), in the same unit."),
    Column("dof", Float(), "Degrees of freedom of it; empty where there are endless."),
    _of("instrument", "instruments", "What it was taken with."),
    Column("max_error", Exact(), "The greatest error of the instrument then."),
    Column("resolution", Exact(), "The smallest step of the instrument then."),
    _of("taken_by", "people", "Who took it."),
    Column("taken_at", Moment(), "When it was taken."),
    Column("is_current", YesNo(), "No where a later reading replaced it."),
)

_JUDGED = (
    _QUANTITY,
    _AT,
    Column("outcome", Word(), "What was made of it."),
    Column("value", Exact(), "What was judged, in the base unit of the quantity."),
    Column("u", Float(), "Its standard uncertainty."),
    Column("expanded", Float(), "Its expanded uncertainty at 95 %."),
    Column("gauge", Word(_gauges), "What a go/no-go gauge said."),
    Column("probability", Float(), "How sure it is that the value lies inside the limits."),
    Column("is_undecidable", YesNo(), "Whether no reading of that instrument could decide."),
    Column("low", Exact(), "The lower limit."),
    Column("low_basis", Text(), "Where the lower limit comes from."),
    Column("high", Exact(), "The upper limit."),
    Column("high_basis", Text(), "Where the upper limit comes from."),
    Column("nominal", Exact(), "The figure that it should be."),
    Column("is_advisory", YesNo(), "Whether it only advises."),
    Column("is_derived", YesNo(), "Whether a limit was derived from others."),
    Column("is_second_hand", YesNo(), "Whether a figure is known at second hand."),
    Column("is_by_house", YesNo(), "Whether a house limit judged it."),
    Column("note", Text(), "What has to be said with it."),
    Column("sheets", Sources(), "The published tables by which it was judged."),
    Column("rule", Word(_rules), "The decision rule."),
    Column("cause", Word(lambda: ["recorded", "rejudged"]), "Why it was judged."),
    Column("judged_at", Moment(), "When it was judged."),
    Column("is_current", YesNo(), "No where a later verdict superseded it."),
)

_PICTURED = (
    Column("caption", Text(), "What is written below it."),
    Column("taken_on", Day(), "When it was taken."),
    Column("position", Whole(), "Its order among the others."),
    _of("added_by", "people", "Who added it."),
    Column("added_at", Moment(), "When it was added."),
    Column("jpeg", Photo(), "The picture."),
)

# --- Sections ---------------------------------------------------------------------------------

#: Every table of the record; each refers only to those before it.
SECTIONS: tuple[Section, ...] = (
    Section(
        "people",
        Person,
        "Who works with the record. Passwords and sign-ins are not in it.",
        (
            Column("name", Text(), "By which they sign in, and others refer to them.", "username"),
            *_texts("first_name", "last_name", "email"),
            Column("role", Word(), "What they may do."),
            Column("unit", Word(), "The units that they see first."),
            Column("rule", Word(), "The decision rule of the inspections that they begin."),
            Column("is_active", YesNo(), "Whether they may sign in."),
            Column("date_joined", Moment(), "Since when they are known."),
        ),
        key=("name",),
        named="name",
        stays=True,
    ),
    Section(
        "instruments",
        stock.Instrument,
        "What readings are taken with.",
        (
            Column("name", Text(), "By which others refer to it."),
            Column("kind", Word()),
            Column("max_error", Exact()),
            Column("resolution", Exact()),
            Column("inside_extra", Exact()),
            Column("note", Text(), "A word on it."),
            Column("is_retired", YesNo(), "Whether it is no longer used."),
        ),
        key=("name",),
        named="name",
        stays=True,
    ),
    Section(
        "house_limits",
        stock.HouseLimit,
        "Limits of the owner's or the club's own, with their reasons.",
        (
            _ID,
            _QUANTITY,
            _FAMILY,
            _SCALE,
            Column("is_about_sheet", YesNo()),
            Column("low", Exact(), "The lower limit, in the base unit of the quantity."),
            Column("high", Exact(), "The upper limit, in the base unit of the quantity."),
            Column("reason", Text(), "Why it was set."),
            _of("set_by", "people", "Who set it."),
            Column("set_at", Moment(), "Since when it is in force."),
            Column("withdrawn_at", Moment(), "Until when it was in force."),
        ),
        key=("quantity", "family", "scale", "set_at"),
        agrees=_is_held,
    ),
    Section(
        "vehicles",
        stock.Vehicle,
        "Locomotives, cars, wagons and coaches: the fleet, the retired, and visitors' own.",
        (
            Column("uid", Uid(), "Its lasting name, in every record and on its label."),
            *_texts("reporting_mark", "number", "name"),
            Column("category", Word(), "What it is."),
            *_texts("kind", "aar_designation", "uic_letter"),
            _FAMILY,
            _SCALE,
            Column("axles", Whole(), "How many axles it has."),
            Column("has_buffers", YesNo(), "Whether it has side buffers."),
            *_texts("maker", "catalogue_number", "era"),
            Column("acquired_on", Day(), "When it was acquired."),
            Column("price", Exact(), "What it cost, in its currency."),
            Column("value", Exact(), "What it is worth, in its currency."),
            Column("currency", Text()),
            Column("minimum_radius", Exact(), "The sharpest curve that it goes round, in mm."),
            *_texts("storage_box", "notes"),
            Column("service", Word(_states), "Whether it may run."),
            Column("visitor", Text(), "Whose it is, where it is not ours."),
            Column("held_because", Text(), "Why it is out of service; empty where it is not."),
            Column("retired_as", Word(), "How it left the stock; empty while it has not."),
            Column("retired_on", Day(), "When it left the stock."),
            Column("retired_price", Exact(), "For how much it left."),
            Column("retired_note", Text(), "A word on how it left."),
            _REVISION,
            Column("logged_at", Moment(), "When it was logged."),
            _of("logged_by", "people", "Who logged it."),
        ),
        key=("uid",),
        named="uid",
        agrees=_is_held,
        fill=_notes_words,
    ),
    Section(
        "wheelsets",
        stock.Wheelset,
        "Axles with their wheels as declared, those that were exchanged among them.",
        (
            _ID,
            _of("vehicle", "vehicles", "Under which it is or was."),
            Column("axle", Whole(), "Which axle, from 1."),
            Column("profile_code", Whole()),
            *_texts("material", "tread_diameter"),
            Column("fitted_at", Moment(), "When it was fitted; empty where it came so."),
            Column("removed_at", Moment(), "When it was taken out; empty while it is in."),
        ),
        key=("vehicle", "axle", "fitted_at"),
        part_of="vehicle",
    ),
    Section(
        "couplers",
        stock.Coupler,
        "The coupler at each end as declared.",
        (
            _ID,
            _of("vehicle", "vehicles", "On which it is."),
            Column("end", Word(), "At which end."),
            Column("kind", Word(), "What it is."),
            Column("mounting", Word(), "What carries it."),
        ),
        key=("vehicle", "end"),
        part_of="vehicle",
    ),
    Section(
        "vehicle_photos",
        stock.VehiclePhoto,
        "Photos of vehicles.",
        (_ID, _of("vehicle", "vehicles", "Of which vehicle."), *_PICTURED),
        key=("vehicle", "position"),
        part_of="vehicle",
        fill=_follows_from_the_picture,
    ),
    Section(
        "changes",
        stock.Change,
        "What was changed of a vehicle, by whom and from what.",
        (
            _ID,
            _of("vehicle", "vehicles", "What was changed."),
            Column("what", Word(_changed), "The column that was changed, or what was done."),
            Column("before", Text(), "What it was."),
            Column("after", Text(), "What it became."),
            Column("note", Text(), "Why."),
            _of("by", "people", "Who changed it."),
            Column("at", Moment(), "When."),
        ),
        key=("vehicle", "what", "at", "before", "after"),
    ),
    Section(
        "inspections",
        stock.Inspection,
        "Sets of readings of a vehicle, by one person for one reason.",
        (
            _ID,
            _of("vehicle", "vehicles", "What was inspected."),
            Column("reason", Word(), "Why it was inspected."),
            *_INSPECTED,
            Column("proposed", Word(_states), "What the readings proposed at the finish."),
            Column("service", Word(_states), "What the person stated."),
        ),
        key=("vehicle", "started_at"),
    ),
    Section(
        "readings",
        stock.Reading,
        "What was read of vehicles, as typed and as it was understood. Never changed.",
        (_ID, _of("inspection", "inspections", "Of which inspection."), *_TAKEN),
        key=("inspection", "quantity", "at", "taken_at"),
        part_of="inspection",
    ),
    Section(
        "verdicts",
        stock.Verdict,
        "What was made of the readings of vehicles, as it was judged then. Never judged anew on "
        "the way in.",
        (
            _ID,
            _of("inspection", "inspections", "Of which inspection."),
            _of("reading", "readings", "Of which reading; empty for a sum of several."),
            *_JUDGED,
        ),
        key=("inspection", "quantity", "at", "judged_at"),
        part_of="inspection",
    ),
    Section(
        "railways",
        track.Railway,
        "Layouts.",
        (
            Column("name", Text(), "By which others refer to it."),
            _FAMILY,
            _SCALE,
            Column("clearance_gap", Exact()),
            Column("coupling_slack", Exact()),
            Column("notes", Text(), "Notes."),
            _REVISION,
        ),
        key=("name",),
        named="name",
        agrees=_is_held,
    ),
    Section(
        "places",
        track.Place,
        "Stations, yards, sidings and hidden storage in their order along the line.",
        (
            _ID,
            _of("railway", "railways", "On which railway."),
            Column("name", Text(), "Its name."),
            Column("position", Whole()),
            _REVISION,
        ),
        key=("railway", "name"),
    ),
    Section(
        "turnouts",
        track.Turnout,
        "Turnouts of the places.",
        (
            _ID,
            _of("place", "places", "In which place."),
            Column("name", Text(), "Its name."),
            Column("hand", Word(), "Which way it goes."),
            Column("frog_number", Exact()),
            Column("frog_typed", Text()),
            Column("diverging_radius", Exact(), "In mm, where that leg is one curve."),
            Column("points_to_frog", Exact()),
            Column("held_because", Text(), "Why it is out of service; empty where it is not."),
            _REVISION,
        ),
        key=("place", "name"),
    ),
    Section(
        "tracks",
        track.Track,
        "Tracks of the places, measured between two reference points. All lengths in mm.",
        (
            _ID,
            _of("place", "places", "In which place."),
            Column("name", Text(), "Its name."),
            Column("duty", Word(), "What it is for."),
            Column("position", Whole(), "Its order in its place."),
            Column("measured", Exact()),
            Column("a_reference", Word(), "What it was measured from."),
            _of("a_turnout", "turnouts", "The turnout that it was measured from."),
            Column("a_leg", Word(), "On which leg of that turnout it lies."),
            Column("b_reference", Word(), "What it was measured to."),
            _of("b_turnout", "turnouts", "The turnout that it was measured to."),
            Column("b_leg", Word(), "On which leg of that turnout it lies."),
            Column("final_centres", Exact()),
            Column("radius", Exact()),
            Column("door_height", Exact()),
            Column("grade_percent", Exact()),
            Column("most_vehicles", Whole()),
            _REVISION,
        ),
        key=("place", "name"),
    ),
    Section(
        "industries",
        track.Industry,
        "Who receives or ships along the line.",
        (
            _ID,
            _of("place", "places", "In which place."),
            Column("name", Text(), "Its name."),
            _several("tracks", "tracks", "Where its vehicles load."),
            _REVISION,
        ),
        key=("place", "name"),
    ),
    Section(
        "traffic",
        track.Traffic,
        "What the industries receive and ship.",
        (
            _ID,
            _of("industry", "industries", "Of whom."),
            Column("direction", Word(), "Whether it comes or goes."),
            Column("goods", Text(), "What comes or goes."),
            Column("kinds", Text()),
            Column("cars_per_session", Exact()),
            Column("sessions_away", Exact()),
            _REVISION,
        ),
        key=("industry", "direction", "goods"),
        part_of="industry",
    ),
    Section(
        "homes",
        track.Home,
        "The industries that vehicles work for.",
        (
            _ID,
            _of("vehicle", "vehicles", "Which vehicle."),
            _of("industry", "industries", "For whom it works."),
        ),
        key=("vehicle", "industry"),
    ),
    Section(
        "home_tracks",
        track.HomeTrack,
        "The tracks on which vehicles stand when nobody wants them.",
        (
            _ID,
            _of("vehicle", "vehicles", "Which vehicle."),
            _of("track", "tracks", "Where it stands then."),
        ),
        key=("vehicle",),
    ),
    Section(
        "standing",
        track.Standing,
        "What stands where now.",
        (
            _ID,
            _of("track", "tracks", "On which track."),
            _of("vehicle", "vehicles", "Which vehicle."),
            Column("position", Whole(), "Its order from the far end."),
        ),
        key=("vehicle",),
    ),
    Section(
        "trackwork",
        trackwork.Trackwork,
        "Turnouts, crossings and stretches of track that are measured like vehicles.",
        (
            _ID,
            _of("place", "places", "In which place."),
            Column("kind", Word(), "What it is."),
            Column("name", Text(), "Its name; empty where a turnout has its own."),
            _of("turnout", "turnouts", "The turnout that it is."),
            _of("track", "tracks", "The track that it belongs to."),
            Column("frog_number", Exact()),
            Column("rail_code", Whole()),
        ),
        key=("place", "name", "turnout"),
    ),
    Section(
        "trackwork_photos",
        trackwork.TrackworkPhoto,
        "Photos of trackwork.",
        (_ID, _of("trackwork", "trackwork", "Of which piece."), *_PICTURED),
        key=("trackwork", "position"),
        part_of="trackwork",
        fill=_follows_from_the_picture,
    ),
    Section(
        "track_inspections",
        trackwork.TrackInspection,
        "Sets of readings of trackwork.",
        (
            _ID,
            _of("trackwork", "trackwork", "What was inspected."),
            Column("reason", Word(), "Why it was inspected."),
            *_INSPECTED,
        ),
        key=("trackwork", "started_at"),
    ),
    Section(
        "track_readings",
        trackwork.TrackReading,
        "What was read of trackwork.",
        (_ID, _of("inspection", "track_inspections", "Of which inspection."), *_TAKEN),
        key=("inspection", "quantity", "at", "taken_at"),
        part_of="inspection",
    ),
    Section(
        "track_verdicts",
        trackwork.TrackVerdict,
        "What was made of the readings of trackwork.",
        (
            _ID,
            _of("inspection", "track_inspections", "Of which inspection."),
            _of("reading", "track_readings", "Of which reading; empty for a sum of several."),
            *_JUDGED,
        ),
        key=("inspection", "quantity", "at", "judged_at"),
        part_of="inspection",
    ),
    Section(
        "incidents",
        trouble.Incident,
        "Reports of trouble as it was seen.",
        (
            _ID,
            _of("railway", "railways", "On which railway, while it is laid."),
            _of("place", "places", "In which place."),
            _of("track", "tracks", "On which track."),
            _of("turnout", "turnouts", "On which turnout."),
            _of("trackwork", "trackwork", "On which piece of trackwork."),
            Column("where", Text(), "Where, as it was called then."),
            Column("happened", Word(), "What happened."),
            Column("happened_at", Moment(), "When it happened."),
            Column("way", Word(), "Which way it went through the turnout."),
            Column("effort", Word(), "Whether it was pulled or pushed."),
            Column("position", Whole(), "Its place in the train."),
            Column("note", Text(), "What else was seen."),
            _of("reported_by", "people", "Who reported it."),
            Column("reported_at", Moment(), "When it was reported."),
            Column("withdrawn_at", Moment(), "When it was withdrawn."),
            Column("withdrawn_because", Text(), "Why it was withdrawn."),
        ),
        key=("reported_at", "happened_at", "where", "happened"),
    ),
    Section(
        "involved",
        trouble.Involved,
        "The vehicles in the reports.",
        (
            _ID,
            _of("incident", "incidents", "In which report."),
            _of("vehicle", "vehicles", "Which vehicle."),
            Column("part", Word(), "What became of it."),
            Column("was_held", YesNo(), "Whether it was out of service already."),
        ),
        key=("incident", "vehicle"),
        part_of="incident",
    ),
    Section(
        "incident_photos",
        trouble.IncidentPhoto,
        "Photos with the reports.",
        (_ID, _of("incident", "incidents", "Of which report."), *_PICTURED),
        key=("incident", "position"),
        part_of="incident",
        fill=_follows_from_the_picture,
    ),
    Section(
        "holds",
        trouble.Hold,
        "What is or was out of service, until somebody released it.",
        (
            _ID,
            _of("vehicle", "vehicles", "Which vehicle, where it is one."),
            _of("trackwork", "trackwork", "Which piece of trackwork, where it is one."),
            Column("reason", Text(), "Why."),
            _of("incident", "incidents", "The report that led to it."),
            _of("inspection", "inspections", "The inspection of a vehicle that led to it."),
            _of("track_inspection", "track_inspections", "The same of trackwork."),
            Column("broken", Pairs(), "What was outside then and must be found within again."),
            _of("held_by", "people", "Who took it out."),
            Column("held_at", Moment(), "Since when."),
            _of("released_by", "people", "Who released it."),
            Column("released_at", Moment(), "When it was released."),
            Column("done", Text(), "What was done before."),
        ),
        key=("vehicle", "trackwork", "held_at"),
    ),
    Section(
        "sessions",
        trouble.RunningSession,
        "Evenings of running.",
        (
            _ID,
            _of("railway", "railways", "On which railway."),
            Column("held_on", Day(), "The day."),
            Column("note", Text(), "A word on it."),
            _of("noted_by", "people", "Who noted it."),
            Column("noted_at", Moment(), "When it was noted."),
        ),
        key=("railway", "held_on"),
    ),
    Section(
        "turns",
        trouble.Turn,
        "Who passed what in them, and about how often.",
        (
            _ID,
            _of("session", "sessions", "In which evening."),
            Column("passages", Whole(), "How often each passed each."),
            _several("vehicles", "vehicles", "Who ran."),
            _several("turnouts", "turnouts", "Over which turnouts."),
            _several("tracks", "tracks", "Over which tracks."),
            _several("trackwork", "trackwork", "Over which pieces of trackwork."),
        ),
        key=("session",),
        part_of="session",
    ),
)

BY_NAME = {section.name: section for section in SECTIONS}

#: What the record holds besides and the document does not, with the reason. A model by its label,
#: a field by the label and its name.
LEFT_OUT = {
    "auth.Group": "Nobody is in one; what people may do is their role.",
    "auth.Group_permissions": "Nobody is in a group.",
    "auth.Permission": "Django's own words for groups, which are not used.",
    "contenttypes.ContentType": "Django's own list of its models.",
    "sessions.Session": "A sign-in, which belongs to one browser at one server.",
    "people.Person_groups": "Nobody is in one.",
    "people.Person_user_permissions": "What people may do is their role.",
    "people.SignInLink": "A way in to one server, once; an owner makes another.",
    "people.Device": "A browser that is signed in to one server.",
    "people.SignInTally": "Failed sign-ins of the last while at one server.",
    "people.Person.password": "A secret; whoever comes along sets another.",
    "people.Person.last_login": "Part of what makes a sign-in address work once.",
    "people.Person.is_superuser": "Not used; what people may do is their role.",
    "people.Person.is_staff": "Not used; what people may do is their role.",
    "people.Person.groups": "Nobody is in one.",
    "people.Person.user_permissions": "What people may do is their role.",
    "stock.Vehicle.number_key": "Follows from the number, so that lists can put 88 before 1104.",
    "stock.Vehicle.search_text": "Follows from the words that a search looks through.",
    "stock.Vehicle.last_inspected_at": "Follows from the inspections.",
    "stock.SetAside": "A photo that waits an hour for its form to be sent again.",
    **{
        f"{photo}.{name}": "Follows from the picture."
        for photo in ("stock.VehiclePhoto", "trackwork.TrackworkPhoto", "trouble.IncidentPhoto")
        for name in ("digest", "width", "height", "thumbnail")
    },
    "reader.ReadingToken": "A key to one server; whoever needs another makes one there.",
}
