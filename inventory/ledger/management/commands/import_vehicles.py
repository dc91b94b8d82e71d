"""Bring a list of vehicles into the record, or say what it would do."""

from __future__ import annotations

from argparse import ArgumentParser
from collections import Counter
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.ledger.lists import columns
from inventory.ledger.lists.cells import shown
from inventory.ledger.lists.files import DELIMITERS, Choice, ListRefused, read_list
from inventory.ledger.lists.incoming import (
    CONSTANTS,
    Incoming,
    RowsRefused,
    Terms,
    headings_of,
)
from inventory.people.models import Person


class Command(BaseCommand):
    help = (
        "Bring a CSV file or xlsx workbook of vehicles into the record: all of it or nothing. "
        "Columns are known by their headings; those that are not known are left out and named."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="only say what it would do")
        parser.add_argument("--sheet", type=int, help="the sheet of a workbook, from 1")
        parser.add_argument("--encoding", default="", help="of a CSV file, such as cp1252")
        parser.add_argument("--standard", default="", help="what the list lacks, as nmra/HO")
        parser.add_argument("--days", choices=["day", "month"], default="", help="first in 3/5/24")
        for code in CONSTANTS:
            name = f"--{code.replace('_', '-')}"
            parser.add_argument(name, default="", help="of new vehicles, where the list lacks it")
        parser.add_argument("--empty", action="store_true", help="empty cells empty the fact")
        parser.add_argument(
            "--others", action="store_true", help="rows lettered alike are different vehicles"
        )
        parser.add_argument(
            "--leave-errors-out", action="store_true", help="rows with errors stop nothing"
        )
        parser.add_argument("--by", default="owner", help="who is noted; default: owner")

    def handle(self, *args, **options) -> None:
        by = Person.objects.filter(username=options["by"], is_active=True).first()
        if by is None or not by.may_write:
            raise CommandError(
                f"--by {options['by']}: nobody of that name may write. Name an owner or inspector."
            )
        incoming = self._incoming(options, by)
        counts: Counter[str] = Counter()
        for each in incoming.plan():
            counts[each.deed] += 1
            name = shown(each.name)
            for words in each.problems:
                self.stderr.write(f"row {each.number}, {name}: {words}")
            if each.deed == "changed":
                for label, before, after in each.differences:
                    told = f"{shown(before) or 'nothing'} -> {shown(after) or 'nothing'}"
                    self.stdout.write(f"row {each.number}, {name}: {label}: {told}")
            elif each.deed == "new":
                self.stdout.write(f"row {each.number}, {name}: new")
        said = ", ".join(f"{number} {deed}" for deed, number in counts.items())
        if options["check"]:
            self.stdout.write(f"It would be: {said}. Nothing was written.")
            if counts["error"]:
                raise CommandError(f"{counts['error']} rows have errors.")
            return
        try:
            done = incoming.carry_out(by=by, leaves_errors_out=options["leave_errors_out"])
        except RowsRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(
            f"{done.new} new, {done.changed} changed, {done.same} as they were, "
            f"{done.left_out} left out."
        )

    def _incoming(self, options: dict, by: Person) -> Incoming:
        sheet = options["sheet"]
        if sheet is not None and sheet < 1:
            raise CommandError(f"--sheet {sheet}: the first sheet is 1.")
        choice = Choice(None if sheet is None else sheet - 1, options["encoding"])
        try:
            with options["file"].open("rb") as file:
                listed = read_list(file, choice)
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error}.") from error
        except ListRefused as refused:
            raise CommandError(f"{options['file']}: {refused}") from refused
        if listed.delimiter:
            self.stdout.write(f"Read as {listed.encoding}, {DELIMITERS[listed.delimiter]}.")
        at = columns.heading_row([row.cells for row in listed.rows[:60]])
        if at is None:
            raise CommandError(
                "No row of headings was found: write them over the list, such as Marks, Number, "
                "Kind. The page Import asks what each column is."
            )
        headings = headings_of(listed.rows, at, len(listed.rows[at].cells))
        codes = columns.guess(headings)
        left = [
            heading
            for heading, code in zip(headings, codes, strict=True)
            if not code and heading.strip() and not columns.is_for_reading(heading)
        ]
        if left:
            self.stdout.write(f"Columns left out: {', '.join(shown(each) for each in left)}.")
        constants = {code: options[code] for code in CONSTANTS if options[code]}
        terms = Terms(
            at,
            tuple(codes),
            options["standard"],
            constants,
            options["days"],
            options["empty"],
            options["others"],
        )
        incoming = Incoming(
            listed.rows,
            terms,
            unit=by.unit,
            today=timezone.localdate(),
            is_1904=listed.is_1904,
        )
        problems = incoming.missing() + [each for each in [incoming.check_constants()] if each]
        if asked := incoming.question():
            problems.append(f"“{asked}” may be read in two ways: say --days day or --days month.")
        if problems:
            raise CommandError(" ".join(problems))
        return incoming
