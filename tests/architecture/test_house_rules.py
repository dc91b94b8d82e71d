"""The rules of the house that no reader of one file can see: who may know whom, and tidiness."""

import ast
import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import call_command

HOME = Path(__file__).resolve().parents[2]

# From the bottom up: each may look at those before it.
LAYERS = (
    "standards",
    "drawing",
    "people",
    "sheets",
    "stock",
    "track",
    "trackwork",
    "trouble",
    "bench",
    "ledger",
    "paper",
    "reader",
)

AT_THE_TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "manage.py",
    "requirements.txt",
    "pyproject.toml",
    "inventory",
    "standards",
    "tests",
    "fixtures",
}


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """A program of this Python, run in the project's folder; its words come back together."""
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=HOME,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONUTF8": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )


def sources(*folders: str) -> list[Path]:
    return [path for folder in folders for path in sorted((HOME / folder).rglob("*.py"))]


def imported_by(path: Path) -> set[str]:
    """The top-level names of everything that a file imports, wherever in it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names.add((node.module or "").split(".")[0])
    return names


# --- Who may know whom ------------------------------------------------------------------------


def test_standards_when_all_of_it_is_imported_then_no_web_framework_comes_along() -> None:
    found = run(
        "-c",
        "import importlib, pkgutil, sys, standards\n"
        "for each in pkgutil.walk_packages(standards.__path__, 'standards.'):\n"
        "    importlib.import_module(each.name)\n"
        "print(*sorted(sys.modules))",
    )
    assert found.returncode == 0, found.stdout
    loaded = found.stdout.split()
    roots = {name.split(".")[0] for name in loaded}

    assert {"standards.units", "standards.judging", "standards.sheets"} <= set(loaded)
    assert roots & {"django", "inventory", "django_htmx", "django_tables2"} == set()


def test_pint_when_looked_for_then_only_units_knows_it() -> None:
    knowing = [path for path in sources("standards", "inventory") if "pint" in imported_by(path)]

    assert knowing == [HOME / "standards" / "units.py"]


def test_standards_when_read_then_import_neither_the_framework_nor_the_inventory() -> None:
    files = sources("standards")

    assert len(files) >= 9
    for path in files:
        assert imported_by(path) & {"django", "inventory"} == set(), path.name


def layer_of(module: str) -> int | None:
    """How high a module of ours stands, None for one that is not ours."""
    parts = module.split(".")
    name = parts[1] if parts[0] == "inventory" and len(parts) > 1 else parts[0]
    return (
        LAYERS.index(name) if name in LAYERS and parts[0] in ("inventory", "standards") else None
    )


def test_foreign_keys_when_followed_then_never_point_up() -> None:
    followed = []
    for model in apps.get_models(include_auto_created=True):
        here = layer_of(model.__module__)
        if here is None:
            continue
        for field in model._meta.get_fields():
            if not field.is_relation or field.auto_created or field.related_model is None:
                continue
            there = layer_of(field.related_model.__module__)
            if there is not None:
                followed.append((here, there))
                assert there <= here, f"{model.__name__}.{field.name} points up"

    stock, people = LAYERS.index("stock"), LAYERS.index("people")
    assert {(stock, stock), (stock, people)} <= set(followed)


def test_apps_of_ours_when_installed_then_each_has_its_layer() -> None:
    ours = [config.name for config in apps.get_app_configs() if config.name[:10] == "inventory."]

    assert len(ours) >= 5
    assert [name for name in ours if layer_of(name) is None] == []


def test_import_contracts_when_checked_then_are_kept() -> None:
    found = run(
        "-c",
        "from importlinter.cli import lint_imports\nraise SystemExit(lint_imports(no_cache=True))",
    )

    assert found.returncode == 0, found.stdout
    kept = re.search(r"Contracts: (\d+) kept, 0 broken", found.stdout)
    assert kept is not None, found.stdout
    assert int(kept[1]) >= 2


# --- Tidiness ---------------------------------------------------------------------------------


@pytest.mark.django_db
def test_models_when_compared_with_the_migrations_then_nothing_is_left_to_write() -> None:
    try:
        call_command("makemigrations", check=True, dry_run=True, verbosity=0)
    except SystemExit:
        pytest.fail("A model changed without its migration: run manage.py makemigrations.")


#: Migrations that records out there have been through, and how they begin to be hashed. A new one
#: is added here with its version; none is ever edited, or an older record could not be opened.
RELEASED = {
    "inventory/people/migrations/0001_initial.py": "310288b1e1e2f694",
    "inventory/people/migrations/0002_sign_in_links_and_devices.py": "41da047a8d87e009",
    "inventory/reader/migrations/0001_reading_token.py": "b43ed72474c27854",
    "inventory/stock/migrations/0001_initial.py": "902bd142c83f12a2",
    "inventory/stock/migrations/0002_usual_instruments.py": "ceb115cdd33298da",
    "inventory/stock/migrations/0003_radius_and_shared_shape.py": "1d30fc4f21efe66a",
    "inventory/stock/migrations/0004_held_because.py": "3d9e12f581b07609",
    "inventory/stock/migrations/0005_visitor.py": "13aa093603a1d948",
    "inventory/stock/migrations/0006_the_record.py": "f32923eb8a3fc08b",
    "inventory/stock/migrations/0007_photos.py": "38455423afec4f76",
    "inventory/stock/migrations/0008_search_and_order.py": "ca520f88478ddc31",
    "inventory/stock/migrations/0009_list_indexes.py": "592b2d21addc427c",
    "inventory/stock/migrations/0010_widest_body.py": "f59f003f774ff960",
    "inventory/track/migrations/0001_initial.py": "f0069eb04cd483cf",
    "inventory/track/migrations/0002_held_because.py": "7307bf34eef453af",
    "inventory/trackwork/migrations/0001_initial.py": "b9363ecec52b929c",
    "inventory/trackwork/migrations/0002_photos.py": "b5cb5871397b5a32",
    "inventory/trouble/migrations/0001_initial.py": "02313342dbe4b5cf",
    "inventory/trouble/migrations/0002_holds_of_bad_orders.py": "a536d185bb597ee5",
    "inventory/trouble/migrations/0003_photo.py": "875107a7444d9c6c",
    "inventory/trouble/migrations/0004_photos.py": "72216d896670b518",
    "inventory/trouble/migrations/0005_lists.py": "27e08c0c6f89aa1a",
}


@pytest.mark.parametrize(("path", "digest"), RELEASED.items())
def test_migration_when_released_then_is_never_edited(path, digest) -> None:
    text = (HOME / path).read_text(encoding="utf-8")

    assert hashlib.sha256(text.encode()).hexdigest().startswith(digest)


def test_types_of_the_standards_when_checked_strictly_then_are_clean() -> None:
    found = run("-m", "mypy", "--strict", "standards")

    assert found.returncode == 0, found.stdout


def test_code_when_linted_then_is_clean() -> None:
    found = run("-m", "ruff", "check", ".")

    assert found.returncode == 0, found.stdout


def test_code_when_formatted_then_is_left_as_it_was() -> None:
    found = run("-m", "ruff", "format", "--check", ".")

    assert found.returncode == 0, found.stdout


def tracked() -> list[str]:
    """The files that git keeps, with slashes; skips the test where there is no git to ask."""
    git = shutil.which("git")
    if git is None or not (HOME / ".git").exists():
        pytest.skip("needs git and a checkout")
    found = subprocess.run(
        [git, "ls-files", "-z"], cwd=HOME, capture_output=True, encoding="utf-8", check=False
    )
    if found.returncode != 0:
        pytest.skip("git does not want to read this folder")
    return [name for name in found.stdout.split("\0") if name]


def test_top_folder_when_listed_then_holds_only_what_belongs_there() -> None:
    top = {name.split("/")[0] for name in tracked()}

    assert {"inventory", "standards", "tests", "manage.py"} <= top
    assert {name for name in top if not name.startswith(".")} - AT_THE_TOP == set()


def test_test_files_when_named_then_no_two_share_a_name() -> None:
    """Test folders are no packages, so pytest would take the second for the first."""
    names = [path.name for path in (HOME / "tests").rglob("test_*.py")]

    assert len(names) == len(set(names))
    assert list((HOME / "tests").rglob("__init__.py")) == []
