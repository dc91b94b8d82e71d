"""Where an uploaded list lies between two pages: a folder of a random name, its owner's alone,
for a day. And which headings a person has met before, with what they were said to mean."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

from inventory.ledger.lists.cells import Day, Fault, Number, key
from inventory.ledger.lists.files import Choice, Listed, ListRefused, read_list
from inventory.ledger.lists.workbooks import Row, SheetName

KEPT_SECONDS = 24 * 60 * 60
#: No list takes so long to write, on a slow machine either.
WRITING_SECONDS = 10 * 60
MOST_KNOWN = 30
MOST_OF_ONE_PERSON = 10

_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
_MARKS = {Number: "n", Day: "d", Fault: "!"}
_KINDS = {mark: kind for kind, mark in _MARKS.items()}


@dataclass(frozen=True)
class Shelf:
    """The folder of all uploaded lists."""

    folder: Path

    def put(self, file: IO[bytes], name: str, owner: int) -> Kept:
        """Keep an uploaded file. Raises ListRefused for one that cannot be read, and OSError."""
        self.sweep()
        token = secrets.token_urlsafe(24)
        place = self.folder / token
        place.mkdir(parents=True, mode=0o700)
        kept = Kept(place)
        try:
            with (place / "file").open("wb") as copy:
                file.seek(0)
                shutil.copyfileobj(file, copy)
            kept.note(owner=owner, name=name[:200], at=time.time())
            kept.read(Choice())
        except BaseException:
            shutil.rmtree(place, ignore_errors=True)
            raise
        for old in self.of(owner)[MOST_OF_ONE_PERSON:]:
            old.discard()
        return kept

    def take(self, token: str, owner: int) -> Kept | None:
        """What a person put there, None if there is nothing of theirs."""
        if not _TOKEN.fullmatch(token):
            return None
        kept = Kept(self.folder / token)
        return kept if kept.is_of(owner) and not kept.is_old else None

    def of(self, owner: int) -> list[Kept]:
        """All that a person put there, the latest first."""
        if not self.folder.is_dir():
            return []
        found = [Kept(place) for place in self.folder.iterdir() if _TOKEN.fullmatch(place.name)]
        mine = [each for each in found if each.is_of(owner) and not each.is_old]
        return sorted(mine, key=lambda each: each.facts["at"], reverse=True)

    def sweep(self) -> None:
        """Take away what is older than a day."""
        if not self.folder.is_dir():
            return
        for place in self.folder.iterdir():
            if _TOKEN.fullmatch(place.name) and Kept(place).is_old:
                shutil.rmtree(place, ignore_errors=True)

    # Headings that were met before ------------------------------------------------------------

    def known_terms(self, headings: Sequence[str], owner: int) -> dict[str, Any] | None:
        """What these headings were said to mean, the last time."""
        return self._known(owner).get(_digest(headings))

    def remember(self, headings: Sequence[str], owner: int, terms: dict[str, Any]) -> None:
        """Keep what these headings mean, for the next file that has them."""
        known = self._known(owner)
        known.pop(_digest(headings), None)
        known[_digest(headings)] = terms
        while len(known) > MOST_KNOWN:
            known.pop(next(iter(known)))
        _write(self._known_file(owner), known)

    def _known_file(self, owner: int) -> Path:
        return self.folder / f"headings-of-{owner}.json"

    def _known(self, owner: int) -> dict[str, Any]:
        known = _read(self._known_file(owner))
        return known if isinstance(known, dict) else {}


@dataclass
class Kept:
    """One uploaded list: the file as it came, how it was read, its rows, what they would do."""

    place: Path

    @property
    def token(self) -> str:
        return self.place.name

    @property
    def facts(self) -> dict[str, Any]:
        found = _read(self.place / "facts.json")
        return found if isinstance(found, dict) else {}

    @property
    def name(self) -> str:
        return str(self.facts["name"])

    @property
    def is_old(self) -> bool:
        try:
            return time.time() - self.place.stat().st_mtime > KEPT_SECONDS
        except OSError:
            return True

    def is_of(self, owner: int) -> bool:
        return self.facts.get("owner") == owner

    def note(self, **facts: Any) -> None:
        _write(self.place / "facts.json", self.facts | facts)

    def discard(self) -> None:
        shutil.rmtree(self.place, ignore_errors=True)

    # Rows ------------------------------------------------------------

    def read(self, choice: Choice) -> Listed:
        """Read the file anew, and keep its rows. Raises ListRefused."""
        with (self.place / "file").open("rb") as file:
            listed = read_list(file, choice)
        if not listed.rows:
            raise ListRefused("There is nothing on that sheet: pick another.")
        rows = [
            [row.number, [_packed(cell) for cell in row.cells], row.is_hidden, list(row.covered)]
            for row in listed.rows
        ]
        _write(
            self.place / "rows.json",
            {
                "rows": rows,
                "sheets": [asdict(each) for each in listed.sheets],
                "sheet": listed.sheet,
                "encoding": listed.encoding,
                "delimiter": listed.delimiter,
                "is_1904": listed.is_1904,
            },
        )
        (self.place / "plan.jsonl").unlink(missing_ok=True)
        self.note(terms=None, counts=None)
        return listed

    def listed(self) -> Listed:
        """The rows as they were read."""
        kept = _read(self.place / "rows.json")
        rows = [
            Row(number, tuple(_unpacked(cell) for cell in cells), is_hidden, tuple(covered))
            for number, cells, is_hidden, covered in kept["rows"]
        ]
        return Listed(
            rows,
            tuple(SheetName(**each) for each in kept["sheets"]),
            kept["sheet"],
            kept["encoding"],
            kept["delimiter"],
            kept["is_1904"],
        )

    # What they would do ------------------------------------------------------------

    def keep_plan(self, planned: Iterable[tuple[dict[str, Any], str]]) -> dict[str, int]:
        """Keep what each row would do, with its digest; how many rows do what."""
        counts: dict[str, int] = {}
        aside = self.place / "plan.aside"
        with aside.open("w", encoding="utf-8") as file:
            for each, digest in planned:
                counts[each["deed"]] = counts.get(each["deed"], 0) + 1
                file.write(json.dumps([digest, each]) + "\n")
        aside.replace(self.place / "plan.jsonl")
        self.note(counts=counts)
        return counts

    def plan(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Each row's digest and what it would do."""
        with (self.place / "plan.jsonl").open(encoding="utf-8") as file:
            for line in file:
                digest, each = json.loads(line)
                yield digest, each

    @property
    def has_plan(self) -> bool:
        return (self.place / "plan.jsonl").exists()

    # Writing it, once ------------------------------------------------------------

    @property
    def is_being_written(self) -> bool:
        """Whether somebody is at writing it; an old claim was left by one who was broken off."""
        try:
            begun = (self.place / "writing").stat().st_mtime
        except OSError:
            return False
        return time.time() - begun < WRITING_SECONDS

    @contextmanager
    def claimed(self) -> Iterator[bool]:
        """Whether this is the one who may write the list: of several who come at the same moment,
        as a button pressed twice sends them, one is. Who was not let in finds nothing changed."""
        claim = self.place / "writing"
        try:
            # Only an old one is taken away: where there was none, one may be made this moment.
            if claim.exists() and not self.is_being_written:
                claim.unlink(missing_ok=True)
            os.close(os.open(claim, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        except OSError:  # another's claim, or the list is gone: written meanwhile
            yield False
            return
        try:
            yield True
        finally:
            with suppress(OSError):
                claim.unlink(missing_ok=True)


def _packed(cell: str) -> object:
    mark = _MARKS.get(type(cell))
    return [mark, str(cell)] if mark else cell


def _unpacked(cell: Any) -> str:
    return cell if isinstance(cell, str) else _KINDS[cell[0]](cell[1])


def _digest(headings: Sequence[str]) -> str:
    told = "\n".join(key(heading) for heading in headings)
    return hashlib.sha256(told.encode()).hexdigest()[:24]


def _read(path: Path) -> Any:
    with suppress(OSError, ValueError):
        return json.loads(path.read_text(encoding="utf-8"))
    return None


def _write(path: Path, facts: object) -> None:
    """Written aside and moved, so that a full disk leaves what was."""
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    try:
        aside.write_text(json.dumps(facts), encoding="utf-8")
        aside.replace(path)
    finally:
        aside.unlink(missing_ok=True)
