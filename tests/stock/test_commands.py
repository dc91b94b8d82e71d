"""`gauge` and `rejudge` from the command line."""

import json
import subprocess
import sys

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from inventory.stock.models import HouseLimit, Verdict
from tests.factories import make_vehicle, measure


def gauge(capsys, *args: str) -> tuple[int, str]:
    """Exit status and what was printed."""
    try:
        call_command("gauge", *args)
        status = 0
    except SystemExit as stop:
        status = int(stop.code)
    except CommandError as error:
        return error.returncode, str(error)
    return status, capsys.readouterr().out


@pytest.mark.parametrize(
    ("readings", "status"),
    [
        # S-4.2 HO: at least .566 in; at most .605 in less the .030 in flange of code 110.
        (["back_to_back=.566in", "--simple"], 0),
        (["back_to_back=.5659in", "--simple"], 1),
        (["back_to_back=.575in", "--simple"], 0),
        (["back_to_back=.5751in", "--simple"], 1),
        (["back_to_back=14.40"], 3),  # a caliper cannot be 95 % sure so close to the limit
        (["body_length=140"], 4),
        (["back_to_back=go"], 0),
        (["back_to_back=too small"], 1),
    ],
)
def test_gauge_exit_status_tells_the_verdict(capsys, readings, status):
    assert gauge(capsys, *readings, "--code", "110")[0] == status


def test_gauge_says_value_limits_source_and_what_to_mend(capsys):
    status, said = gauge(capsys, "back_to_back@2=14.22 14.23 14.22", "--code", "110")
    assert status == 1
    assert "Back-to-back, axle 2: outside; 14.223 mm" in said
    assert "at least 14.3764 mm (S-4.2 HO: least 0.566 in)" in said
    assert "Spread the wheels on axle 2 by 0.16 to 0.38 mm" in said
    assert "Never lever against the flange" in said


def test_gauge_as_json_gives_exact_numbers_as_text(capsys):
    status, said = gauge(capsys, "back_to_back=.566in", "--code", "110", "--simple", "--json")
    document = json.loads(said)
    assert document["standard"] == "nmra/HO"
    finding = document["findings"][0]
    assert (finding["value"], finding["low"], finding["outcome"]) == (
        "14.3764",
        "14.3764",
        "within",
    )
    assert finding["sheets"][0]["id"] == "nmra-s-4.2"
    assert status == 0


def test_gauge_judges_mass_by_the_length_given_beside_it(capsys):
    # NEM 302: H0 at least .4 g a mm, so 40 g for 100 mm over buffers.
    args = ["--standard", "nem/H0", "--simple", "length_over_buffers=100"]
    assert gauge(capsys, *args, "mass=40")[0] == 0
    assert gauge(capsys, *args, "mass=39.9")[0] == 1
    assert gauge(capsys, *args, "mass=39.9", "--locomotive")[0] == 4


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ([], "Nothing to judge"),
        (["back_to_back"], "has no reading"),
        (["wheelbase=3"], "is no quantity"),
        (["wheel_check=15"], "is no quantity"),
        (["back_to_back=narrow"], "is not a unit known here"),
        (["back_to_back@C=14.4"], "an axle, as @2"),
        (["coupler_height@3=9.9"], "an end, @A or @B"),
        (["mass@1=100"], "no place"),
        (["back_to_back=14.4", "--standard", "nmra/XX"], "--list names them"),
        (["mass=100", "--scale-step", "fine"], "--scale-step"),
    ],
)
def test_gauge_refuses_in_words_with_status_two(capsys, args, message):
    with pytest.raises(CommandError, match=message) as refused:
        call_command("gauge", *args)
    assert refused.value.returncode == 2


def test_gauge_needs_no_database(tmp_path):
    """No database fixture here, and in a process of its own no file appears either."""
    done = subprocess.run(
        [sys.executable, "manage.py", "gauge", "back_to_back=14.47", "--code", "110"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=_environment(tmp_path),
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "within" in done.stdout
    assert not (tmp_path / "record.sqlite3").exists()


def _environment(folder) -> dict[str, str]:
    import os

    return {**os.environ, "CARKNOCKER_DATA": str(folder), "PYTHONIOENCODING": "utf-8"}


@pytest.mark.django_db
def test_rejudge_finds_nothing_when_nothing_changed(capsys, owner):
    measure(make_vehicle(owner), owner, {("back_to_back", "1"): "14.47"})
    call_command("rejudge", "--check")
    assert "0 verdicts would change" in capsys.readouterr().out


@pytest.mark.django_db
def test_rejudge_check_tells_and_writes_nothing_then_rejudge_writes(capsys, owner):
    measure(make_vehicle(owner), owner, {("back_to_back", "1"): "14.47"})
    # Put in behind the writer's back, as an older program with other sheets would have left it.
    HouseLimit.objects.create(
        quantity="back_to_back", family="nmra", scale="HO", low="14.6", reason="wide track"
    )
    with pytest.raises(SystemExit) as stop:
        call_command("rejudge", "--check")
    assert stop.value.code == 1
    said = capsys.readouterr().out
    assert "BRV 88: Back-to-back, axle 1: within → outside" in said
    assert Verdict.objects.current().get(quantity="back_to_back").outcome == "within"
    call_command("rejudge")
    assert "1 verdicts changed" in capsys.readouterr().out
    current = Verdict.objects.current().get(quantity="back_to_back")
    assert (current.outcome, current.cause) == ("outside", "rejudged")
    assert Verdict.objects.filter(is_current=False, outcome="within").exists()
