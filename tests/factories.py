"""Plain functions that make what a test needs, through the same writers as the pages."""

import io
from decimal import Decimal

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from inventory.people.models import Person
from inventory.stock.models import Instrument, Vehicle
from inventory.stock.photos import cleaned
from inventory.stock.picturing import NewPhoto
from inventory.stock.recording import Running, log_vehicle, open_inspection, record
from inventory.stock.taking import Entry


def make_person(name: str = "owner", **facts) -> Person:
    return Person.objects.create_user(name, **{"role": Person.Role.OWNER, **facts})


def make_vehicle(by: Person, *, profile_code: int | None = 110, **facts) -> Vehicle:
    chosen = {
        "reporting_mark": "BRV",
        "number": "88",
        "kind": "boxcar",
        "family": "nmra",
        "scale": "HO",
        "axles": 2,
        **facts,
    }
    return log_vehicle(
        vehicle=Vehicle(**chosen), running=Running(profile_code=profile_code), by=by
    )


def sound(*axles: int) -> dict[tuple[str, str], str]:
    """Readings of HO wheels that lie well inside S-4.2, the back-to-back apart: RP-25 code 110."""
    return {
        (quantity, str(axle)): typed
        for axle in axles
        for quantity, typed in (("flange_depth", "0.60"), ("tyre_width", "2.85"))
    }


def caliper() -> Instrument:
    return Instrument.objects.get(name="Digital caliper")


def scale() -> Instrument:
    return Instrument.objects.get(name="Scale, 1 g")


def usual(quantity: str) -> Instrument:
    return scale() if quantity == "mass" else caliper()


def exact_instrument() -> Instrument:
    """One that is never wrong, for tests of limits and not of uncertainty."""
    return Instrument.objects.get_or_create(
        name="Exact",
        defaults={"kind": "caliper", "max_error": Decimal(0), "resolution": Decimal(0)},
    )[0]


def measure(vehicle: Vehicle, by: Person, readings: dict[tuple[str, str], str], instrument=None):
    """Open an inspection (or take the open one) and record readings by (quantity, at)."""
    inspection = open_inspection(vehicle=vehicle, reason="new", by=by)
    record(
        inspection=inspection,
        entries=[
            Entry(quantity, at, instrument or usual(quantity), typed=typed)
            for (quantity, at), typed in readings.items()
        ],
        by=by,
    )
    return inspection


def photograph(form: str = "JPEG", *, size: tuple[int, int] = (40, 30), colour="white", **saved):
    """A picture of one colour, as bytes."""
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, form, **saved)
    return file.getvalue()


def photographs(*colours: str, caption: str = "") -> list[NewPhoto]:
    """Photos as the writers take them, one of each colour."""
    return [
        NewPhoto(cleaned(io.BytesIO(photograph(colour=colour)), "a.jpg"), caption)
        for colour in colours
    ]


def sent(raw: bytes, name: str = "a.jpg") -> SimpleUploadedFile:
    """A file as a browser sends it."""
    return SimpleUploadedFile(name, raw)
