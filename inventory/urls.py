"""Every address of the program."""

from django.urls import include, path, register_converter
from django.views.generic import RedirectView

from inventory.paper.address import UidConverter
from inventory.paper.views import by_uid, old_tag

register_converter(UidConverter, "uid")

urlpatterns = [
    path("", RedirectView.as_view(pattern_name="bench:start"), name="home"),
    path("bench/", include("inventory.bench.urls")),
    path("stock/", include("inventory.stock.urls")),
    path("tracks/", include("inventory.track.urls")),
    path("trackwork/", include("inventory.trackwork.urls")),
    path("v/<uid:uid>/", by_uid, name="vehicle-by-uid"),
    path("trouble/holds/<int:pk>/tag/", old_tag),
    path("trouble/", include("inventory.trouble.urls")),
    path("ledger/", include("inventory.ledger.urls")),
    path("paper/", include("inventory.paper.urls")),
    path("api/", include("inventory.reader.urls")),
    path("standards/", include("inventory.sheets.urls")),
    path("", include("inventory.people.urls")),
]
