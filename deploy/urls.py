"""Every address of the site; each app names its own."""

from django.contrib.auth import views as auth
from django.urls import include, path

from deploy.health import health
from plant.people.sign_in import SignIn

urlpatterns = [
    path("health/", health, name="health"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign-out"),
    path("password/", auth.PasswordChangeView.as_view(), name="password_change"),
    path("password/changed/", auth.PasswordChangeDoneView.as_view(), name="password_change_done"),
    path("", include("plant.urls")),
    path("", include("calibration.urls")),
]
