"""What may be chosen for a paper. Everything is carried in the address; nothing is kept."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.http import QueryDict

from inventory.paper.address import HostRefused, host_from
from inventory.paper.layouts import LAYOUTS, OWN, Layout, LayoutRefused, layouts_on
from inventory.paper.leaf import A4, LETTER, PAPERS, Paper
from inventory.people.models import Person
from inventory.stock.forms import split_standard, standard_choices
from inventory.stock.models import Vehicle
from standards.units import Unreadable, read

_SIZES = (
    ("width", "Label width", False),
    ("height", "Label height", False),
    ("left", "Margin at the left", True),
    ("top", "Margin at the top", True),
    ("across", "From label to label, across", False),
    ("down", "From label to label, down", False),
)


def paper_of(data: QueryDict, person: Person) -> Paper:
    """The paper that the address names, or the one usual where the person's units are."""
    usual = LETTER if person.unit == Person.Unit.INCH else A4
    return PAPERS.get(data.get("paper", ""), usual)


class LabelForm(forms.Form):
    """Which labels, from where on the sheet, and what their codes say.

    After a clean, `layout` is a layout that fits its paper.
    """

    layout_code = forms.ChoiceField(label="Sheet of labels")
    start = forms.IntegerField(
        label="Begin at label",
        min_value=1,
        max_value=400,
        help_text="Counted row by row, for a sheet that is half used.",
        error_messages={"invalid": "Begin at label: type a whole number, such as 1."},
    )
    host = forms.CharField(
        label="Host on the labels",
        max_length=200,
        required=False,
        help_text="How this computer is called in the house; empty for the one you are on.",
    )
    marks = forms.BooleanField(
        label="Draw the labels’ edges",
        required=False,
        help_text="For plain paper, and to try a sheet out.",
    )
    columns = forms.IntegerField(label="Columns", min_value=1, max_value=40, required=False)
    rows = forms.IntegerField(label="Rows", min_value=1, max_value=80, required=False)

    def __init__(self, data: QueryDict, *, paper: Paper, person: Person):
        on_paper = layouts_on(paper)
        usual = {"layout_code": on_paper[0].code, "start": "1"}
        known = {name: data[name] for name in data if name in self.names()}
        super().__init__({**usual, **known}, auto_id="labels_%s")
        self.paper, self.person = paper, person
        self.layout: Layout | None = None
        self.fields["layout_code"].choices = [
            *((layout.code, layout.name) for layout in on_paper),
            (OWN, "your own sizes, typed below"),
        ]
        unit = person.get_unit_display().split()[0]
        for name, words, _ in _SIZES:
            self.fields[name] = forms.CharField(label=words, max_length=24, required=False)
            self.fields[name].is_asked = name not in ("across", "down")
        for name in ("columns", "rows"):
            self.fields[name].is_asked = True
        self.fields["width"].help_text = f"In {unit}, or with its unit: 63.5 mm, 2 5/8 in."

    @classmethod
    def names(cls) -> set[str]:
        """What it reads of an address."""
        return {*cls.base_fields, *(name for name, _, _ in _SIZES)}

    @property
    def own(self) -> list[forms.BoundField]:
        """The fields of one's own sizes."""
        return [self[name] for name in ("columns", "rows", *(size[0] for size in _SIZES))]

    @property
    def is_own(self) -> bool:
        return self.data.get("layout_code") == OWN

    @property
    def kept(self) -> list[tuple[str, str]]:
        """What was chosen of the sheet, to be carried by another form of the page."""
        return [(name, self.data[name]) for name in sorted(self.names() & set(self.data))]

    def clean_host(self) -> str:
        typed = self.cleaned_data["host"].strip()
        if typed:
            scheme, _, rest = typed.rpartition("://")
            if scheme.lower() not in ("", "http", "https"):
                raise forms.ValidationError(
                    f"“{scheme}” is no way for a phone to come in; leave it out, or type http."
                )
            try:
                host_from(rest)
            except HostRefused as refused:
                raise forms.ValidationError(str(refused)) from refused
        return typed

    def clean(self) -> dict[str, object]:
        told = super().clean()
        code = told.get("layout_code")
        if code == OWN:
            self.layout = self._own(told)
        elif code:
            self.layout = LAYOUTS[code]
        if self.layout and told.get("start", 1) > self.layout.count:
            self.add_error(
                "start",
                f"The sheet has {self.layout.count} labels; begin at {self.layout.count} or "
                "before.",
            )
        return told

    def _own(self, told: dict[str, object]) -> Layout | None:
        sizes = {name: self._size(name, words, may_be_zero) for name, words, may_be_zero in _SIZES}
        for name in ("columns", "rows"):
            if not told.get(name) and name not in self.errors:
                self.add_error(name, f"Type how many {name} the sheet has.")
        # One column or row has no pitch; labels that touch need not say it.
        for pitch, size in (("across", "width"), ("down", "height")):
            if sizes[pitch] is None and pitch not in self.errors:
                sizes[pitch] = sizes[size]
        for name, words, _ in _SIZES:
            if sizes[name] is None and name not in self.errors:
                self.add_error(name, f"{words}: type it, such as 10 mm.")
        if self.errors:
            return None
        layout = Layout(
            OWN,
            self.paper,
            told["columns"],
            told["rows"],
            **{name: float(size) for name, size in sizes.items() if size is not None},
        )
        try:
            layout.check()
        except LayoutRefused as refused:
            self.add_error(refused.field, str(refused))
            return None
        return layout

    def _size(self, name: str, words: str, may_be_zero: bool) -> Decimal | None:
        typed = self.cleaned_data.get(name, "").strip()
        if not typed:
            return None
        try:
            understood = read(
                typed, "length", default_unit=self.person.unit, may_be_zero=may_be_zero
            )
        except Unreadable as unreadable:
            self.add_error(name, f"{words}: {unreadable}")
            return None
        if len(understood.values) != 1:
            self.add_error(name, f"{words}: “{typed}” is several sizes; type one.")
            return None
        return understood.values[0]


class BlankForm(forms.Form):
    """What is known of a vehicle that is not logged yet. After a clean, `vehicle` is an unsaved
    one, or None while its scale is not known."""

    standard = forms.ChoiceField(label="Scale and standards", required=False)
    axles = forms.IntegerField(
        min_value=1,
        max_value=16,
        error_messages={"invalid": "Axles: type a whole number from 1 to 16."},
    )
    buffers = forms.BooleanField(label="Side buffers", required=False)
    locomotive = forms.BooleanField(label="Locomotive", required=False)
    copies = forms.IntegerField(label="Copies", min_value=1, max_value=50)

    def __init__(self, data: QueryDict, *, used: list[tuple[str, str]]):
        known = {name: data[name] for name in data if name in self.base_fields}
        first = "/".join(used[0]) if used else ""
        usual = {"axles": "4", "copies": "1", "standard": first}
        super().__init__({**usual, **known}, auto_id="blank_%s")
        self.fields["standard"].choices = [
            ("", "not known yet: no limits"),
            *standard_choices(used),
        ]
        self.vehicle: Vehicle | None = None

    def clean(self) -> dict[str, object]:
        told = super().clean()
        if told.get("standard") and told.get("axles"):
            family, scale = split_standard(told["standard"])
            locomotive = Vehicle.Category.LOCOMOTIVE
            self.vehicle = Vehicle(
                family=family,
                scale=scale,
                axles=told["axles"],
                has_buffers=told["buffers"],
                category=locomotive if told["locomotive"] else Vehicle.Category.FREIGHT,
            )
        return told


class RegisterForm(forms.Form):
    """In whose name the fleet register stands."""

    name = forms.CharField(
        label="Owner",
        max_length=120,
        required=False,
        help_text="As the insurer knows it: a name, an address, a policy number.",
    )
    photos = forms.BooleanField(label="With photos", required=False)

    def __init__(self, data: QueryDict, *, owner: str):
        known = {name: data[name] for name in data if name in self.base_fields}
        usual = {} if known else {"name": owner, "photos": "on"}
        super().__init__({**usual, **known}, auto_id="register_%s")


class WallForm(forms.Form):
    """Over how many sheets the line is spread."""

    sheets = forms.IntegerField(
        label="Sheets side by side",
        min_value=1,
        max_value=12,
        required=False,
        help_text="Empty: as many as it takes to be read from two steps away.",
        error_messages={"invalid": "Sheets: type a whole number from 1 to 12."},
    )
