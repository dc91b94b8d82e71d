from django.urls import path

from inventory.sheets import views

app_name = "sheets"
urlpatterns = [
    path("", views.sheet_list, name="list"),
    path("convert/", views.convert, name="convert"),
    path("meets/", views.meets, name="meets"),
    path("meeting/", views.meeting, name="meeting"),
    path("curves/", views.curves, name="curves"),
    path("<str:sheet_id>/", views.sheet, name="sheet"),
]
