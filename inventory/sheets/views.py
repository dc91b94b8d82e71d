"""Pages of the standards: the list, one sheet, the converter and what a wheelset meets."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render

from inventory.drawing.track_jaws import TRACK_GUIDES
from inventory.sheets import comparing, converting, tabulating
from inventory.sheets import curving as bends
from inventory.sheets import meeting as relations
from inventory.sheets.comparing import Cell, Comparison, Gauge, Likeness
from inventory.sheets.forms import ConvertForm, MeetsForm, doubt, with_known_gauge
from standards import sheets
from standards.metrology import Measured
from standards.sheets import Row, UnknownStandard
from standards.units import Typed, from_base, likely_slip


def sheet_list(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "sheets/list.html",
        {"families": tabulating.families_with_sheets(), "holdings": tabulating.by_holding()},
    )


def sheet(request: HttpRequest, sheet_id: str) -> HttpResponse:
    try:
        shown = sheets.sheet(sheet_id)
    except UnknownStandard:
        return render(request, "sheets/unknown.html", {"sheet_id": sheet_id[:40]}, status=404)
    remarks = tabulating.remarks_of(shown)
    return render(
        request,
        "sheets/sheet.html",
        {
            "sheet": shown,
            "unit": tabulating.unit_in_words(shown.unit),
            "remarks": remarks,
            "table": tabulating.table_of(shown, remarks),
            "mass": tabulating.mass_lines(shown, remarks),
            "scales": tabulating.scale_lines(shown, remarks),
            "contours": tabulating.contours_of(shown),
            "figures": tabulating.figures_table(shown),
            "families": tabulating.families_using(shown),
        },
    )


def convert(request: HttpRequest) -> HttpResponse:
    asked = request.GET.copy()
    asked.setdefault("way", ConvertForm.TO_MODEL)
    form = ConvertForm(asked) if "length" in asked else ConvertForm(initial=asked.dict())
    context: dict[str, object] = {"form": form}
    if form.is_bound and form.is_valid():
        mm = form.cleaned_data["length"].values[0]
        is_to_model = form.cleaned_data["way"] == ConvertForm.TO_MODEL
        turn = converting.to_every_scale if is_to_model else converting.from_every_scale
        context |= {"mm": mm, "is_to_model": is_to_model, "conversions": turn(mm)}
    return render(request, "sheets/convert.html", context)


# --- Explained ----------------------------------------------------------------------------------


def meeting(request: HttpRequest) -> HttpResponse:
    unit = request.user.unit
    explained = [(each, {**each.drawing, "unit": unit}) for each in relations.explained()]
    pair = [sheets.sheet(each) for each in (relations.TRACK, relations.WHEELS, relations.CONTOURS)]
    return render(
        request,
        "sheets/meeting.html",
        {"explained": explained, "pair": pair, "guides": TRACK_GUIDES},
    )


def curves(request: HttpRequest) -> HttpResponse:
    examples = {
        "throws": bends.throws(),
        "coupling": bends.coupling(),
        "s_curve": bends.s_curve(),
        "passing": bends.passing(),
    }
    drawn = {name: {**each.sizes, "unit": request.user.unit} for name, each in examples.items()}
    return render(request, "sheets/curves.html", {**examples, "drawn": drawn})


# --- Which standards does it meet? ------------------------------------------------------------


@dataclass(frozen=True)
class Question:
    """A reading that cannot be what was meant, and how it may have been meant.

    `instead` is the text to put in its place and `query` the page's address with it there; both
    are empty if nothing makes it plausible.
    """

    words: str
    instead: str
    query: str


def meets(request: HttpRequest) -> HttpResponse:
    asked = request.GET.copy()
    asked.setdefault("with", "caliper")
    if "gauge" in asked:
        asked["gauge"] = with_known_gauge(asked["gauge"])
    is_asked = any(name in asked for name in ("gauge", *comparing.READ))
    form = MeetsForm(asked) if is_asked else MeetsForm(initial=asked.dict())
    context: dict[str, object] = {"form": form}
    if form.is_bound and form.is_valid():
        gauge: Gauge = form.cleaned_data["gauge"]
        typed = {
            code: form.cleaned_data[code] for code in comparing.READ if form.cleaned_data[code]
        }
        questions = [] if "sure" in asked else _questions(asked, typed, gauge)
        context |= {
            "gauge": gauge,
            "questions": questions,
            "query_as_typed": _query(asked, sure="yes"),
            "all_instead": _all_instead(asked, typed, gauge) if len(questions) > 1 else "",
        }
        if typed and not questions:
            context["result"] = _compared(form, typed, gauge, request.user.unit)
    return render(request, "sheets/meets.html", context)


def _query(asked: QueryDict, **changes: str) -> str:
    changed = asked.copy()
    for name, value in changes.items():
        changed[name] = value
    return changed.urlencode()


def _slips(typed: dict[str, Typed], gauge: Gauge) -> dict[str, str]:
    """What each implausible reading was probably meant to be, by its code."""
    found = {}
    for code, each in typed.items():
        instead = likely_slip(each, *comparing.plausible(code, gauge))
        if instead:
            found[code] = instead
    return found


def _questions(asked: QueryDict, typed: dict[str, Typed], gauge: Gauge) -> list[Question]:
    slips = _slips(typed, gauge)
    found = []
    for code, each in typed.items():
        words = doubt(code, each, gauge)
        if words:
            instead = slips.get(code, "")
            query = _query(asked, **{code: instead}) if instead else ""
            found.append(Question(words, instead, query))
    return found


def _all_instead(asked: QueryDict, typed: dict[str, Typed], gauge: Gauge) -> str:
    """The page's address with every slip put right, empty unless that settles them all."""
    slips = _slips(typed, gauge)
    doubted = [code for code, each in typed.items() if doubt(code, each, gauge)]
    return _query(asked, **slips) if all(code in slips for code in doubted) else ""


@dataclass(frozen=True)
class Result:
    """Everything that is shown of a compared wheelset."""

    readings: dict[str, Measured]
    comparisons: tuple[Comparison, ...]
    silent: tuple[str, ...]
    likeness: Likeness | None
    declared: Row | None
    unit: str
    drawn: dict[str, object]
    nominal: dict[str, object] | None

    @property
    def met(self) -> list[Comparison]:
        return [each for each in self.comparisons if each.overall is comparing.Overall.MEETS]

    @property
    def is_short(self) -> bool:
        """Whether a missing reading may be all that stands in the way."""
        return any(each.missing for each in self.comparisons if not each.is_failed)

    @property
    def columns(self) -> list[str]:
        """The quantities of which at least one family speaks."""
        return [
            code
            for code in comparing.NEEDS
            if any(each.cells[code].limit for each in self.comparisons)
        ]

    @property
    def lines(self) -> list[tuple[Comparison, list[Cell]]]:
        """Every family with its cells in the order of the columns."""
        return [(each, [each.cells[code] for code in self.columns]) for each in self.comparisons]


def _compared(form: MeetsForm, typed: dict[str, Typed], gauge: Gauge, unit: str) -> Result:
    instrument = form.cleaned_data["with"]
    readings = {
        code: comparing.measured(code, each.values, instrument) for code, each in typed.items()
    }
    declared = comparing.profile(form.cleaned_data["code"])
    like = comparing.likeness(readings)
    nominal = declared
    if nominal is None and like is not None and like.best.is_like and not like.rivals:
        nominal = comparing.profile(like.best.code)
    drawn = {code: from_base(each.value, unit) for code, each in readings.items()}
    return Result(
        readings,
        comparing.compare(
            gauge,
            readings,
            code=form.cleaned_data["code"],
            rule=comparing.INSTRUMENTS[instrument][2],
        ),
        tuple(family.name for family, _ in comparing.without_figures(gauge)),
        like,
        declared,
        unit,
        {**drawn, "track_gauge": from_base(gauge.mm, unit)},
        _nominal(nominal, unit),
    )


def _nominal(row: Row | None, unit: str) -> dict[str, object] | None:
    """A listed contour as the drawings take it, in the reader's unit."""
    if row is None:
        return None
    sizes = {
        code: from_base(limit.nominal, unit)
        for code, limit in row.limits.items()
        if limit.nominal is not None
    }
    return {**sizes, "name": f"RP-25 {row.name}"}
