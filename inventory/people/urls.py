from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LogoutView
from django.urls import path

from inventory.people import roster, views
from inventory.people.access import visitors_too

app_name = "people"
urlpatterns = [
    path("sign-in/", visitors_too(login_not_required(views.SignIn.as_view())), name="sign-in"),
    path("sign-out/", visitors_too(LogoutView.as_view()), name="sign-out"),
    path("arrive/<str:token>/", views.arrive, name="arrive"),
    path("preferences/", views.preferences, name="preferences"),
    path("preferences/password/", views.set_password, name="set-password"),
    path("preferences/phone/", views.phone, name="phone"),
    path("preferences/phone/take-back/", views.take_phone_back, name="take-phone-back"),
    path("preferences/devices/end/", views.end_others, name="end-others"),
    path("preferences/devices/<int:pk>/end/", views.end_device, name="end-device"),
    path("people/", roster.people, name="people"),
    path("people/new/", roster.new_person, name="new-person"),
    path("people/<int:pk>/", roster.person, name="person"),
    path("people/<int:pk>/out/", roster.put_out, name="put-out"),
    path("people/<int:pk>/in/", roster.let_in, name="let-in"),
    path("people/<int:pk>/password/", roster.take_password, name="take-password"),
    path("people/<int:pk>/link/", roster.link, name="link"),
    path("people/<int:pk>/link/take-back/", roster.take_link_back, name="take-link-back"),
    path("people/<int:pk>/devices/end/", roster.end_devices, name="end-devices"),
    path(
        "people/<int:pk>/devices/<int:device_pk>/end/", roster.end_device_of, name="end-device-of"
    ),
]
