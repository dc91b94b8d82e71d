from django.urls import path

from inventory.trouble import asking, views

app_name = "trouble"
urlpatterns = [
    path("", views.board, name="board"),
    path("report/", views.report, name="report"),
    path("railways/<int:pk>/report/", views.report_on, name="report-on"),
    path("reports/", views.reports, name="reports"),
    path("reports/<int:pk>/", views.incident, name="incident"),
    *views.ALBUM.paths("reports/"),
    path("reports/<int:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("hold/vehicles/<int:pk>/", views.hold_vehicle, name="hold-vehicle"),
    path("hold/turnouts/<int:pk>/", views.hold_turnout, name="hold-turnout"),
    path("hold/trackwork/<int:pk>/", views.hold_trackwork, name="hold-trackwork"),
    path("holds/<int:pk>/", views.hold, name="hold"),
    path("running/", views.running, name="running"),
    path("railways/<int:pk>/running/", views.run_on, name="run-on"),
    path("running/<int:pk>/", views.session, name="session"),
    path("turns/<int:pk>/remove/", views.remove_turn, name="remove-turn"),
    path("routine/", asking.routine, name="routine"),
    path("railways/<int:pk>/evidence/", asking.railway, name="railway"),
    path("vehicles/<int:pk>/", asking.vehicle, name="vehicle"),
    path("trackwork/<int:pk>/", asking.trackwork, name="trackwork"),
]
