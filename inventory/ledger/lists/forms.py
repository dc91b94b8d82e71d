"""Forms of the pages that bring lists in and let them out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from inventory.ledger.lists.columns import COLUMNS, is_for_reading, letter
from inventory.ledger.lists.files import DELIMITERS, ENCODINGS, MOST_BYTES, Choice, Listed
from inventory.ledger.lists.incoming import Terms
from inventory.stock.forms import KINDS, standard_choices
from inventory.stock.models import Coupler, Vehicle

#: Rows that may hold the headings.
_MOST_ABOVE = 30


class UploadForm(forms.Form):
    """A file. `whole` stands after it in the page, so that it is missing where it was cut off."""

    file = forms.FileField(
        label="Your list",
        allow_empty_file=True,
        help_text="A CSV file or an xlsx workbook, in any column order.",
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx,.xlsm"}),
        error_messages={
            "required": "Pick a file first.",
            "missing": "Pick a file first.",
            "invalid": "The upload did not come through: pick the file again.",
        },
    )
    whole = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(
                f"The file has {file.size / 2**20:.1f} MB, and at most {MOST_BYTES >> 20} are "
                "read: save the list alone, without pictures."
            )
        return file

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if self.cleaned_data.get("whole") != "yes" and not self.errors:
            self.add_error(
                "file", "The upload was broken off halfway; nothing was kept. Upload it again."
            )
        return data


class ReadingForm(forms.Form):
    """How a file is to be read, where its own word is not the right one."""

    sheet = forms.TypedChoiceField(coerce=int, empty_value=None, required=False)
    encoding = forms.ChoiceField(label="Letters as written by", required=False)
    delimiter = forms.ChoiceField(label="Cells are parted by", required=False)
    heading_row = forms.TypedChoiceField(label="Headings", coerce=int, empty_value=None)

    def __init__(self, *args, listed: Listed, heading_row: int | None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.initial = {
            "sheet": listed.sheet,
            "encoding": listed.encoding.removesuffix("-le").removesuffix("-be"),
            "delimiter": listed.delimiter,
            "heading_row": -1 if heading_row is None else heading_row,
        }
        if listed.sheets:
            self.fields["sheet"].choices = [
                (index, f"{each.name} (hidden)" if each.is_hidden else each.name)
                for index, each in enumerate(listed.sheets)
            ]
            del self.fields["encoding"], self.fields["delimiter"]
        else:
            self.fields["encoding"].choices = list(ENCODINGS.items())
            self.fields["delimiter"].choices = list(DELIMITERS.items())
            del self.fields["sheet"]
        self.fields["heading_row"].choices = [(-1, "There are none")] + [
            (index, f"Row {row.number}: {_in_a_line(row.cells)}")
            for index, row in enumerate(listed.rows[:_MOST_ABOVE])
        ]

        at = self.initial["heading_row"]
        headings = "no headings" if at < 0 else f"headings in row {listed.rows[at].number}"
        if listed.sheets:
            self.in_words = f"sheet {listed.sheets[listed.sheet].name}, {headings}"
        else:
            encoding = ENCODINGS.get(self.initial["encoding"], listed.encoding)
            parted = DELIMITERS.get(listed.delimiter, listed.delimiter)
            self.in_words = f"{encoding}, cells parted by a {parted}, {headings}"

    @property
    def choice(self) -> Choice:
        told = self.cleaned_data
        return Choice(told.get("sheet"), told.get("encoding", ""), told.get("delimiter", ""))


def _in_a_line(row: Iterable[str]) -> str:
    words = ", ".join(str(cell).strip() for cell in row if cell.strip())
    return words if len(words) <= 60 else f"{words[:60]}…"


def _column_choices() -> list[tuple[str, str]]:
    return [("", "leave it out")] + [(each.code, each.label) for each in COLUMNS.values()]


class TermsForm(forms.Form):
    """What the columns of a list mean, and what it lacks."""

    standard = forms.ChoiceField(
        label="Scale and standards",
        required=False,
        help_text="Of vehicles whose row does not say it.",
    )
    category = forms.ChoiceField(
        required=False, choices=[("", "the list says it"), *Vehicle.Category.choices]
    )
    kind = forms.CharField(
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"list": "kinds-known", "autocomplete": "off"}),
    )
    reporting_mark = forms.CharField(label="Railway or marks", required=False, max_length=40)
    axles = forms.IntegerField(required=False, min_value=1, max_value=16)
    coupler = forms.ChoiceField(
        label="Couplers", required=False, choices=[("", "the list says it"), *Coupler.Kind.choices]
    )
    currency = forms.CharField(required=False, max_length=3, help_text="EUR, GBP, USD...")
    day_order = forms.ChoiceField(
        label="How it writes days",
        required=False,
        choices=[
            ("day", "the day first: 3/5/24 is in May"),
            ("month", "the month first: 3/5/24 is in March"),
        ],
        widget=forms.RadioSelect,
    )
    empties = forms.BooleanField(
        label="An empty cell empties the fact of a vehicle that is in the record", required=False
    )
    are_others = forms.BooleanField(
        label="Rows lettered alike are different vehicles: log each of them", required=False
    )

    def __init__(
        self,
        *args,
        headings: Sequence[str],
        samples: Sequence[Sequence[str]],
        used: Iterable[tuple[str, str]],
        terms: Terms,
        asks_for_days: str,
        **kwargs,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.headings, self.samples = headings, samples
        self.kinds = KINDS
        self.fields["standard"].choices = [("", "the list says it"), *standard_choices(used)]
        for index, _ in enumerate(headings):
            self.fields[f"column-{index}"] = forms.ChoiceField(
                choices=_column_choices(),
                required=False,
                label=f"Column {letter(index)} is",
                initial=terms.columns[index] if index < len(terms.columns) else "",
            )
        self.initial |= {
            "standard": terms.standard,
            "day_order": terms.day_order,
            "empties": terms.empties,
            "are_others": terms.are_others,
            **terms.constants,
        }
        if not asks_for_days:
            del self.fields["day_order"]
        else:
            self.fields[
                "day_order"
            ].help_text = (
                f"“{asks_for_days}” may be read in two ways, and nothing in the list tells which."
            )
        # What a column says needs no word for all; without script they are all there.
        self.is_told = {code for code in terms.columns if code}
        # And what no column says has to be said here, unless all of it is in the record.
        for code in ("reporting_mark", "category", "kind"):
            self.fields[code].is_asked = not {code, "uid"} & self.is_told
        self.fields["standard"].is_asked = not {"family", "scale"} <= self.is_told

    def rows(self) -> list[dict[str, Any]]:
        """Each column with its heading, samples and field."""
        return [
            {
                "letter": letter(index),
                "heading": heading,
                "is_for_reading": is_for_reading(heading),
                "samples": self.samples[index],
                "field": self[f"column-{index}"],
            }
            for index, heading in enumerate(self.headings)
        ]

    @property
    def for_all(self) -> list[forms.BoundField]:
        """What is said once for all vehicles."""
        names = ("standard", "category", "kind", "axles", "coupler", "currency", "reporting_mark")
        return [self[name] for name in names]

    def terms(self, heading_row: int | None) -> Terms:
        """As they were said. For a valid form."""
        told = self.cleaned_data
        constants = {
            code: str(told[code])
            for code in ("reporting_mark", "category", "kind", "axles", "coupler", "currency")
            if told.get(code)
        }
        return Terms(
            heading_row,
            tuple(told[f"column-{index}"] for index in range(len(self.headings))),
            told["standard"],
            constants,
            told.get("day_order", ""),
            told["empties"],
            told["are_others"],
        )


class ExportForm(forms.Form):
    """What leaves, and how it is written."""

    kind = forms.ChoiceField(
        label="File",
        choices=[("xlsx", "workbook (xlsx)"), ("csv", "CSV")],
        initial="xlsx",
        widget=forms.RadioSelect,
    )
    delimiter = forms.ChoiceField(
        label="CSV with",
        required=False,
        choices=[
            (",", "commas between the cells, 24.50"),
            (";", "semicolons between them, 24,50"),
        ],
        initial=",",
        widget=forms.RadioSelect,
    )
    has_mark = forms.BooleanField(
        label="CSV begins with the mark by which spreadsheet programs know UTF-8",
        required=False,
        initial=True,
    )
    with_retired = forms.BooleanField(label="With what has left the stock", required=False)
    is_measured = forms.BooleanField(label="With what was measured, for reading", required=False)
