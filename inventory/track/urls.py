from django.urls import path

from inventory.track import asking, moving, views

app_name = "track"
urlpatterns = [
    path("", asking.railways, name="railways"),
    path("railways/new/", views.edit_railway, name="new-railway"),
    path("railways/<int:pk>/", asking.railway, name="railway"),
    path("railways/<int:pk>/edit/", views.edit_railway, name="edit-railway"),
    path("railways/<int:railway_pk>/places/new/", views.edit_place, name="new-place"),
    path("places/<int:pk>/", views.edit_place, name="place"),
    path("places/<int:place_pk>/turnouts/new/", views.edit_turnout, name="new-turnout"),
    path("places/<int:place_pk>/tracks/new/", views.edit_track, name="new-track"),
    path("turnouts/<int:pk>/", views.edit_turnout, name="turnout"),
    path("remove/<slug:what>/<int:pk>/", views.remove, name="remove"),
    path("<int:pk>/", asking.track, name="track"),
    path("<int:pk>/edit/", views.edit_track, name="edit-track"),
    path("<int:pk>/move/", moving.move, name="move"),
    path("<int:pk>/order/", moving.order, name="order"),
    path("railways/<int:pk>/industries/", asking.industries, name="industries"),
    path("railways/<int:pk>/trains/", asking.trains, name="trains"),
    path("railways/<int:pk>/arrange/", asking.arrange, name="arrange"),
    path("railways/<int:pk>/arrange/put/", moving.put_arranged, name="put-arranged"),
    path("vehicles/<int:pk>/home/", moving.set_home_track, name="home-track"),
    path("railways/<int:pk>/report/", asking.planner, name="report"),
    path("places/<int:place_pk>/industries/new/", views.edit_industry, name="new-industry"),
    path("industries/<int:pk>/", asking.industry, name="industry"),
    path("industries/<int:pk>/edit/", views.edit_industry, name="edit-industry"),
    path("industries/<int:pk>/homes/", moving.assign_home, name="assign-home"),
    path("industries/<int:industry_pk>/traffic/new/", views.edit_traffic, name="new-traffic"),
    path("traffic/<int:pk>/", views.edit_traffic, name="traffic"),
    path("vehicles/<int:pk>/", asking.for_vehicle, name="for-vehicle"),
]
