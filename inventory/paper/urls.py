from django.urls import path

from inventory.paper import views

app_name = "paper"
urlpatterns = [
    path("", views.index, name="index"),
    path("labels/", views.labels, name="labels"),
    path("bench/", views.bench, name="bench"),
    path("bench/blank/", views.blank, name="blank"),
    path("tags/", views.tags, name="tags"),
    path("tags/<int:pk>/", views.tag, name="tag"),
    path("fleet/", views.fleet, name="fleet"),
    path("railways/<int:pk>/tracks/", views.tracks, name="tracks"),
    path("railways/<int:pk>/line/", views.wall, name="wall"),
    path("slips/", views.slips, name="slips"),
]
