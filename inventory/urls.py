"""Every address of the program."""

from django.urls import include, path
from django.views.generic import RedirectView

urlpatterns = [
    path("", RedirectView.as_view(pattern_name="bench:start"), name="home"),
    path("bench/", include("inventory.bench.urls")),
    path("stock/", include("inventory.stock.urls")),
    path("tracks/", include("inventory.track.urls")),
    path("trackwork/", include("inventory.trackwork.urls")),
    path("trouble/", include("inventory.trouble.urls")),
    path("ledger/", include("inventory.ledger.urls")),
    path("paper/", include("inventory.paper.urls")),
    path("api/", include("inventory.reader.urls")),
    path("standards/", include("inventory.sheets.urls")),
    path("", include("inventory.people.urls")),
]
