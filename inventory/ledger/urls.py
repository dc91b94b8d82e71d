from django.urls import path

from inventory.ledger import views

app_name = "ledger"
urlpatterns = [
    path("vehicles/<int:pk>/", views.history, name="history"),
]
