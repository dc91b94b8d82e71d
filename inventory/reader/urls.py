from django.urls import URLPattern, path

from inventory.reader import views
from inventory.reader.answers import ENDPOINTS
from inventory.reader.asking import nothing_here, openapi, view_of

app_name = "reader"
urlpatterns: list[URLPattern] = [
    path("", views.index, name="index"),
    path("tokens/", views.tokens, name="tokens"),
    path("tokens/<int:pk>/end/", views.end, name="end-token"),
    path("openapi.json", openapi, name="openapi"),
    *(path(each.path, view_of(each), name=each.name) for each in ENDPOINTS),
    path("<path:rest>", nothing_here, name="nothing"),
]
