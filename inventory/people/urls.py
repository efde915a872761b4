"""Signing in and out, devices and codes."""

from django.contrib.auth import views as auth
from django.urls import path

from . import views
from .forms import SignInForm

urlpatterns = [
    path(
        "sign-in",
        auth.LoginView.as_view(
            template_name="people/sign_in.html",
            authentication_form=SignInForm,
            redirect_authenticated_user=True,
        ),
        name="sign_in",
    ),
    path("sign-out", auth.LogoutView.as_view(), name="sign_out"),
    path("devices", views.devices, name="devices"),
    path("devices/<int:pk>/let-in", views.let_in, name="device_let_in"),
    path("devices/<int:pk>/revoke", views.revoke, name="device_revoke"),
    path("codes/<int:pk>", views.unlock_code, name="code_unlock"),
    path("my-code", views.my_code, name="my_code"),
]
