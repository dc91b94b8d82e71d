from django.urls import path

from inventory.ledger import views

app_name = "ledger"
urlpatterns = [
    path("", views.overview, name="overview"),
    path("vehicles/<int:pk>/", views.history, name="history"),
]
