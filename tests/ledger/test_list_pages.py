"""The pages by which lists come in and go out."""

from __future__ import annotations

import csv
import io
import os
import re
import time

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.ledger.lists.shelf import Shelf
from inventory.ledger.lists.views import shelf
from inventory.people.models import Person
from inventory.stock.models import Change, Vehicle
from inventory.stock.recording import Departure, amend_vehicle, retire
from tests.factories import make_person, make_vehicle

LIST = """Marks;Number;Kind;Category;Price;Currency;Acquired
BRV;101;boxcar;freight;24,50;EUR;05.03.2024
BRV;102;hopper;freight;12,5o;EUR;06.03.2024
BRV;103;tank car;freight;;;
"""


@pytest.fixture(autouse=True)
def data(tmp_path, settings):
    settings.DATA = tmp_path
    return tmp_path


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def upload(client, text: str | bytes, name: str = "list.csv", **more):
    raw = text.encode() if isinstance(text, str) else text
    file = SimpleUploadedFile(name, raw)
    return client.post(reverse("ledger:import"), {"file": file, "whole": "yes", **more})


def say(client, at: str, **told):
    """Answer the page of columns as it is filled in, but for what is told."""
    form = client.get(at).context["form"]
    answers = {field.html_name: field.value() or "" for field in form if field.value()}
    answers.pop("empties", None), answers.pop("are_others", None)
    return client.post(at, {**answers, "standard": "nmra/HO", **told})


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


def test_import_when_a_cell_is_wrong_then_says_row_column_and_remedy_and_writes_nothing(signed_in):
    answer = upload(signed_in, LIST)
    assert answer.status_code == 302
    answer = say(signed_in, answer.url)
    page = words(signed_in.get(answer.url))

    assert "row 3" in page
    assert "column E (Price): “12,5o” is no amount; type one such as 24.50." in page
    assert "Import: 2 new" in page
    refused = signed_in.post(f"{answer.url}do/")
    assert refused.status_code == 422
    assert "Nothing was written: there are errors in row 3." in words(refused)
    assert Vehicle.objects.count() == 0


def test_import_when_mended_then_headings_are_remembered_and_all_is_kept(signed_in, owner):
    say(signed_in, upload(signed_in, LIST).url)
    answer = upload(signed_in, LIST.replace("12,5o", "12,50"))

    assert answer.url.endswith("/") and "columns" not in answer.url  # nothing is asked again
    answer = signed_in.post(f"{answer.url}do/", follow=True)
    assert "list.csv: 3 new." in words(answer)
    prices = dict(Vehicle.objects.values_list("number", "price"))
    assert {number: str(price) for number, price in prices.items()} == {
        "101": "24.50",
        "102": "12.50",
        "103": "None",
    }
    first = Vehicle.objects.get(number="101")
    assert (str(first.acquired_on), first.logged_by, first.service) == (
        "2024-03-05",
        owner,
        "awaiting inspection",
    )
    assert [each.axle for each in first.wheelsets.all()] == [1, 2, 3, 4]
    assert [each.end for each in first.couplers.all()] == ["A", "B"]


def test_import_when_errors_are_left_out_then_the_others_are_kept(signed_in):
    at = say(signed_in, upload(signed_in, LIST).url).url

    answer = signed_in.post(f"{at}do/", {"without_errors": "on"}, follow=True)

    assert "2 new, 1 left out." in words(answer)
    assert sorted(Vehicle.objects.values_list("number", flat=True)) == ["101", "103"]


def test_import_when_again_then_shows_old_and_new_and_touches_nothing_else(signed_in, owner):
    text = LIST.replace("12,5o", "12,50")
    at = say(signed_in, upload(signed_in, text).url).url
    signed_in.post(f"{at}do/")
    kept = Vehicle.objects.get(number="102")
    kept.notes, kept.storage_box = "Mine.", "Box 7"
    amend_vehicle(vehicle=kept, seen_revision=kept.revision, by=owner)

    same = upload(signed_in, text)
    assert "Nothing differs." in words(signed_in.get(same.url))

    answer = upload(signed_in, text.replace("hopper", "ore car"))
    page = words(signed_in.get(f"{answer.url}?show=changed"))
    assert "<del><bdi>hopper</bdi></del> → <ins><bdi>ore car</bdi></ins>" in page
    signed_in.post(f"{answer.url}do/")

    kept.refresh_from_db()
    assert (kept.kind, kept.notes, kept.storage_box, kept.revision) == (
        "ore car",
        "Mine.",
        "Box 7",
        3,
    )
    change = Change.objects.get(vehicle=kept, what="kind")
    assert (change.before, change.after, change.by) == ("hopper", "ore car", owner)


def test_import_when_the_record_changed_since_then_is_refused_and_shown_again(signed_in, owner):
    made = make_vehicle(owner, number="101", kind="boxcar")
    at = say(
        signed_in, upload(signed_in, "Marks,Number,Kind\nBRV,101,hopper\n").url, category="freight"
    ).url
    made.kind = "gondola"
    amend_vehicle(vehicle=made, seen_revision=1, by=owner)

    answer = signed_in.post(f"{at}do/")

    assert answer.status_code == 409
    assert "row 2 would do something else now. Nothing was written" in words(answer)
    assert "gondola" in words(answer)
    made.refresh_from_db()
    assert made.kind == "gondola"
    assert signed_in.post(f"{at}do/").status_code == 302  # what is shown now is done


def test_import_when_the_change_since_does_not_matter_then_goes_through(signed_in, owner):
    made = make_vehicle(owner, number="101", kind="boxcar")
    at = say(
        signed_in, upload(signed_in, "Marks,Number,Kind\nBRV,101,hopper\n").url, category="freight"
    ).url
    made.notes = "Something else."
    amend_vehicle(vehicle=made, seen_revision=1, by=owner)

    assert signed_in.post(f"{at}do/").status_code == 302
    made.refresh_from_db()
    assert (made.kind, made.notes, made.revision) == ("hopper", "Something else.", 3)


def test_import_when_posted_twice_then_is_done_once(signed_in):
    at = say(signed_in, upload(signed_in, LIST.replace("12,5o", "1")).url).url
    signed_in.post(f"{at}do/")

    answer = signed_in.post(f"{at}do/", follow=True)

    assert "That list is not here any more" in words(answer)
    assert Vehicle.objects.count() == 3


def test_import_when_pressed_again_while_it_is_written_then_only_one_writes(signed_in, owner):
    # Each row is another vehicle, so that writing the list twice would double the stock.
    at = say(signed_in, upload(signed_in, LIST.replace("12,5o", "1")).url, are_others="on").url
    kept = shelf().take(at.rstrip("/").rsplit("/", 1)[-1], owner.pk)

    with kept.claimed() as is_ours:
        assert is_ours
        with kept.claimed() as is_ours_too:
            assert not is_ours_too
        answers = [signed_in.post(f"{at}do/", follow=True), signed_in.get(at, follow=True)]
        signed_in.post(f"{at}discard/")

    for answer in answers:
        assert "list.csv is being imported at this moment" in words(answer)
    assert Vehicle.objects.count() == 0
    assert "list.csv: 3 new." in words(signed_in.post(f"{at}do/", follow=True))
    assert Vehicle.objects.count() == 3


def test_import_when_the_list_is_written_between_two_presses_then_the_second_does_nothing(
    signed_in, owner
):
    at = say(signed_in, upload(signed_in, LIST.replace("12,5o", "1")).url).url
    kept = shelf().take(at.rstrip("/").rsplit("/", 1)[-1], owner.pk)
    signed_in.post(f"{at}do/")

    with kept.claimed() as is_ours:
        assert not is_ours


def test_import_when_one_was_broken_off_long_ago_then_its_list_can_be_written(signed_in, owner):
    at = say(signed_in, upload(signed_in, LIST.replace("12,5o", "1")).url).url
    kept = shelf().take(at.rstrip("/").rsplit("/", 1)[-1], owner.pk)
    (kept.place / "writing").touch()
    eleven_minutes_ago = time.time() - 11 * 60
    os.utime(kept.place / "writing", (eleven_minutes_ago, eleven_minutes_ago))

    assert "list.csv: 3 new." in words(signed_in.post(f"{at}do/", follow=True))


def test_days_when_answered_then_the_answer_can_be_changed(signed_in):
    text = "Marks,Number,Kind,Acquired\nBRV,1,boxcar,3/5/24\n"
    at = upload(signed_in, text).url
    preview = say(signed_in, at, category="freight", day_order="month").url
    assert "Acquired: <bdi>2024-03-05" in signed_in.get(preview).content.decode()

    form = signed_in.get(at).context["form"]
    assert form["day_order"].value() == "month"
    say(signed_in, at, category="freight", day_order="day")

    assert "Acquired: <bdi>2024-05-03" in signed_in.get(preview).content.decode()


def test_columns_when_one_that_is_needed_is_missing_then_its_box_is_not_called_optional(signed_in):
    def optional(at: str) -> set[str]:
        page = signed_in.get(at).content.decode()
        return set(re.findall(r">([^<>]+) <small class=\"soft\">optional", page))

    lacking = optional(upload(signed_in, "Number,Acquired\n1,2024-03-05\n").url)
    assert {"Axles", "Couplers", "Currency"} <= lacking
    assert not {"Railway or marks", "Category", "Kind", "Scale and standards"} & lacking
    whole = "Marks,Number,Kind,Category,Scale,Standards\nBRV,1,boxcar,freight,HO,nmra\n"
    told = optional(upload(signed_in, whole).url)
    assert {"Railway or marks", "Category", "Kind", "Scale and standards"} <= told


def test_columns_when_the_list_is_headings_alone_then_says_that_no_row_is_there(signed_in):
    at = upload(signed_in, "Marks,Number,Kind,Scale,Axles\n").url

    answer = say(signed_in, at)

    assert answer.status_code == 422
    assert "No row stands below the headings: fill the list in" in words(answer)


def test_preview_when_looking_took_long_then_says_how_long_writing_takes(signed_in, owner):
    at = say(signed_in, upload(signed_in, LIST.replace("12,5o", "1")).url).url
    assert "seconds" not in words(signed_in.get(at))  # three rows keep nobody waiting
    kept = shelf().take(at.rstrip("/").rsplit("/", 1)[-1], owner.pk)
    assert kept.facts["took"] > 0
    kept.note(took=4.1)

    page = words(signed_in.get(at))

    assert "So many take about 11 seconds here: press once and wait for the page." in page


def test_import_when_days_are_ambiguous_then_asks_and_does_not_guess(signed_in):
    text = "Marks,Number,Kind,Acquired\nBRV,1,boxcar,3/5/24\nBRV,2,boxcar,4/6/24\n"
    at = upload(signed_in, text).url
    answer = say(signed_in, at, category="freight")

    assert answer.status_code == 422
    assert "“3/5/24” may be read in two ways" in words(answer)
    answer = say(signed_in, at, category="freight", day_order="month")
    signed_in.post(f"{answer.url}do/")
    assert [str(each.acquired_on) for each in Vehicle.objects.order_by("number")] == [
        "2024-03-05",
        "2024-04-06",
    ]


def test_import_when_empty_cells_are_to_empty_then_they_do_and_else_they_do_not(signed_in, owner):
    made = make_vehicle(owner, number="101", maker="Nimbrook", era="1950s")
    text = "Marks,Number,Kind,Maker,Era\nBRV,101,boxcar,,1950s\n"
    at = say(signed_in, upload(signed_in, text).url, category="freight").url
    assert "Nothing differs." in words(signed_in.get(at))

    at = say(signed_in, f"{at}columns/", category="freight", empties="on").url
    signed_in.post(f"{at}do/")

    made.refresh_from_db()
    assert (made.maker, made.era, made.kind) == ("", "1950s", "boxcar")


def test_import_when_a_required_cell_is_emptied_then_is_an_error(signed_in, owner):
    make_vehicle(owner, number="101")
    text = "Marks,Number,Kind\nBRV,101,\n"
    at = say(signed_in, upload(signed_in, text).url, category="freight", empties="on").url

    assert "column C (Kind): Kind cannot be empty; type it." in words(signed_in.get(at))


def test_import_of_retired_when_it_would_change_then_is_refused(signed_in, owner):
    made = make_vehicle(owner, number="101")
    retire(
        vehicle=made,
        departure=Departure("sold", made.logged_at.date()),
        by=owner,
        seen_revision=1,
    )
    exported = "".join(_text(signed_in, "csv?with_retired=on&delimiter=,"))
    rows = list(csv.reader(io.StringIO(exported)))
    assert "sold" in rows[1]
    answer = upload(signed_in, exported)
    answer = say(signed_in, answer.url) if "columns" in answer.url else answer
    assert "Nothing differs." in words(signed_in.get(answer.url))

    answer = upload(signed_in, exported.replace("boxcar", "hopper"))
    assert "It has left the stock, and the row would change it" in words(signed_in.get(answer.url))


def test_import_of_a_row_that_left_elsewhere_then_is_left_out(signed_in):
    text = (
        "uid,Marks,Number,Kind,Category,Scale,Standards,Left the stock (for reading)\n"
        ",BRV,1,boxcar,freight,HO,nmra,sold\n"
    )
    at = say(signed_in, upload(signed_in, text).url).url

    assert "It has left the stock where the list comes from." in words(signed_in.get(at))
    assert signed_in.post(f"{at}do/").status_code == 302
    assert Vehicle.everyone.count() == 0


def test_import_when_of_somebody_else_then_is_not_shown(signed_in, client):
    at = upload(signed_in, LIST).url
    other = make_person("other")
    client.force_login(other)

    answer = client.get(at, follow=True)

    assert "That list is not here any more" in words(answer)
    assert "list.csv" not in words(client.get(reverse("ledger:import")))


def test_import_when_a_visitor_then_is_refused_and_export_is_not(client, db):
    client.force_login(make_person("visitor", role=Person.Role.VISITOR))

    for name in ("import", "look-through", "import-columns", "carry-out", "discard-list"):
        args = [] if name == "import" else ["a" * 32]
        assert client.post(reverse(f"ledger:{name}", args=args)).status_code == 403
    page = client.get(reverse("ledger:export"))
    assert page.status_code == 200
    assert reverse("ledger:import") not in page.content.decode()


def test_import_when_nobody_is_signed_in_then_asks_to_sign_in(client, db):
    for name in ("import", "export"):
        assert "sign-in" in client.get(reverse(f"ledger:{name}")).url


@pytest.mark.parametrize("token", ["x", "..", "a" * 32, "%2e%2e"])
def test_import_when_the_token_is_made_up_then_says_so(signed_in, token):
    answer = signed_in.get(f"/ledger/import/{token}/", follow=True)

    assert answer.status_code in (200, 404)
    assert "Traceback" not in words(answer)


def test_upload_when_broken_off_then_says_so_and_keeps_nothing(signed_in, data):
    answer = signed_in.post(
        reverse("ledger:import"), {"file": SimpleUploadedFile("list.csv", LIST.encode())}
    )

    assert answer.status_code == 422
    assert "The upload was broken off halfway; nothing was kept." in words(answer)
    assert list(data.glob("lists/*")) == []


def test_upload_when_too_large_then_says_the_limit(signed_in, data):
    answer = upload(signed_in, b"a," * (10 * 1024 * 1024 + 1))

    assert answer.status_code == 422
    assert "The file has 20.0 MB, and at most 20 are read" in words(answer)
    assert list(data.glob("lists/*")) == []


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "The file is empty"),
        (b"%PDF-1.7 ...", "This is a PDF"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old binary form (.xls)"),
    ],
)
def test_upload_when_no_list_then_says_so_and_keeps_nothing(signed_in, data, raw, said):
    answer = upload(signed_in, raw, "list.xlsx")

    assert answer.status_code == 422
    assert said in words(answer)
    assert [each for each in data.glob("lists/*") if each.is_dir()] == []


def test_upload_when_no_file_then_asks_for_one(signed_in):
    answer = signed_in.post(reverse("ledger:import"), {"whole": "yes"})

    assert "Pick a file first." in words(answer)


def test_uploaded_file_when_a_day_old_then_is_removed(signed_in, owner):
    upload(signed_in, LIST)
    (kept,) = shelf().of(owner.pk)
    yesterday = time.time() - 24 * 3600 - 60
    os.utime(kept.place, (yesterday, yesterday))

    assert shelf().of(owner.pk) == []
    upload(signed_in, LIST)
    assert not kept.place.exists()


def test_uploaded_file_when_removed_by_hand_then_is_gone(signed_in, owner):
    upload(signed_in, LIST)
    (kept,) = shelf().of(owner.pk)

    signed_in.post(reverse("ledger:discard-list", args=[kept.token]))

    assert not kept.place.exists()


def test_sheets_when_several_then_another_can_be_chosen(signed_in):
    book = openpyxl.Workbook()
    book.active.append(["Marks", "Number", "Kind"])
    book.active.append(["BRV", "1", "boxcar"])
    other = book.create_sheet("Coaches")
    other.append(["My coaches"])
    other.append(["Railway", "No.", "Type"])
    other.append(["HFQ", 88, "coach"])
    raw = io.BytesIO()
    book.save(raw)
    at = upload(signed_in, raw.getvalue(), "stock.xlsx").url

    signed_in.post(at, {"reread": "yes", "sheet": "1", "heading_row": "0"})
    answer = say(signed_in, at, category="passenger")
    signed_in.post(f"{answer.url}do/")

    assert [each.identity for each in Vehicle.objects.all()] == ["HFQ 88"]


def test_headings_when_there_are_none_then_columns_are_chosen_by_what_is_in_them(signed_in):
    at = upload(signed_in, "BRV,1,boxcar\nBRV,2,hopper\n").url
    page = words(signed_in.get(at))
    assert "no headings" in page and "without a heading" in page

    told = {"column-0": "reporting_mark", "column-1": "number", "column-2": "kind"}
    answer = say(signed_in, at, category="freight", **told)
    signed_in.post(f"{answer.url}do/")

    assert Vehicle.objects.count() == 2


def test_encoding_when_chosen_otherwise_then_reads_anew(signed_in):
    raw = "Marks,Number,Kind\nÖBB,1,box\n".encode("cp1250")
    at = upload(signed_in, raw).url
    answer = signed_in.post(
        at, {"reread": "yes", "encoding": "cp1250", "delimiter": ",", "heading_row": "0"}
    )
    assert "ÖBB" in words(signed_in.get(answer.url))
    answer = signed_in.post(
        at,
        {"reread": "yes", "encoding": "utf-8", "delimiter": ",", "heading_row": "0"},
        follow=True,
    )
    assert "Line 2 is not written in UTF-8: pick another encoding" in words(answer)


def test_columns_when_one_is_chosen_twice_or_none_then_says_so(signed_in):
    at = upload(signed_in, "Marks,Number,Foo\nBRV,1,x\n").url

    answer = say(signed_in, at, **{"column-2": "number"})
    assert "Running number is chosen for two columns" in words(answer)
    answer = say(signed_in, at, **{"column-2": ""})
    assert "Category is in no column" in words(answer)
    assert "Kind is in no column" in words(answer)
    answer = say(signed_in, at, category="freight", kind="boxcar", standard="")
    assert "Say below by which standards" in words(answer)


def test_preview_when_long_then_is_paged_and_narrowed(signed_in):
    rows = "".join(f"BRV,{number},boxcar\n" for number in range(1, 121))
    at = say(
        signed_in, upload(signed_in, f"Marks,Number,Kind\n{rows}").url, category="freight"
    ).url

    first, last = words(signed_in.get(at)), words(signed_in.get(f"{at}?page=3"))

    assert first.count('class="new"') == 50 and last.count('class="new"') == 20
    assert "row 2<" in first and "row 121<" in last
    assert signed_in.get(f"{at}?page=99&show=rubbish").status_code == 200


def _text(client, tail: str) -> list[str]:
    kind, _, query = tail.partition("?")
    answer = client.get(f"/ledger/export/vehicles.{kind}?{query}")
    return [piece.decode("utf-8-sig") for piece in answer.streaming_content]


def test_export_when_filtered_then_holds_what_the_list_shows(signed_in, owner):
    make_vehicle(owner, number="1", kind="boxcar")
    make_vehicle(owner, number="2", kind="hopper", scale="N")

    rows = list(csv.DictReader(io.StringIO("".join(_text(signed_in, "csv?scale=N")))))

    assert [row["Number"] for row in rows] == ["2"]
    page = signed_in.get(reverse("ledger:export"), {"scale": "N", "kind": "csv"})
    assert "<b>1</b> vehicle so chosen" in words(page)
    answer = signed_in.get(
        reverse("ledger:export"), {"scale": "N", "kind": "xlsx", "download": "yes"}
    )
    assert answer.url == "/ledger/export/vehicles.xlsx?scale=N"
    assert signed_in.get("/ledger/export/vehicles.exe").status_code == 404


def test_export_when_a_workbook_then_is_one_and_is_named_by_the_day(signed_in, owner):
    make_vehicle(owner, number="0088")

    answer = signed_in.get("/ledger/export/vehicles.xlsx?is_measured=on")

    book = openpyxl.load_workbook(io.BytesIO(b"".join(answer.streaming_content)))
    answer.close()
    assert book.sheetnames == ["Vehicles"]
    assert [cell.value for cell in book.active[2]][1:3] == ["BRV", "0088"]
    assert 'attachment; filename="vehicles-' in answer["Content-Disposition"]


def test_shelf_when_somebody_guesses_a_path_then_gives_nothing(tmp_path):
    assert Shelf(tmp_path).take("../secret", 1) is None
    assert Shelf(tmp_path).take("a" * 32, 1) is None
