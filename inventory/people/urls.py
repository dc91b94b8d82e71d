from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from inventory.people import views

app_name = "people"
urlpatterns = [
    path(
        "sign-in/",
        login_not_required(
            LoginView.as_view(
                template_name="people/sign_in.html", redirect_authenticated_user=True
            )
        ),
        name="sign-in",
    ),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("arrive/<str:who>/<str:token>/", views.arrive, name="arrive"),
    path("preferences/", views.preferences, name="preferences"),
    path("preferences/password/", views.set_password, name="set-password"),
]
