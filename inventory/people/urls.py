"""Signing in and out."""

from django.contrib.auth import views
from django.urls import path

from .forms import SignInForm

urlpatterns = [
    path(
        "sign-in",
        views.LoginView.as_view(
            template_name="people/sign_in.html",
            authentication_form=SignInForm,
            redirect_authenticated_user=True,
        ),
        name="sign_in",
    ),
    path("sign-out", views.LogoutView.as_view(), name="sign_out"),
]
