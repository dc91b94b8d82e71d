"""Several processes may serve one record, so none keeps anything to itself.

What is in memory follows from the published tables or from the arguments alone, or is made anew
for each request.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parents[2]
FILES = sorted(path for room in ("inventory", "standards") for path in (HOME / room).rglob("*.py"))
EMPTY = {"dict", "list", "set", "defaultdict", "Counter", "deque", "OrderedDict", "local"}
REMEMBERING = {"cache", "lru_cache"}
RECORD = ("django.db", "inventory.stock.models", "inventory.people.models", "django.conf")


def trees() -> list[tuple[str, ast.Module]]:
    return [
        (path.relative_to(HOME).as_posix(), ast.parse(path.read_text(encoding="utf-8")))
        for path in FILES
    ]


def _name(node: ast.expr) -> str:
    node = node.func if isinstance(node, ast.Call) else node
    return getattr(node, "attr", None) or getattr(node, "id", "")


def _imports(tree: ast.Module) -> set[str]:
    return {
        module
        for node in ast.walk(tree)
        for module in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else []
        )
    }


def remembering(tree: ast.Module) -> list[str]:
    return [
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and any(_name(each) in REMEMBERING for each in node.decorator_list)
    ]


def kept_by_a_module(tree: ast.Module) -> list[str]:
    """Names that a module has empty, so that it can only want to fill them later."""
    found = []
    for node in tree.body:
        value = getattr(node, "value", None)
        if not isinstance(node, ast.Assign | ast.AnnAssign) or value is None:
            continue
        is_empty = (isinstance(value, ast.List | ast.Dict) and not ast.unparse(value)[1:-1]) or (
            isinstance(value, ast.Call) and not value.args and _name(value) in EMPTY
        )
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        if is_empty and ast.unparse(target) != "urlpatterns":
            found.append(ast.unparse(target))
    return found


def test_nothing_is_assigned_to_a_module_while_serving():
    found = [
        f"{name}:{node.lineno}"
        for name, tree in trees()
        for node in ast.walk(tree)
        if isinstance(node, ast.Global)
    ]
    assert found == []


def test_no_module_keeps_an_empty_container_to_fill():
    assert [(name, kept) for name, tree in trees() if (kept := kept_by_a_module(tree))] == []


def test_what_is_remembered_knows_nothing_of_the_record():
    found = {name: tree for name, tree in trees() if remembering(tree)}
    assert "standards/sheets.py" in found
    for name, tree in found.items():
        knows = [each for each in _imports(tree) if each.startswith(RECORD)]
        assert knows == [], f"{name}: {remembering(tree)}"


def test_no_cache_of_the_framework_is_used():
    assert [name for name, tree in trees() if "django.core.cache" in _imports(tree)] == []


@pytest.mark.parametrize(
    "code",
    ["_seen = {}", "SEEN: dict[int, str] = {}", "x = []", "y = defaultdict(list) if 0 else set()"],
)
def test_these_checks_see_what_they_look_for(code):
    expected = [] if "if 0" in code else [code.split(":")[0].split(" ")[0]]
    assert kept_by_a_module(ast.parse(code)) == expected
