"""The whole record in one file, and back again.

The file is a zip of the database, copied by the engine's own online backup while people go on
writing, and a manifest. Its last 64 characters are the SHA-256 of all before them, so that any
bit that was flipped since is found. Nothing here knows Django; the commands bring the paths.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

FORMAT = 1
_DATABASE, _MANIFEST = "record.sqlite3", "manifest.json"
_DIGITS = 64
_PIECE = 1 << 20
#: Files of backups begin with this, and nothing else in their folder does.
PREFIX = "carknocker-"
_STAMP = "%Y%m%d-%H%M%S"
_ASIDE = "unfinished-"


class BackupRefused(Exception):
    """A backup that cannot be made or must not be restored; says why and what to do, in words."""


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself. migrations: the changes of the tables that it holds."""

    made_at: str
    migrations: tuple[str, ...]
    size: int
    sha256: str


def back_up(database: Path, folder: Path, moment: datetime, name: str = "") -> Path:
    """Copy a record into one file of a folder, and give its path.

    None is ever written over. It is written aside and moved, so that a crash or a full disk leaves
    no half a backup under the name of a whole one. Raises BackupRefused where there is no record,
    or no room or right to write.
    """
    if not database.exists():
        raise BackupRefused(f"{database} is not there, so that there is nothing to back up.")
    target = _free(folder, name, moment)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=_ASIDE) as aside:
            copy, whole = Path(aside) / _DATABASE, Path(aside) / "whole.zip"
            _copy(database, copy)
            _pack(copy, whole, moment)
            whole.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise BackupRefused(
            f"The backup could not be written to {folder}: {error}. Make room or name another "
            "folder; the record itself is untouched."
        ) from error
    return target


def _free(folder: Path, name: str, moment: datetime) -> Path:
    """A file that is not there yet, named for the moment or, where others were made within the
    same second, for the next free one."""
    while (target := folder / f"{PREFIX}{name}{moment:{_STAMP}}.zip").exists():
        moment += timedelta(seconds=1)
    return target


def _copy(source: Path, target: Path) -> None:
    with (
        closing(sqlite3.connect(f"{source.as_uri()}?mode=ro", uri=True, timeout=20)) as one,
        closing(sqlite3.connect(target)) as other,
    ):
        one.backup(other)


def _pack(copy: Path, whole: Path, moment: datetime) -> None:
    manifest = {
        "format": FORMAT,
        "made_at": moment.isoformat(timespec="seconds"),
        "migrations": sorted(_migrations(copy)),
        "size": copy.stat().st_size,
        "sha256": _digest(copy),
    }
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(copy, _DATABASE)
        packed.writestr(_MANIFEST, json.dumps(manifest, indent=1))
        packed.comment = b"0" * _DIGITS
    seal = _digest(whole, leaving_out=_DIGITS)
    with whole.open("r+b") as file:
        file.seek(-_DIGITS, os.SEEK_END)
        file.write(seal.encode())
        file.flush()
        os.fsync(file.fileno())


def _migrations(database: Path) -> set[str]:
    with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as opened:
        rows = opened.execute("SELECT app, name FROM django_migrations").fetchall()
    return {f"{app}.{name}" for app, name in rows}


def _digest(path: Path, leaving_out: int = 0) -> str:
    """The SHA-256 of a file, without so many bytes at its end."""
    found, left = hashlib.sha256(), path.stat().st_size - leaving_out
    with path.open("rb") as file:
        while left > 0 and (piece := file.read(min(_PIECE, left))):
            found.update(piece)
            left -= len(piece)
    return found.hexdigest()


# --- Back again -------------------------------------------------------------------------------


def check(file: Path, known_migrations: Collection[str]) -> Manifest:
    """What a backup says of itself, once every bit of it was found as it was written.

    known_migrations: the changes of the tables that this version knows. Raises BackupRefused for
    a file that is no backup, is damaged, or was made by a newer version.
    """
    if not file.is_file():
        raise BackupRefused(f"{file} is not there; name a file that a backup made.")
    try:
        with file.open("rb") as opened:
            opened.seek(-min(_DIGITS, file.stat().st_size), os.SEEK_END)
            seal = opened.read()
        if seal != _digest(file, leaving_out=_DIGITS).encode():
            raise BackupRefused(
                f"{file} is no backup of Carknocker, or it was damaged since: its checksum does "
                "not agree. Nothing was touched; take another backup."
            )
        with zipfile.ZipFile(file) as packed:
            raw = json.loads(packed.read(_MANIFEST))
    except (OSError, zipfile.BadZipFile, KeyError, ValueError) as error:
        raise BackupRefused(f"{file} cannot be read as a backup: {error}.") from error
    if raw["format"] > FORMAT:
        raise BackupRefused(f"{file} was made by a newer Carknocker; restore it with that one.")
    unknown = sorted(set(raw["migrations"]) - set(known_migrations))
    if unknown:
        raise BackupRefused(
            f"{file} was made by a newer Carknocker: it holds {unknown[0]}, which this one does "
            "not know. Update first, then restore."
        )
    return Manifest(raw["made_at"], tuple(raw["migrations"]), raw["size"], raw["sha256"])


def restore(
    file: Path,
    database: Path,
    folder: Path | None,
    moment: datetime,
    known_migrations: Collection[str],
) -> Path | None:
    """Put a backup in the place of the record, and give the backup of what was replaced.

    folder: where what is replaced is backed up first; None replaces it without.
    Everything is checked before anything is touched. It is then
    overwritten through the engine in one transaction: killed halfway, the old one stands.

    Raises BackupRefused as `check` and `back_up` do; nothing is touched then.
    """
    manifest = check(file, known_migrations)
    database.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=database.parent, prefix="unpacked-") as aside:
        copy = Path(aside) / _DATABASE
        with zipfile.ZipFile(file) as packed, packed.open(_DATABASE) as stored:
            _unpack(stored, copy, manifest.size)
        if _digest(copy) != manifest.sha256:
            raise BackupRefused(f"{file} is damaged inside: its database is not what was kept.")
        with closing(sqlite3.connect(copy)) as opened:
            said = opened.execute("PRAGMA integrity_check").fetchone()[0]
        if said != "ok":
            raise BackupRefused(f"{file} holds a damaged database: {said}.")
        replaced = None
        if folder is not None and database.exists():
            replaced = back_up(database, folder, moment, "replaced-")
        try:
            with (
                closing(sqlite3.connect(copy)) as one,
                closing(sqlite3.connect(database, timeout=20)) as other,
            ):
                one.backup(other)
        except sqlite3.Error as error:
            raise BackupRefused(
                f"The record could not be overwritten: {error}. It stands as it was; stop the "
                "server and try again."
            ) from error
    return replaced


def _unpack(stored, copy: Path, size: int) -> None:
    """Never more than the manifest says, so that no bomb fills the disk."""
    left = size
    with copy.open("wb") as file:
        while left > 0 and (piece := stored.read(min(_PIECE, left))):
            file.write(piece)
            left -= len(piece)


# --- The folder of backups --------------------------------------------------------------------


def dated(folder: Path) -> list[Path]:
    """The backups of a folder that were made day by day or by hand, oldest first."""
    return sorted(folder.glob(f"{PREFIX}[0-9]*.zip"))


def moment_of(file: Path, now: datetime) -> datetime:
    """When a backup was made, by its name; long ago where somebody named it otherwise."""
    stamp = "-".join(file.stem.split("-")[-2:])
    try:
        made = datetime.strptime(stamp, _STAMP)  # noqa: DTZ007 - the name is in the house's time
    except ValueError:
        made = datetime(1970, 1, 2)  # noqa: DTZ001 - likewise
    return made.replace(tzinfo=now.tzinfo)


def thin_out(folder: Path, kept: int, sparing: Path | None = None) -> list[Path]:
    """Remove the oldest backups of a folder beyond those to keep, and give what was removed.

    sparing: the one just made, which stays even if the clock was set back before it.
    What a restore or an upgrade replaced is never removed by itself.
    """
    others = [each for each in dated(folder) if each != sparing]
    gone = others[: max(0, len(others) + (sparing is not None) - kept)]
    for each in gone:
        each.unlink()
    return gone


def sweep(folder: Path, now: datetime) -> None:
    """Remove what backups that were broken off left behind, once it is a day old."""
    for aside in folder.glob(f"{_ASIDE}*"):
        if now.timestamp() - aside.stat().st_mtime > 24 * 60 * 60:
            shutil.rmtree(aside, ignore_errors=True)
