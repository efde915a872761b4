"""Addresses of the tank side."""

from django.urls import path

from . import (
    views,
    views_app,
    views_causes,
    views_labels,
    views_log,
    views_pictures,
    views_quarantine,
    views_unlisted,
)
from .rules.pages import PAGES

urlpatterns = [
    path("alarms", views.alarms, name="alarms"),
    path("doubles", views.doubles, name="doubles"),
    path("open-names", views.open_names, name="open_names"),
    path("came-back", views.came_back, name="came_back"),
    path("questions", views.questions, name="tank_questions"),
    path("on-no-list", views_unlisted.on_no_list, name="on_no_list"),
    path("on-no-list/<int:pk>", views_unlisted.what_it_was, name="what_it_was"),
    path("bodies", views.bodies, name="bodies"),
    path("event/<int:pk>/body", views.body, name="tank_body"),
    path("event/<int:pk>/cause", views_causes.cause, name="tank_cause"),
    path("sent", views.sent, name="tank_sent"),
    path("labels", views_labels.labels, name="labels"),
    path("picture/taxon/<path:scientific_name>", views_pictures.taxon_picture, name="taxon_picture"),
    path("picture/lot/<path:accession>", views_pictures.lot_picture, name="lot_picture"),
    path("picture/<slug:sha256>.jpg", views_pictures.picture, name="picture"),
    path("picture/entry/<int:pk>.jpg", views_pictures.entry_picture, name="entry_picture"),
    path("picture/entry/<int:pk>/small.jpg", views_pictures.entry_picture_small, name="entry_picture_small"),
    path("quarantine", views_quarantine.quarantine, name="quarantine"),
    path("quarantine/expect", views_quarantine.expect, name="quarantine_expect"),
    path("quarantine/release", views_quarantine.sign_release, name="quarantine_release"),
    path("quarantine/early", views_quarantine.sign_early, name="quarantine_early"),
    path("tank-logs", views_log.logs, name="tank_logs"),
    path("place/<path:code>/log", views_log.log, name="tank_log"),
    path("place/<path:code>/log.csv", views_log.log_csv, name="tank_log_csv"),
    path("place/<path:code>/wanted", views_log.wanted, name="wanted_range"),
    path("tank/sw.js", views_app.worker, name="tank_worker"),
    path("tank/manifest.webmanifest", views_app.manifest, name="tank_manifest"),
    *(path(page.path, views_app.page, {"shown": page}, name=page.url_name) for page in PAGES),
]
