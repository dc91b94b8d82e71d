from django.urls import URLPattern

app_name = "reader"
urlpatterns: list[URLPattern] = []
