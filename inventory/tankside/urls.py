"""Addresses of the tank side."""

from django.urls import path

from . import views_app, views_labels, views_log
from .rules.pages import PAGES

urlpatterns = [
    path("labels", views_labels.labels, name="labels"),
    path("place/<path:code>/log", views_log.log, name="tank_log"),
    path("place/<path:code>/log.csv", views_log.log_csv, name="tank_log_csv"),
    path("place/<path:code>/wanted", views_log.wanted, name="wanted_range"),
    path("tank/sw.js", views_app.worker, name="tank_worker"),
    path("tank/manifest.webmanifest", views_app.manifest, name="tank_manifest"),
    *(path(page.path, views_app.page, {"shown": page}, name=page.url_name) for page in PAGES),
]
