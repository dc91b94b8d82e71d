from django.urls import path

from inventory.trackwork import views

app_name = "trackwork"
urlpatterns = [
    path("railways/<int:pk>/", views.overview, name="overview"),
    path("railways/<int:pk>/pairs/", views.pairs, name="pairs"),
    path("places/<int:place_pk>/new/", views.edit_piece, name="new-piece"),
    path("<int:pk>/", views.piece, name="piece"),
    path("<int:pk>/edit/", views.edit_piece, name="edit-piece"),
    path("<int:pk>/remove/", views.remove, name="remove"),
    *views.ALBUM.paths(),
    path("inspections/<int:pk>/", views.inspection, name="inspection"),
    path("<int:pk>/vehicles/<int:vehicle_pk>/", views.meeting, name="meeting"),
    path("vehicles/<int:pk>/", views.for_vehicle, name="for-vehicle"),
    path("vehicles/<int:pk>/curve/", views.on_curve, name="curve"),
]
