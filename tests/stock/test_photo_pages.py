"""Photos on the pages: added, shown, ordered, removed; of vehicles, trackwork and reports."""

from __future__ import annotations

import html
import io
import re
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from inventory.people.models import Person
from inventory.stock import picturing
from inventory.stock import recording as stock
from inventory.stock.models import Change, SetAside, Vehicle, VehiclePhoto
from inventory.stock.photos import PhotoRefused
from inventory.stock.picturing import MOST_AT_ONCE, MOST_OF_ONE
from inventory.track.models import Place, Railway, Turnout
from inventory.trackwork import recording as trackwork
from inventory.trackwork.models import TrackworkPhoto
from inventory.trouble import recording as trouble
from inventory.trouble.models import Incident, IncidentPhoto
from inventory.trouble.spots import spots_of
from tests.factories import make_person, make_vehicle, photograph, photographs, sent

pytestmark = pytest.mark.django_db

HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def car(owner) -> Vehicle:
    return make_vehicle(owner)


@pytest.fixture
def turnout(db) -> Turnout:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    return Turnout.objects.create(place=place, name="East turnout", frog_number=6)


def vehicle_album(owner) -> SimpleNamespace:
    return SimpleNamespace(
        space="stock",
        subject=make_vehicle(owner),
        kind=VehiclePhoto,
        writers=stock,
        role="vehicle",
    )


def trackwork_album(owner) -> SimpleNamespace:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    piece = trackwork.trackwork_of(
        turnout=Turnout.objects.create(place=place, name="East turnout", frog_number=6)
    )
    return SimpleNamespace(
        space="trackwork", subject=piece, kind=TrackworkPhoto, writers=trackwork, role="trackwork"
    )


def trouble_album(owner) -> SimpleNamespace:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    Place.objects.create(railway=railway, name="Tarn", position=1)
    seen = trouble.Seen(
        spot=spots_of(railway)[0],
        happened="frog-climb",
        happened_at=timezone.now(),
        first=make_vehicle(owner),
    )
    incident = trouble.report(seen=seen, by=owner)
    return SimpleNamespace(
        space="trouble", subject=incident, kind=IncidentPhoto, writers=trouble, role="incident"
    )


@pytest.fixture(params=[vehicle_album, trackwork_album, trouble_album])
def album(request, owner) -> SimpleNamespace:
    """One thing that photos can be of, with where they are kept and who writes them."""
    made = request.param(owner)
    made.address = reverse(f"{made.space}:photos", args=[made.subject.pk])
    made.add = lambda *colours, caption="": made.writers.add_photos(
        **{made.role: made.subject}, photos=photographs(*colours, caption=caption), by=owner
    )
    made.order = lambda: [colour_of(each) for each in made.subject.photos.all()]
    return made


def colour_of(photo) -> str:
    with Image.open(io.BytesIO(bytes(photo.jpeg))) as opened:
        red, green, blue = opened.getpixel((20, 15))
    return {(1, 0, 0): "red", (0, 0, 1): "blue", (0, 1, 0): "lime", (1, 1, 1): "white"}[
        (red > 127, green > 127, blue > 127)
    ]


def words(answer) -> str:
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))


# --- Adding -----------------------------------------------------------------------------------


def test_photos_when_added_then_are_kept_in_order_with_caption_and_day(signed_in, album, owner):
    answer = signed_in.post(
        album.address,
        {
            "photos": [sent(photograph(colour="red"), "1.jpg"), sent(photograph("PNG"), "2.png")],
            "caption": " After the repair <b> ",
            "taken_on": "2024-03-02",
        },
        follow=True,
    )

    assert answer.status_code == 200
    assert "2 photos kept" in words(answer)
    first, second = album.kind.objects.all()
    assert album.order() == ["red", "white"]
    assert first.position < second.position
    assert first.caption == second.caption == "After the repair <b>"
    assert first.taken_on == date(2024, 3, 2)
    assert (first.added_by, first.subject) == (owner, album.subject)
    page = signed_in.get(album.subject.get_absolute_url()).content.decode()
    assert f'src="{first.thumbnail_address}"' in page
    assert f'href="{first.get_absolute_url()}"' in page
    assert 'alt="After the repair &lt;b&gt;"' in page


def test_photo_without_caption_then_its_words_are_what_is_on_it(signed_in, car, owner):
    stock.add_photos(vehicle=car, photos=photographs("red"), by=owner)

    assert 'alt="photo of BRV 88"' in signed_in.get(car.get_absolute_url()).content.decode()


def test_one_file_among_others_that_cannot_be_kept_then_it_is_named_and_they_are_kept(
    signed_in, album
):
    answer = signed_in.post(
        album.address,
        {
            "photos": [
                sent(photograph(colour="red"), "1.jpg"),
                sent(HEIC, "<i>2.jpg"),
                sent(photograph(colour="blue"), "3.jpg"),
            ],
            "caption": "both ends",
        },
        follow=True,
    )

    assert album.order() == ["red", "blue"]
    assert "2 photos kept" in words(answer)
    assert "Not kept: <i>2.jpg is no JPEG, PNG or WebP picture but a HEIC" in words(answer)
    assert b"<i>2.jpg" not in answer.content


def test_thirteen_files_then_twelve_are_kept_and_the_thirteenth_is_named(signed_in, album):
    files = [sent(photograph(), f"{n}.jpg") for n in range(1, 14)]

    answer = signed_in.post(album.address, {"photos": files}, follow=True)

    assert album.kind.objects.count() == MOST_AT_ONCE == 12
    assert "Not kept: 13.jpg is one too many: at most 12 at a time" in words(answer)
    assert len(set(album.kind.objects.values_list("position", flat=True))) == 12


def test_twenty_files_then_the_eight_beyond_are_named_in_one_sentence(signed_in, car):
    files = [sent(photograph(), f"{n}.jpg") for n in range(1, 21)]

    answer = signed_in.post(reverse("stock:photos", args=[car.pk]), {"photos": files}, follow=True)

    assert words(answer).count("Not kept:") == 1
    assert (
        "Not kept: 13.jpg, 14.jpg, 15.jpg, 16.jpg, 17.jpg, 18.jpg, 19.jpg and 20.jpg are 8 too "
        "many: at most 12 at a time, add them afterwards."
    ) in words(answer)


def test_form_with_an_error_then_stands_before_the_photos_and_else_behind(signed_in, album):
    album.add("red", "blue")
    link = album.kind.objects.first().get_absolute_url()

    def is_the_form_first(answer):
        page = answer.content.decode()
        return page.index("Add photos</h2>") < page.index(f'href="{link}"')

    assert not is_the_form_first(signed_in.get(album.address))
    faulty = signed_in.post(album.address, {"photos": [sent(b"%PDF-1.7", "a.jpg")]})
    assert is_the_form_first(faulty)
    assert words(faulty).count("Add photos</h2>") == 1


def test_no_file_that_can_be_kept_then_says_so_and_loses_no_word(signed_in, album):
    answer = signed_in.post(
        album.address, {"photos": [sent(b"%PDF-1.7", "a.jpg")], "caption": "the B end"}
    )

    assert answer.status_code == 422
    assert "a.jpg is no JPEG, PNG or WebP picture but a PDF: save it as a JPEG" in words(answer)
    assert 'value="the B end"' in words(answer)
    assert not album.kind.objects.exists()
    assert not SetAside.objects.exists()


def test_form_without_files_then_asks_for_one(signed_in, album):
    answer = signed_in.post(album.address, {"caption": "the B end"})

    assert answer.status_code == 422
    assert "Choose at least one photo." in words(answer)


def test_form_with_another_error_then_the_photos_wait_and_need_not_be_sent_again(signed_in, album):
    tomorrow = timezone.localdate() + timedelta(days=2)
    answer = signed_in.post(
        album.address,
        {"photos": [sent(photograph(colour="red"), "my car.jpg")], "taken_on": tomorrow},
    )
    assert answer.status_code == 422
    assert f"{tomorrow} is still to come" in words(answer)
    assert not album.kind.objects.exists()
    waiting = SetAside.objects.get()
    assert f'value="{waiting.pk}"' in words(answer)
    assert "my car.jpg" in words(answer)

    signed_in.post(
        album.address,
        {"photos": [sent(photograph(colour="blue"))], "aside": [str(waiting.pk)]},
    )

    assert album.order() == ["red", "blue"]
    assert not SetAside.objects.exists()


def test_more_than_a_page_holds_then_is_refused_in_words(album, owner):
    album.add(*["white"] * MOST_OF_ONE)

    with pytest.raises(PhotoRefused, match=r"has 60 photos: at most 60 .* Remove some first"):
        album.add("red")

    assert album.kind.objects.count() == MOST_OF_ONE


@pytest.mark.parametrize(
    ("camera", "typed", "expected"),
    [
        ("2024:05:06 07:08:09", "", date(2024, 5, 6)),
        ("2024:05:06 07:08:09", "2023-01-02", date(2023, 1, 2)),
        ("2099:01:01 00:00:00", "", None),
        ("", "", None),
    ],
    ids=["the camera's", "typed", "a camera's clock in the future", "neither"],
)
def test_day_when_a_photo_was_taken(signed_in, car, camera, typed, expected):
    exif = Image.Exif()
    if camera:
        exif.get_ifd(0x8769)[0x9003] = camera

    signed_in.post(
        reverse("stock:photos", args=[car.pk]),
        {"photos": [sent(photograph(exif=exif))], "taken_on": typed},
    )

    assert VehiclePhoto.objects.get().taken_on == (expected or timezone.localdate())


def test_adding_then_is_noted_of_the_vehicle_with_who_and_when(car, owner):
    moment = datetime(2024, 3, 2, 12, tzinfo=UTC)

    stock.add_photos(vehicle=car, photos=photographs("red", "blue"), by=owner, moment=moment)

    (noted,) = Change.objects.filter(vehicle=car, what="photo")
    assert (noted.after, noted.by, noted.at) == ("2 photos added", owner, moment)


def test_photos_of_a_retired_vehicle_then_stay_and_can_be_added(signed_in, car, owner):
    stock.retire(
        vehicle=car,
        departure=stock.Departure("sold", date(2026, 1, 2)),
        by=owner,
        seen_revision=car.revision,
    )

    answer = signed_in.post(
        reverse("stock:photos", args=[car.pk]), {"photos": [sent(photograph())]}, follow=True
    )

    assert "1 photo kept" in words(answer)


# --- Order, words, removal --------------------------------------------------------------------


def test_photo_moved_up_and_down_then_changes_places_with_its_neighbour(signed_in, album):
    first, second, third = album.add("red", "blue", "lime")

    def move(photo, way):
        answer = signed_in.post(
            reverse(f"{album.space}:move-photo", args=[photo.pk]), {"way": way}
        )
        assert answer.status_code == 302
        assert answer.url == f"{album.address}#photo-{photo.pk}"
        assert f'id="photo-{photo.pk}"' in signed_in.get(answer.url).content.decode()
        return album.order()

    assert move(third, "earlier") == ["red", "lime", "blue"]
    assert move(first, "later") == ["lime", "red", "blue"]
    assert move(third, "earlier") == ["lime", "red", "blue"]  # it is the first already
    assert move(second, "later") == ["lime", "red", "blue"]  # and this the last
    assert signed_in.get(reverse(f"{album.space}:move-photo", args=[first.pk])).status_code == 405


def test_two_photos_then_never_share_a_position(album):
    first, second = album.add("red", "blue")

    with pytest.raises(IntegrityError), transaction.atomic():
        album.kind.objects.filter(pk=second.pk).update(position=first.position)


def test_caption_and_day_when_changed_then_the_picture_stays(signed_in, album):
    (photo,) = album.add("red", caption="left")
    before = (bytes(photo.jpeg), photo.digest)

    signed_in.post(photo.get_absolute_url(), {"caption": "right", "taken_on": "2020-02-29"})

    photo = album.kind.objects.get()
    assert (photo.caption, photo.taken_on) == ("right", date(2020, 2, 29))
    assert (bytes(photo.jpeg), photo.digest) == before


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"caption": "x", "taken_on": ""}, "Taken is needed"),
        ({"caption": "x", "taken_on": "soon"}, "That cannot be read; type a day"),
        ({"caption": "x", "taken_on": "2999-01-01"}, "2999-01-01 is still to come"),
        ({"caption": "x" * 201, "taken_on": "2020-01-01"}, "at most 200 are kept"),
    ],
)
def test_nonsense_said_of_a_photo_then_is_refused_in_words(signed_in, album, told, expected):
    (photo,) = album.add("red", caption="left")

    answer = signed_in.post(photo.get_absolute_url(), told)

    assert answer.status_code == 422
    assert expected in words(answer)
    assert album.kind.objects.get().caption == "left"


def test_photo_when_removed_then_is_gone_with_its_words_after_asking(signed_in, album, owner):
    (photo,) = album.add("red", caption="my daughter at the bench")
    address = reverse(f"{album.space}:remove-photo", args=[photo.pk])
    asked = signed_in.get(address)
    assert "for good" in words(asked)
    assert "Backups made before still hold it" in words(asked)
    assert album.kind.objects.exists()

    signed_in.post(address)

    assert not album.kind.objects.exists()
    assert signed_in.get(photo.picture_address).status_code == 404
    assert signed_in.get(photo.thumbnail_address).status_code == 404
    assert signed_in.get(photo.get_absolute_url()).status_code == 404
    assert signed_in.post(address).status_code == 404
    kept = str(list(Change.objects.values_list("before", "after", "note")))
    assert "daughter" not in kept
    if album.space != "trackwork":  # of which no history is kept
        noted = Change.objects.filter(what="photo").last()
        assert noted.by == owner
        assert noted.before == f"a photo taken {timezone.localdate():%Y-%m-%d}"
        assert "removed for good" in noted.note


# --- Showing ----------------------------------------------------------------------------------


def test_picture_then_is_sent_as_what_it_is_and_may_be_kept(signed_in, album):
    (photo,) = album.add("red")

    for address, raw in (
        (photo.picture_address, photo.jpeg),
        (photo.thumbnail_address, photo.thumbnail),
    ):
        answer = signed_in.get(address)
        assert answer.status_code == 200
        assert answer.content == bytes(raw)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
        assert photo.digest in address
        assert photo.digest in answer["ETag"]
        again = signed_in.get(address, headers={"If-None-Match": answer["ETag"]})
        assert again.status_code == 304
        assert again.content == b""
        other = address.replace(photo.digest, "0" * 32)
        assert signed_in.get(other).status_code == 404
    signed_in.logout()
    for address in (photo.picture_address, photo.thumbnail_address, photo.get_absolute_url()):
        answer = signed_in.get(address)
        assert answer.status_code == 302
        assert "/sign-in/" in answer["Location"]


def test_browser_that_has_the_picture_then_it_is_not_fetched(signed_in, album):
    (photo,) = album.add("red")

    with CaptureQueriesContext(
        connection,
    ) as asked:
        signed_in.get(photo.picture_address, headers={"If-None-Match": f'"{photo.digest}"'})

    assert pictures_fetched(asked) == []


def pictures_fetched(asked: CaptureQueriesContext) -> list[str]:
    """The queries that bring pictures with them."""
    return [
        each["sql"]
        for each in asked.captured_queries
        if re.search(r'"(jpeg|thumbnail)"', each["sql"])
    ]


@pytest.mark.parametrize("kind", [VehiclePhoto, TrackworkPhoto, IncidentPhoto, SetAside])
def test_tables_of_photos_then_have_the_pictures_last(kind):
    """SQLite follows a picture's whole chain of pages to reach a column behind it (sqlite.org,
    "Database File Format": cell payload overflow pages). A page of 25 first photos of 300 kB took
    12 ms with the pictures first and 0.6 ms with them last."""
    with connection.cursor() as cursor:
        columns = connection.introspection.get_table_description(cursor, kind._meta.db_table)

    assert [each.name for each in columns][-2:] == ["thumbnail", "jpeg"]


def test_page_of_a_photo_then_leads_to_its_neighbours(signed_in, album):
    first, second, third = album.add("red", "blue", "lime")

    page = signed_in.get(second.get_absolute_url()).content.decode()

    assert "photo 2 of 3" in page
    assert f'rel="prev" href="{first.get_absolute_url()}"' in page
    assert f'rel="next" href="{third.get_absolute_url()}"' in page
    assert f'href="{second.picture_address}"' in page


@pytest.mark.parametrize("n_photos", [1, 3])
def test_pages_with_photos_then_fetch_no_picture_and_ask_the_same_however_many(
    signed_in, album, n_photos
):
    photos = album.add(*["red"] * n_photos)
    #                 subject's page, its photos, one photo
    n_queries = {"stock": (10, 4, 4), "trackwork": (9, 4, 6), "trouble": (9, 4, 4)}[album.space]
    for address, n in zip(
        (album.subject.get_absolute_url(), album.address, photos[0].get_absolute_url()),
        n_queries,
        strict=True,
    ):
        with CaptureQueriesContext(connection) as asked:
            assert signed_in.get(address).status_code == 200
        assert pictures_fetched(asked) == []
        assert len(asked) == n, address


@pytest.mark.parametrize("n_rows", [1, 3])
def test_stock_list_with_photos_then_shows_the_first_and_fetches_no_picture(
    signed_in, owner, n_rows
):
    firsts = []
    for number in range(n_rows):
        car = make_vehicle(owner, number=str(number))
        first, _ = stock.add_photos(vehicle=car, photos=photographs("red", "blue"), by=owner)
        firsts.append(first)
    make_vehicle(owner, number="without")

    with CaptureQueriesContext(connection) as asked:
        page = signed_in.get(reverse("stock:vehicle-list")).content.decode()

    assert pictures_fetched(asked) == []
    assert len(asked) == 6  # session, person, scales for the filter, count, rows, photos
    assert re.findall(r'<img src="([^"]+)"', page) == [each.thumbnail_address for each in firsts]


def test_visitor_then_sees_photos_and_changes_none(client, album):
    (photo,) = album.add("red", caption="left")
    client.force_login(make_person("guest", role=Person.Role.VISITOR))

    for address in (album.address, photo.get_absolute_url(), photo.picture_address):
        assert client.get(address).status_code == 200
    pages = [
        client.get(each).content.decode() for each in (album.address, photo.get_absolute_url())
    ]
    assert all('type="file"' not in page and "Remove" not in page for page in pages)
    for name in ("photo", "move-photo", "remove-photo"):
        to = reverse(f"{album.space}:{name}", args=[photo.pk])
        assert client.post(to, {"caption": "x", "taken_on": "2020-01-01"}).status_code == 403
    assert client.post(album.address, {"photos": [sent(photograph())]}).status_code == 403
    assert album.kind.objects.get().caption == "left"


# --- Set aside --------------------------------------------------------------------------------


def vehicle_told(**changed) -> dict[str, object]:
    return {
        "reporting_mark": "QVR",
        "number": "7",
        "category": "freight",
        "kind": "hopper",
        "axles": "2",
        "standard": "nmra/HO",
        "coupler": "knuckle",
        **changed,
    }


def test_vehicle_logged_with_photos_then_has_them(signed_in):
    files = [sent(photograph(colour="red")), sent(photograph(colour="blue"))]

    answer = signed_in.post(reverse("bench:log"), vehicle_told(photos=files))

    assert answer.status_code == 302
    assert "/axle-1/" in answer["Location"]
    assert [colour_of(each) for each in Vehicle.objects.get().photos.all()] == ["red", "blue"]


def test_vehicle_logged_with_a_twin_then_its_photos_wait_for_the_answer(signed_in, owner):
    make_vehicle(owner, reporting_mark="QVR", number="7")
    asked = signed_in.post(
        reverse("bench:log"), vehicle_told(photos=[sent(photograph(colour="red"))])
    )
    assert asked.status_code == 422
    waiting = SetAside.objects.get()
    small = signed_in.get(reverse("stock:aside", args=[waiting.pk]))
    assert (small.status_code, small["Content-Type"]) == (200, "image/jpeg")
    assert reverse("stock:aside", args=[waiting.pk]) in words(asked)

    signed_in.post(reverse("bench:log"), vehicle_told(is_another="on", aside=[str(waiting.pk)]))

    assert [colour_of(each) for each in Vehicle.objects.last().photos.all()] == ["red"]
    assert not SetAside.objects.exists()


def test_vehicle_logged_with_a_file_that_is_none_then_nothing_is_lost_and_it_is_named(signed_in):
    files = [sent(photograph(colour="red"), "good.jpg"), sent(HEIC, "bad.jpg")]

    answer = signed_in.post(reverse("bench:log"), vehicle_told(photos=files))

    assert answer.status_code == 422
    assert "bad.jpg is no JPEG" in words(answer)
    assert 'value="QVR"' in words(answer)
    assert SetAside.objects.get().called == "good.jpg"
    assert not Vehicle.objects.exists()


def test_photo_set_aside_then_is_for_nobody_else(signed_in, client):
    signed_in.post(reverse("bench:log"), vehicle_told(kind="", photos=[sent(photograph())]))
    waiting = SetAside.objects.get()
    client.force_login(make_person("another", role=Person.Role.INSPECTOR))

    assert client.get(reverse("stock:aside", args=[waiting.pk])).status_code == 404
    answer = client.post(reverse("bench:log"), vehicle_told(aside=[str(waiting.pk)]))

    assert answer.status_code == 422
    assert not VehiclePhoto.objects.exists()
    assert SetAside.objects.count() == 1


def test_photo_set_aside_for_more_than_an_hour_then_is_asked_for_again_and_forgotten(signed_in):
    signed_in.post(reverse("bench:log"), vehicle_told(kind="", photos=[sent(photograph())]))
    waiting = SetAside.objects.get()
    SetAside.objects.update(sent_at=timezone.now() - timedelta(minutes=61))

    answer = signed_in.post(reverse("bench:log"), vehicle_told(aside=[str(waiting.pk)]))

    assert answer.status_code == 422
    assert "set aside more than an hour ago is gone: choose it again" in words(answer)
    assert not SetAside.objects.exists()
    assert signed_in.post(reverse("bench:log"), vehicle_told()).status_code == 302


@pytest.mark.parametrize("token", ["x", "../../etc/passwd", "", "0" * 32])
def test_token_that_is_none_then_brings_no_photo(signed_in, token):
    answer = signed_in.post(reverse("bench:log"), vehicle_told(aside=[token]))

    assert answer.status_code == 422
    assert not VehiclePhoto.objects.exists()


def test_form_sent_again_and_again_then_sets_aside_so_many_and_no_more(signed_in, monkeypatch):
    monkeypatch.setattr(picturing, "MOST_ASIDE", 3)
    for _ in range(5):
        signed_in.post(reverse("bench:log"), vehicle_told(kind="", photos=[sent(photograph())]))

    assert SetAside.objects.count() == 3


# --- Reports ----------------------------------------------------------------------------------


def test_report_with_another_error_then_keeps_its_photos_for_the_next_try(
    signed_in, turnout, owner
):
    car = make_vehicle(owner)
    address = reverse("trouble:report-on", args=[turnout.place.railway_id])
    told = {"first": car.pk, "where": f"turnout-{turnout.pk}", "note": "at dusk"}
    answer = signed_in.post(
        address,
        {
            **told,
            "photos": [
                sent(photograph(colour="red"), "z.jpg"),
                sent(photograph(colour="blue"), "a.jpg"),
            ],
        },
    )
    assert answer.status_code == 422
    assert not Incident.objects.exists()
    tokens = re.findall(r'name="aside" value="([^"]+)"', words(answer))
    assert len(tokens) == 2

    page = signed_in.post(
        address, {**told, "happened": "points", "aside": tokens}, follow=True
    ).content.decode()

    incident = Incident.objects.get()
    assert [colour_of(each) for each in incident.photos.all()] == ["red", "blue"]
    assert incident.note == "at dusk"
    assert all(each.thumbnail_address in page for each in incident.photos.all())
