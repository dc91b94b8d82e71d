"""Check measurements against the sheets from the command line; no record is touched."""

from __future__ import annotations

import json
import math
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from decimal import Decimal

from django.core.management.base import BaseCommand, CommandError

from standards import sheets
from standards.conformity import Outcome, Rule, how_sure
from standards.judging import Finding, GaugeResult, Observation, Subject, judge_vehicle, where
from standards.metrology import USUAL, Instrument, evaluate
from standards.quantities import QUANTITIES, Jaws, Place
from standards.remedies import mends
from standards.units import Unreadable, plain, read, spell

#: What may be given to --with; "exact" is never wrong.
CALIPERS = {**USUAL, "exact": Instrument("No instrument", "caliper", Decimal(0), Decimal(0))}

EPILOG = """
A reading is QUANTITY=TEXT, with the axle or end after the quantity if there are several:
  back_to_back=14.38   back_to_back@2="14.38 14.40 14.39"   coupler_height@B=.391in
or an answer of a go/no-go gauge: back_to_back@1=go, "=too small", "=too large".

Exit status: 0 everything judged is within; 1 something is outside; 2 the input was not
understood; 3 something is undecided; 4 nothing could be judged.
"""


class Command(BaseCommand):
    help = "Judge measurements by the published standards, without a record."
    requires_system_checks = []
    requires_migrations_checks = False

    def create_parser(self, prog_name: str, subcommand: str, **kwargs) -> ArgumentParser:
        return super().create_parser(
            prog_name,
            subcommand,
            epilog=EPILOG,
            formatter_class=RawDescriptionHelpFormatter,
            **kwargs,
        )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("readings", nargs="*", metavar="QUANTITY=TEXT")
        parser.add_argument(
            "--standard", default="nmra/HO", metavar="FAMILY/SCALE", help="default: nmra/HO"
        )
        parser.add_argument(
            "--with", dest="instrument", choices=CALIPERS, default="digital", help="the caliper"
        )
        parser.add_argument(
            "--scale-step", default="1 g", help="step of the weighing scale, taken as its error"
        )
        parser.add_argument(
            "--code", type=int, help="RP-25 code declared, where the flange was not measured"
        )
        parser.add_argument("--locomotive", action="store_true", help="no mass rule applies")
        parser.add_argument("--simple", action="store_true", help="simple acceptance, not 95 %%")
        parser.add_argument("--json", action="store_true", dest="as_json")
        parser.add_argument(
            "--list", action="store_true", help="list quantities, families and scales"
        )

    def handle(self, *args, **options) -> None:
        if options["list"]:
            self._list()
            return
        if not options["readings"]:
            raise CommandError(
                "Nothing to judge: give a reading such as back_to_back=14.38.", returncode=2
            )
        scale = self._scale(options["standard"])
        observations = [self._observation(text, scale, options) for text in options["readings"]]
        self._refuse_repeats(observations)
        subject = Subject(
            scale,
            axles=len({each.at for each in observations if each.at.isdigit()}),
            is_hauled=not options["locomotive"],
            has_buffers=any(each.quantity == "length_over_buffers" for each in observations),
            declared_codes=dict.fromkeys(
                {each.at for each in observations if each.at.isdigit()}, options["code"]
            )
            if options["code"]
            else {},
        )
        rule = Rule.SIMPLE if options["simple"] else Rule.NINETY_FIVE
        findings = judge_vehicle(subject, observations, rule=rule)
        if options["as_json"]:
            self.stdout.write(json.dumps(_document(scale, rule, findings), indent=2))
        else:
            self._print(scale, findings)
        status = exit_status(findings)
        if status:
            raise SystemExit(status)

    def _scale(self, text: str) -> sheets.Scale:
        family, _, code = text.partition("/")
        try:
            return sheets.scale(family, code)
        except sheets.UnknownStandard as error:
            raise CommandError(
                f"--standard {text}: {error}; --list names them.", returncode=2
            ) from error

    def _observation(self, text: str, scale: sheets.Scale, options) -> Observation:
        name, equals, typed = text.partition("=")
        code, _, at = name.strip().partition("@")
        code = code.replace("-", "_")
        quantity = QUANTITIES.get(code)
        if quantity is not None and not equals:
            raise CommandError(
                f"“{text}” has no reading; type it after an equals sign, as in {name}=14.38.",
                returncode=2,
            )
        if quantity is None or quantity.is_computed:
            raise CommandError(
                f"“{text}”: “{name}” is no quantity that can be measured; --list names them.",
                returncode=2,
            )
        at = self._place(quantity.place, at, text)
        if typed.strip() in list(GaugeResult):
            return Observation(code, at, gauge=GaugeResult(typed.strip()))
        dimension = quantity.dimension.value
        try:
            understood = read(
                typed,
                dimension,
                may_be_zero=quantity.may_be_negative,
                may_be_negative=quantity.may_be_negative,
                to_scale=scale.from_full_size,
            )
        except Unreadable as error:
            raise CommandError(f"“{text}”: {error}", returncode=2) from error
        low, high = quantity.plausible(scale)
        if not all(low <= value <= high for value in understood.values):
            self.stderr.write(
                f"Note: {code} {understood.as_understood} is far from plausible in {scale.code} "
                f"({spell(low, quantity.unit, 2)} to {spell(high, quantity.unit, 2)}). "
                "Was it another unit?"
            )
        error, step = self._instrument(dimension, quantity.jaws, options)
        return Observation(code, at, evaluate(understood.values, max_error=error, resolution=step))

    def _refuse_repeats(self, observations: list[Observation]) -> None:
        given = [(each.quantity, each.at) for each in observations]
        for quantity, at in given:
            if given.count((quantity, at)) > 1:
                raise CommandError(
                    f"{quantity}{'@' if at else ''}{at} is given twice. Type repeats in one "
                    f'reading: {quantity}="14.38 14.40".',
                    returncode=2,
                )

    def _place(self, place: Place, at: str, text: str) -> str:
        is_number = (at or "1").isascii() and (at or "1").isdigit() and len(at) < 4
        if place is Place.AXLE and is_number and int(at or "1") > 0:
            return str(int(at or "1"))
        if place is Place.END and (at or "A").upper() in ("A", "B"):
            return (at or "A").upper()
        if place is Place.VEHICLE and not at:
            return ""
        asked = {"axle": "an axle, as @2", "end": "an end, @A or @B", "vehicle": "no place"}
        raise CommandError(f"“{text}”: it takes {asked[place.value]}.", returncode=2)

    def _instrument(self, dimension: str, jaws: Jaws, options) -> tuple[Decimal, Decimal]:
        if dimension == "mass":
            try:
                step = read(options["scale_step"], "mass", may_be_zero=True).values[0]
            except Unreadable as unreadable:
                raise CommandError(f"--scale-step: {unreadable}", returncode=2) from unreadable
            return step, step
        if dimension == "grade":
            return Decimal("0.2"), Decimal("0.1")
        tool = CALIPERS[options["instrument"]]
        return tool.error_for(jaws), tool.resolution

    def _print(self, scale: sheets.Scale, findings: tuple[Finding, ...]) -> None:
        family = sheets.family(scale.family)
        self.stdout.write(f"{family.name}, {scale.label}")
        for finding in findings:
            self.stdout.write(_sentence(finding))
        for mend in mends(findings):
            unit = QUANTITIES[mend.quantity].unit
            self.stdout.write(f"Mend: {mend.headline(unit, 2)}. {mend.remedy.how}")
            if mend.remedy.caution:
                self.stdout.write(f"Caution: {mend.remedy.caution}")

    def _list(self) -> None:
        self.stdout.write("Quantities, where and unit:")
        for quantity in QUANTITIES.values():
            if not quantity.is_computed:
                self.stdout.write(
                    f"  {quantity.code:22} {quantity.place.value:8} {quantity.unit:3} "
                    f"{quantity.name}"
                )
        self.stdout.write("Families and scales:")
        for family in sheets.families().values():
            codes = ", ".join(scale.code for scale in family.scales)
            self.stdout.write(f"  {family.code}: {family.name}\n      {codes}")


def exit_status(findings: tuple[Finding, ...]) -> int:
    """0 all judged within, 1 any outside, 3 any undecided, 4 nothing judged."""
    outcomes = {finding.outcome for finding in findings}
    if Outcome.OUTSIDE in outcomes:
        return 1
    if Outcome.UNDECIDED in outcomes:
        return 3
    return 0 if Outcome.WITHIN in outcomes else 4


def _sentence(finding: Finding) -> str:
    quantity = QUANTITIES[finding.quantity]
    parts = [f"{quantity.name}{where(finding.quantity, finding.at)}: {finding.outcome}"]
    if finding.gauge is not None:
        parts.append(f"gauge says {finding.gauge}")
    if finding.measured is not None:
        # An uncertainty is never printed as nothing.
        spread = finding.measured.expanded
        decimals = quantity.decimals
        if spread > 0:
            decimals = max(decimals, min(6, -math.floor(math.log10(spread))))
        value = spell(finding.measured.value, quantity.unit, decimals + 1)
        parts.append(f"{value} ± {spread:.{decimals}f}")
    limits = [
        f"{words} {spell(side.number, quantity.unit)} ({side.basis}"
        + (", derived" if side.is_derived else "")
        + (", second-hand" if side.provenance != sheets.PUBLISHED else "")
        + ")"
        for words, side in (("at least", finding.low), ("at most", finding.high))
        if side.number is not None
    ]
    parts += limits
    if finding.judgement.probability is not None:
        parts.append(f"{how_sure(finding.judgement.probability)} to conform")
    if finding.judgement.undecidable:
        parts.append("this instrument cannot decide this dimension")
    if finding.note:
        parts.append(finding.note)
    return "; ".join(parts)


def _document(scale: sheets.Scale, rule: Rule, findings: tuple[Finding, ...]) -> dict[str, object]:
    def number(value: Decimal | None) -> str | None:
        return None if value is None else plain(value)

    return {
        "standard": f"{scale.family}/{scale.code}",
        "rule": rule.value,
        "findings": [
            {
                "quantity": finding.quantity,
                "at": finding.at,
                "unit": QUANTITIES[finding.quantity].unit,
                "outcome": finding.outcome.value,
                "value": number(finding.value),
                "standard_uncertainty": finding.measured.u if finding.measured else None,
                "gauge": finding.gauge.value if finding.gauge else None,
                "low": number(finding.low.number),
                "low_basis": finding.low.basis,
                "high": number(finding.high.number),
                "high_basis": finding.high.basis,
                "nominal": number(finding.nominal),
                "probability": finding.judgement.probability,
                "is_derived": finding.is_derived,
                "is_second_hand": finding.is_second_hand,
                "sheets": [
                    {"id": each, "edition": sheets.sheet(each).edition} for each in finding.sheets
                ],
                "note": finding.note,
            }
            for finding in findings
        ],
    }
