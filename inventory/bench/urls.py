from django.urls import path

from inventory.bench import views, visitors

app_name = "bench"
urlpatterns = [
    path("", views.start, name="start"),
    path("log/", views.log, name="log"),
    path("visitors/", visitors.visitors, name="visitors"),
    path("visitors/<int:pk>/", visitors.visitor, name="visitor"),
    path("begin/<int:pk>/", views.begin, name="begin"),
    path("turnouts/<int:pk>/begin/", views.begin_turnout, name="begin-turnout"),
    path("trackwork/<int:pk>/begin/", views.begin_track, name="begin-track"),
    path("track/<int:pk>/", views.resume_track, name="resume-track"),
    path("track/<int:pk>/finish/", views.finish_track, name="finish-track"),
    path("track/<int:pk>/<slug:slug>/", views.measure_track, name="measure-track"),
    path("track/<int:pk>/<slug:slug>/<slug:quantity>/", views.reading_track, name="reading-track"),
    path("<int:pk>/", views.resume, name="resume"),
    path("<int:pk>/finish/", views.finish, name="finish"),
    path("<int:pk>/<slug:slug>/", views.measure, name="measure"),
    path("<int:pk>/<slug:slug>/<slug:quantity>/", views.reading, name="reading"),
]
