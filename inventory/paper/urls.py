from django.urls import URLPattern

app_name = "paper"
urlpatterns: list[URLPattern] = []
