"""Signing in and out, the own sign-in, who may what, devices and codes."""

from django.conf import settings
from django.contrib.auth import views as auth
from django.urls import URLPattern, URLResolver, path

from .views import devices, own, people, sign_in, single_sign_on

urlpatterns: list[URLPattern | URLResolver] = [
    path("sign-in", sign_in.SignIn.as_view(), name="sign_in"),
    path("sign-in/second", sign_in.second_step, name="second_step"),
    path("sign-out", auth.LogoutView.as_view(), name="sign_out"),
    path("my-sign-in", own.my_sign_in, name="my_sign_in"),
    path("my-sign-in/password", own.my_password, name="my_password"),
    path("my-sign-in/everywhere", own.my_sessions_end, name="my_sessions_end"),
    path("my-sign-in/app", own.my_app, name="my_app"),
    path("my-sign-in/passkey", own.my_passkey, name="my_passkey"),
    path("my-sign-in/factor/<int:pk>/remove", own.my_factor_remove, name="my_factor_remove"),
    path("my-sign-in/recovery-codes", own.my_recovery_codes, name="my_recovery_codes"),
    path("people", people.people, name="people"),
    path("people/inspection", people.term_grant, name="term_grant"),
    path("people/inspection/<int:pk>/end", people.term_end, name="term_end"),
    path("people/<int:pk>/unlock", people.sign_in_unlock, name="sign_in_unlock"),
    path("people/<int:pk>/second-factor", people.second_factor_reset, name="second_factor_reset"),
    path("people/<int:pk>/sessions", people.sessions_end, name="sessions_end"),
    path("devices", devices.devices, name="devices"),
    path("devices/<int:pk>/let-in", devices.let_in, name="device_let_in"),
    path("devices/<int:pk>/revoke", devices.revoke, name="device_revoke"),
    path("codes/<int:pk>", devices.unlock_code, name="code_unlock"),
    path("my-code", devices.my_code, name="my_code"),
]

# To the house's identity provider and back; the second stands in the provider's settings.
SINGLE_SIGN_ON = [
    path("sign-in/oidc/house/login/", single_sign_on.begin, name="single_sign_on"),
    path("sign-in/oidc/house/login/callback/", single_sign_on.back, name="single_sign_on_back"),
]
if settings.OIDC_ENABLED:
    urlpatterns += SINGLE_SIGN_ON
