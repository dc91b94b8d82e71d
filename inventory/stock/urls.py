from django.urls import path

from inventory.stock import album, views

app_name = "stock"
urlpatterns = [
    path("", views.VehicleList.as_view(), name="vehicle-list"),
    path("<int:pk>/", views.vehicle, name="vehicle"),
    path("<int:pk>/edit/", views.edit_vehicle, name="edit-vehicle"),
    path("<int:pk>/running-gear/", views.running_gear, name="running-gear"),
    *views.ALBUM.paths(),
    path("photos/aside/<uuid:token>.jpg", album.aside, name="aside"),
    path("<int:pk>/retire/", views.retire_vehicle, name="retire"),
    path("<int:pk>/bring-back/", views.bring_back_vehicle, name="bring-back"),
    path("former/", views.FormerList.as_view(), name="former"),
    path("inspections/<int:pk>/", views.inspection, name="inspection"),
    path("instruments/", views.instruments, name="instruments"),
    path("instruments/new/", views.instrument, name="new-instrument"),
    path("instruments/<int:pk>/", views.instrument, name="instrument"),
    path("house-limits/", views.house_limits, name="house-limits"),
    path("house-limits/<int:pk>/withdraw/", views.withdraw_limit, name="withdraw-limit"),
]
