"""What bandit, which knows the usual mistakes in Python, finds in the program: nothing heavy."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
LOOKED_THROUGH = ("inventory", "standards", "manage.py")


def test_code_when_scanned_then_has_no_medium_or_high_finding():
    done = subprocess.run(
        [sys.executable, "-m", "bandit", "-q", "-r", "-f", "json", *LOOKED_THROUGH],
        cwd=HOME,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert "internal error" not in done.stderr
    report = json.loads(done.stdout)
    heavy = [
        f"{each['filename']}:{each['line_number']} {each['test_id']} {each['issue_text']}"
        for each in report["results"]
        if each["issue_severity"] in ("MEDIUM", "HIGH")
    ]
    assert report["errors"] == []
    assert report["metrics"]["_totals"]["loc"] > 20_000  # it did look
    assert heavy == []


def test_every_finding_that_is_passed_over_is_named_with_its_reason_before_it():
    """Few, so that each stays a thing somebody thought about."""
    found = []
    for each in LOOKED_THROUGH:
        home = HOME / each
        for path in sorted(home.rglob("*.py")) if home.is_dir() else [home]:
            lines = path.read_text(encoding="utf-8").splitlines()
            found += [
                (lines[at - 1], lines[at]) for at in range(len(lines)) if "nosec" in lines[at]
            ]
    for before, line in found:
        assert re.search(r"# nosec( B\d{3})+$", line), line
        assert re.match(r"\s*# \w+ \w+", before), line
    assert len(found) <= 5
