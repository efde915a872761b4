"""Addresses of the tank side."""

from django.urls import path

from . import views_app
from .rules.pages import PAGES

urlpatterns = [
    path("tank/sw.js", views_app.worker, name="tank_worker"),
    path("tank/manifest.webmanifest", views_app.manifest, name="tank_manifest"),
    *(path(page.path, views_app.page, {"shown": page}, name=page.url_name) for page in PAGES),
]
