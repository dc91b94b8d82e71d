from django.urls import path

from inventory.bench import views

app_name = "bench"
urlpatterns = [
    path("", views.start, name="start"),
    path("log/", views.log, name="log"),
    path("begin/<int:pk>/", views.begin, name="begin"),
    path("<int:pk>/", views.resume, name="resume"),
    path("<int:pk>/finish/", views.finish, name="finish"),
    path("<int:pk>/<slug:slug>/", views.measure, name="measure"),
    path("<int:pk>/<slug:slug>/<slug:quantity>/", views.reading, name="reading"),
]
